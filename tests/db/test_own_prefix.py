"""A room whose own numbers begin as lots' cards do since revision 0005: it is upgraded, works on, and its lots' cards begin otherwise."""

from __future__ import annotations

import gzip
import re
import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from app.cli import main
from app.db.engine import open_database, sqlite_url, transaction
from app.db.models import Adhesive, Lot, Station, Worker
from app.domain.numbers import CODES, Kind, Pattern, Shape
from app.domain.stages import Step
from app.domain.supplies import ADHESIVE
from app.queries.house import patterns_now
from app.services.codes_given import given_out
from app.services.desk import Occasion, ScanRequest
from app.services.lots import lot_numbered
from app.services.room import add_pattern
from app.services.scanning import scan
from app.services.supplies import Told, add_supply
from tests.db.test_upgrades import AFTERWARDS, REVISIONS
from tests.room import LONDON
from tests.services.days import differences

pytestmark = pytest.mark.sqlite_only("the rooms of older revisions are files")
BEFORE = [path for path in REVISIONS if path.name < "0005"]


@pytest.mark.parametrize("width", [4, 6])
@pytest.mark.parametrize("packed", BEFORE, ids=lambda path: path.name.split(".")[0])
def test_a_room_with_that_prefix_comes_through_the_upgrade_and_reads_both(
    packed: Path, width: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, own = tmp_path / "blotter.sqlite3", Pattern(CODES[Kind.LOT].prefix, width)
    path.write_bytes(gzip.decompress(packed.read_bytes()))
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE number_pattern SET mints = 0")
        connection.execute(
            "INSERT INTO number_pattern (prefix, width, has_check, mints, minted, is_practice) VALUES (?, ?, 1, 1, 0, 0)",
            (own.prefix, width),
        )
    assert main(["upgrade", "--data", str(tmp_path)]) == 0
    assert main(["audit", "--data", str(tmp_path)]) == 0, capsys.readouterr()
    database = open_database(sqlite_url(path))
    try:
        with transaction(database) as session:
            assert own in patterns_now(session)
            worker_id = session.execute(select(Worker.id).where(Worker.retired_at.is_(None))).scalars().all()[0]
            glued = session.execute(select(Adhesive.id)).scalars().all()[0]
            told = Told(AFTERWARDS, worker_id)
            supply = add_supply(session, ADHESIVE, "glue", told, adhesive_id=glued)
            lot = lot_numbered(session, supply, "B 117", told)
            code = session.execute(select(Lot.code).where(Lot.id == lot)).scalar_one()
            # 0001 of VH would end in a star, which nobody can read.
            assert re.fullmatch("VH0002.", code) and Shape("VH", 4).holds(code)
            assert given_out(session)["VH", 4] == 2
            with pytest.raises(ValueError, match="VH is kept"):
                add_pattern(session, "VH", 6, AFTERWARDS)
            stations = session.execute(select(Station.id, Station.steps)).all()
            station = next(each.id for each in stations if Step.TAKE_IN in each.steps)
            at = Occasion(AFTERWARDS + timedelta(minutes=1), LONDON)
            sheet = scan(
                session, ScanRequest("s-1", own.spell(1), station, worker_ids=(worker_id,), step=Step.TAKE_IN), at
            )
            assert sheet.kind == "done" and sheet.sheet is not None and sheet.sheet.number == own.spell(1)
            card = scan(session, ScanRequest("s-2", code, station, worker_ids=(worker_id,)), at)
            # It is known to be a lot's card: at this place nothing is glued.
            assert "sheet" not in str(card.refusals[0]["words"]) and "glued" in str(card.refusals[0]["words"]), card
        assert differences(database) == []
    finally:
        database.engine.dispose()
