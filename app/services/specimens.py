"""A specimen on several sheets: which sheets are one specimen, and which part each of them is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import func, insert, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Sheet, Specimen, table_of
from app.domain.answer import WORDS, Answer
from app.domain.errors import Refusal, Refused
from app.domain.holds import AWAY
from app.domain.language import say
from app.domain.moves import refusals
from app.domain.numbers import shown
from app.domain.stages import Step
from app.services import saying
from app.services.custody import Writing, enter, standing_of
from app.services.describing import describe
from app.services.desk import QUESTION_STANDS, THEN_SHEET, Desk, behind, somebody_is_here
from app.services.facts import make_attempt, place_words, sheet_by_id, sheet_by_number
from app.services.in_hand import lands
from app.services.kept_times import refuse_too_late

SHEET = table_of(Sheet)
SPECIMEN = table_of(Specimen)
# The entries that brought a sheet into its specimen: taken back, they take it out again.
JOINED = "joined"


def add_part(desk: Desk, row: RowMapping) -> tuple[int, int]:
    """One more sheet for the specimen of this one, which is made where there is none: its row, and the new sheet's part."""
    specimen_id = row["specimen_id"]
    if specimen_id is None:
        specimen_id = desk.session.execute(insert(SPECIMEN).values(sheets=1).returning(SPECIMEN.c.id)).scalar_one()
        desk.session.execute(update(SHEET).where(SHEET.c.id == row["id"]).values(specimen_id=specimen_id))
    add = update(SPECIMEN).where(SPECIMEN.c.id == specimen_id).values(sheets=SPECIMEN.c.sheets + 1)
    parts = desk.session.execute(add.returning(SPECIMEN.c.sheets)).scalar_one()
    return specimen_id, parts


def leave_specimen(desk: Desk, sheet_id: int, tail: Sequence[Any]) -> None:
    """Take a sheet out of its specimen again where the entries that brought it in are taken back; the parts close up."""
    if not any(_brought_in(row.step, row.facts) for row in tail):
        return
    specimen_id = sheet_by_id(desk.session, sheet_id)["specimen_id"]
    if specimen_id is None:
        return
    desk.session.execute(update(SHEET).where(SHEET.c.id == sheet_id).values(specimen_id=None, part=1))
    left = select(SHEET.c.id).where(SHEET.c.specimen_id == specimen_id).order_by(SHEET.c.part, SHEET.c.id)
    others = list(desk.session.execute(left).scalars())
    if len(others) == 1:
        # Alone it is no specimen on several sheets: it may become part of another.
        desk.session.execute(update(SHEET).where(SHEET.c.id == others[0]).values(specimen_id=None, part=1))
        others = []
    for part, each in enumerate(others, start=1):
        desk.session.execute(update(SHEET).where(SHEET.c.id == each).values(part=part))
    mine = select(func.count()).select_from(SHEET).where(SHEET.c.specimen_id == specimen_id).scalar_subquery()
    desk.session.execute(update(SPECIMEN).where(SPECIMEN.c.id == specimen_id).values(sheets=mine))


def parts_of(session: Session, sheet_id: int) -> list[RowMapping]:
    """The sheets of the specimen to which a sheet belongs, with their parts; none of a sheet that is alone."""
    mine = select(SHEET.c.specimen_id).where(SHEET.c.id == sheet_id).scalar_subquery()
    found = select(SHEET.c.id, SHEET.c.specimen_id, SHEET.c.part).where(SHEET.c.specimen_id == mine).with_for_update()
    return list(session.execute(found).mappings())


def are_parts_again(session: Session, parts: Sequence[RowMapping]) -> None:
    """These sheets are the parts of their specimen that they were: entries of theirs were written again."""
    for row in parts:
        again = {"specimen_id": row["specimen_id"], "part": row["part"]}
        session.execute(update(SHEET).where(SHEET.c.id == row["id"]).values(**again))
    if parts:
        mine = SPECIMEN.c.id == parts[0]["specimen_id"]
        session.execute(update(SPECIMEN).where(mine).values(sheets=len(parts)))


def ask_other_part(desk: Desk, row: RowMapping) -> Answer:
    """The card: ask which other sheet is of the same specimen as the one in the hand."""
    desk.keep(pending={"same_specimen": row["number"], "at": desk.now.isoformat()})
    line = say("Which other sheet is of the same specimen as {number}?", number=shown(row["number"], desk.patterns))
    return Answer(
        "which-one",
        WORDS["which-one"],
        (line,),
        say("Scan the other sheet."),
        describe(desk.session, row, desk.patterns),
    )


