"""In which language answers are given and kept, and that the log keeps its own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from sqlalchemy import select

from app.db.engine import Database, reading, transaction
from app.db.models import Change, SignOff, table_of
from app.domain.language import ENGLISH, speaking
from app.domain.stages import Step
from app.services.hazards import put_hazard
from app.services.room import set_cabinet_limit
from app.services.sign_offs import end, sign_off
from tests.room import Room
from tests.services.pest_room import PEST


class Marks:
    """Every word comes back between marks, so that what nobody said can be told from what was."""

    def gettext(self, message: str) -> str:
        # As with any catalogue, what is said already is no message in it.
        return message if message.startswith("«") else f"«{message}»"

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return self.gettext(msgid1 if n == 1 else msgid2)

    def pgettext(self, context: str, message: str) -> str:
        return self.gettext(message)


@pytest.fixture
def marked() -> Iterator[None]:
    with speaking(replace(ENGLISH, code="xx", catalogue=Marks())):
        yield


def test_an_answer_is_kept_in_the_language_in_which_it_was_given(database: Database, marked: None) -> None:
    room = Room(database)
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    room.scans(number, "drying", step=Step.LAY_TO_DRY)
    asked = room.scans(number, "drying", scan_id="the-same", step=Step.PASS_AS_DRY)
    assert asked.kind == "which-one" and asked.word == "«Which one?»"
    assert [choice.label[0] + choice.label[-1] for choice in asked.choices] == ["«»"] * len(asked.choices) != []
    with speaking(ENGLISH):
        assert room.scans(number, "drying", scan_id="the-same", step=Step.PASS_AS_DRY) == asked


def test_a_refusal_is_said_once_in_the_language_of_whoever_scans(database: Database, marked: None) -> None:
    refused = Room(database).scans("not a number", "press")
    assert refused.word == "«Stop.»" and refused.next.startswith("«Scan it again")
    assert refused.refusals[0]["words"] == refused.lines[0]


def test_where_a_pest_was_seen_is_kept_in_the_logs_own_language(database: Database, marked: None) -> None:
    room = Room(database)
    on_shelf, in_stack = room.sheet_ready(), room.sheet_in("P1")
    room.scans(on_shelf, "intake", step=Step.SHELVE, cabinet="M1", shelf="2")
    room.wait(minutes=5)
    for seen_on in (room.code("shelf", "M1/2"), room.code("on", "P1")):
        room.scans(PEST, "press")
        assert room.scans(seen_on, "press").moved
        room.wait(minutes=5)
    kept = [room.log(number)[-1]["reason"] for number in (on_shelf, in_stack)]
    assert kept == ["A pest was seen in M1, shelf 2.", "A pest was seen in stack P1."]


def test_changes_keep_the_logs_own_language(database: Database, marked: None) -> None:
    room = Room(database)
    sheet_id = room.row(room.sheet_ready())["id"]
    with transaction(database) as session:
        set_cabinet_limit(session, 2, 12, "the long winter", room.now)
        sign_off(session, room.worker["olwen"], Step.TAKE_UP, "ordinary", room.now, by=None)
        signed = session.execute(select(table_of(SignOff).c.id)).scalars().one()
        (ended,) = end(session, signed, "the glue ran", room.now, by=None)
        put_hazard(session, "mould", "", room.now, None, sheet_id=sheet_id)
    with reading(database) as session:
        rows = session.execute(select(table_of(Change))).all()
    told = [text for row in rows for text in (row.what, row.old, row.new, row.why) if text]
    assert len(told) > len(rows) > 4 and [text for text in told if "«" in text] == []
    assert ended.startswith("«"), "to whoever ends it, it is said in the language of the page"
