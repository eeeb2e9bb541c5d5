"""Sheets of a list are taken in, some hundreds at a time: their names, their rows, and an entry for each."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import bindparam, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.exc import IntegrityError

from app.db.bulk import as_things
from app.db.models import Sheet, TakenFile, table_of
from app.db.prepared import prepared
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.parcel import ListedSheet
from app.domain.sheet import NOWHERE
from app.domain.stages import Stage, Step
from app.services.custody import Writing, enter_many, standing_of
from app.services.custody_new import enter_new, enter_staged
from app.services.desk import Desk
from app.services.naming import Names, learn_collectors, learn_plants
from app.services.staged_rows import Span, new_collectors, new_plants

SHEET, FILE = table_of(Sheet), table_of(TakenFile)
_AGAIN = prepared(
    select(SHEET).where(SHEET.c.number.in_(bindparam("numbers", expanding=True)), SHEET.c.stage.is_(None))
)
_GIVEN_UP = prepared(select(FILE.c.id).where(FILE.c.state == "withdrawn").limit(1))
_TELL = update(SHEET).where(SHEET.c.id == bindparam("sheet"))


def take_in_rows(desk: Desk, consignment: RowMapping, chunk: Sequence[ListedSheet], names: Names, file: str) -> None:
    """Take these sheets in, which were judged. `names` are those met so far, `file` is short for the file.

    Refused: number-taken, where somebody else took one of the numbers in at the same moment.
    """
    learn_plants(desk.session, names, (sheet.plant for sheet in chunk))
    learn_collectors(desk.session, names, (sheet.collector for sheet in chunk))
    again = _again(desk, chunk)
    new = [sheet for sheet in chunk if sheet.number not in again]
    rows = [_row(sheet, names) for sheet in new]
    with _numbers_free():
        enter_new(desk, _writing(consignment), consignment["id"], rows, [_facts_begun(sheet, file) for sheet in new])
    _take_in_again(desk, [sheet for sheet in chunk if sheet.number in again], again, names, file)


def take_in_span(desk: Desk, consignment: RowMapping, span: Span, file: str) -> None:
    """The same for the rows of a checked file none of which is here, on SQLite, which reads them by itself."""
    learn_plants(desk.session, Names(), new_plants(desk.session, span))
    learn_collectors(desk.session, Names(), new_collectors(desk.session, span))
    with _numbers_free():
        enter_staged(desk, _writing(consignment), consignment["id"], span, file)


def _writing(consignment: RowMapping) -> Writing:
    sets = {"fresh": consignment["kind"] == "fieldwork", "bulk": "ordinary"}
    return Writing(Step.TAKE_IN, Stage.INTAKE, NOWHERE, sets)


@contextmanager
def _numbers_free() -> Iterator[None]:
    try:
        yield
    except IntegrityError as error:
        words = say("Somebody else took one of these numbers in at the same moment.")
        raise Refused(Refusal("number-taken", words, say("Import the file again."))) from error


def _again(desk: Desk, chunk: Sequence[ListedSheet]) -> dict[str, RowMapping]:
    """Those that stand nowhere, because the file they came with was withdrawn."""
    if desk.session.execute(_GIVEN_UP).first() is None:
        return {}
    found = desk.session.execute(_AGAIN, {"numbers": [sheet.number for sheet in chunk]}).mappings()
    return {row["number"]: row for row in found}


def _take_in_again(
    desk: Desk, sheets: Sequence[ListedSheet], again: dict[str, RowMapping], names: Names, file: str
) -> None:
    many = []
    for sheet in sheets:
        row = again[sheet.number]
        told = {"plant_name_id": names.plants.get(sheet.plant), "collector_id": names.collectors.get(sheet.collector)}
        desk.session.execute(_TELL.values(**told, **as_things(sheet.known)), {"sheet": row["id"]})
        sets = {"fresh": row["fresh"], "bulk": "ordinary"}
        writing = Writing(Step.TAKE_IN, Stage.INTAKE, NOWHERE, sets, facts=_facts(sheet, file))
        many.append((row["id"], standing_of(row), writing))
    if many:
        enter_many(desk, many)


def _row(sheet: ListedSheet, names: Names) -> tuple[Any, ...]:
    known = sheet.known
    return (sheet.number, names.plants.get(sheet.plant), names.collectors.get(sheet.collector), known["record_number"],
            known["event_date"], known["locality"], known["notes"], known["kept"], known["is_sensitive"])  # fmt: skip


def _facts_begun(sheet: ListedSheet, file: str) -> str:
    """The same facts as JSON without its last brace; digests are plain letters, so most need no encoder."""
    if sheet.file:
        return json.dumps(_facts(sheet, file))[:-1]
    return f'{{"file": "{file}", "line": {sheet.line}, "content": "{sheet.content}"'


def _facts(sheet: ListedSheet, file: str) -> dict[str, Any]:
    told = {"file": file, "line": sheet.line, "content": sheet.content}
    return {**told, "part": sheet.file} if sheet.file else told