def part_waits(desk: Desk, row: RowMapping) -> Answer | None:
    """The answer to a sheet that was scanned while the other part of its specimen waits for it; None where none does."""
    pending = desk.in_hand("pending") or {}
    if "same_specimen" not in pending or desk.request.step is not None:
        return None
    if desk.now - datetime.fromisoformat(pending["at"]) > QUESTION_STANDS:
        desk.keep(pending=None)
        return None
    first = sheet_by_number(desk.session, pending["same_specimen"])
    assert first is not None
    if first["id"] == row["id"]:
        return replace(ask_other_part(desk, row), lines=(say("That is the same sheet. Which is the other one?"),))
    desk.keep(pending=None, last_sheet_id=row["id"])
    return same_specimen(desk, first, row)


def same_specimen(desk: Desk, first: RowMapping, other: RowMapping) -> Answer:
    """Say that two sheets are one specimen: they are filed together, and each names the other.

    Refused: not-signed-in, withdrawn, and out-of-order where both belong to specimens of several sheets already.
    """
    somebody_is_here(desk, THEN_SHEET)
    refuse_too_late(desk, Step.SAME_SPECIMEN)
    if (late := behind(desk, first["last_at"])) is not None:
        return saying.refused(desk, [late], first, step=Step.SAME_SPECIMEN)
    if first["specimen_id"] is not None and first["specimen_id"] == other["specimen_id"]:
        return _are_one(desk, other)
    kept, joins = (first, other) if other["specimen_id"] is None else (other, first)
    if joins["specimen_id"] is not None:
        words = say("Both belong to specimens of several sheets, and these are not the same.")
        raise Refused(Refusal("out-of-order", words, say("Put them aside together and ask the manager.")))
    attempts = [make_attempt(desk, row, standing_of(row), Step.SAME_SPECIMEN) for row in (kept, joins)]
    if found := [refusal for attempt in attempts for refusal in refusals(attempt)]:
        return saying.refused(desk, found, other, step=Step.SAME_SPECIMEN)
    specimen_id, part = add_part(desk, kept)
    desk.session.execute(update(SHEET).where(SHEET.c.id == joins["id"]).values(specimen_id=specimen_id, part=part))
    for row, of, attempt in ((kept, joins, attempts[0]), (joins, kept, attempts[1])):
        facts = {"with": of["number"], **({JOINED: True} if row is joins else {})}
        standing = attempt.sheet
        writing = Writing(Step.SAME_SPECIMEN, lands(attempt), standing.place, lifts=tuple(sorted(standing.holds & AWAY)),
                          facts=facts, reason=attempt.reason)  # fmt: skip
        entry_id, stands = enter(desk, row["id"], standing, writing)
    answer = saying.done(desk, other, Step.SAME_SPECIMEN, entry_id, stands)
    return replace(answer, lines=(*answer.lines, *_parts_said(desk, specimen_id)), next=_goes_on(desk, other))


def _brought_in(step: str, facts: Mapping[str, Any]) -> bool:
    if step == Step.TAKE_IN:
        return "parts" in facts
    return (step == Step.ANOTHER_SHEET and "of" in facts) or (step == Step.SAME_SPECIMEN and JOINED in facts)


def _are_one(desk: Desk, row: RowMapping) -> Answer:
    lines = (say("They are one specimen already."), *_parts_said(desk, row["specimen_id"]))
    return Answer("done", say("Known."), lines, _goes_on(desk, row), describe(desk.session, row, desk.patterns))


def _parts_said(desk: Desk, specimen_id: int) -> list[str]:
    """Each sheet of a specimen, and which part of how many is to be written on it."""
    found = (
        select(SHEET.c.number, SHEET.c.part)
        .where(SHEET.c.specimen_id == specimen_id)
        .order_by(SHEET.c.part, SHEET.c.id)
    )
    rows = desk.session.execute(found).all()
    return [
        say(
            "{number} is {part} of {count}: write it on the sheet.",
            number=shown(row.number, desk.patterns),
            part=row.part,
            count=len(rows),
        )
        for row in rows
    ]


def _goes_on(desk: Desk, row: RowMapping) -> str:
    standing = standing_of(sheet_by_id(desk.session, row["id"]))
    return say(
        "They are filed together. {place}",
        place=saying.belongs(standing, place_words(desk.session, standing.place)),
    )
