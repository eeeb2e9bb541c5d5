"""Labels that come later: the hold “label to come” is lifted with one scan of each sheet, one after the other."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.engine import RowMapping

from app.domain.answer import WORDS, Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import mark, say, say_n
from app.domain.numbers import Kind, shown
from app.domain.reading import Exact, read
from app.domain.stages import Step
from app.services.custody import standing_of
from app.services.describing import describe
from app.services.desk import QUESTION_STANDS, Desk, somebody_is_here
from app.services.facts import sheet_by_id, sheet_by_number
from app.services.sheets import take_step

HOLD = "label-to-come"
# The card after a sheet means that sheet, as long as it is the last scan and in the hand still (common practice, no source).
IN_HAND = timedelta(minutes=2)
_ON = mark("Scan the next sheet whose label is here; at the end the card “done”.")


def labels_card(desk: Desk) -> Answer:
    """The card: from now on each sheet scanned here has its label; one that was scanned just now has it, too. Scanned again,
    it ends the run. Refused: unknown-station away from a station, not-signed-in.
    """
    if desk.station is None:
        raise Refused(
            Refusal(
                "unknown-station", say("A card is scanned at a station."), say("Lift the hold on the sheet's page.")
            )
        )
    somebody_is_here(desk)
    if (ended := end_labels(desk)) is not None:
        return ended
    _keep_run(desk, 0)
    row = _just_scanned(desk)
    if row is not None and HOLD in row["holds"].split():
        return _lift(desk, row, 0)
    lines = (say("The labels are here: for which sheets?"),)
    return Answer("which-one", WORDS["which-one"], lines, say("Lay the label with its plant, then scan it."))


def label_waits(desk: Desk, row: RowMapping) -> Answer | None:
    """What a sheet says that is scanned while labels are handed out; None when they are not, or a step is named."""
    run = _run(desk)
    if run is None or desk.request.step is not None:
        return None
    if HOLD in row["holds"].split():
        return _lift(desk, row, run["labels_here"])
    _keep_run(desk, run["labels_here"])
    desk.keep(last_sheet_id=row["id"])
    line = say("{number} does not wait for a label. Nothing is changed.", number=shown(row["number"], desk.patterns))
    sheet = describe(desk.session, row, desk.patterns)
    return Answer("not-yet", WORDS["not-yet"], (line,), say("Look whose label it is. {go_on}", go_on=_ON), sheet)


def end_labels(desk: Desk) -> Answer | None:
    """The end of handing out labels, with how many were; None when none are handed out here. Nobody is signed out."""
    run = _run(desk)
    if run is None:
        return None
    desk.keep(pending=None)
    return Answer(
        "done",
        say("Labels done."),
        (_so_far(run["labels_here"]),),
        say("Put them back where they lay. Then scan a sheet or a card."),
    )


def _lift(desk: Desk, row: RowMapping, before: int) -> Answer:
    desk.keep(last_sheet_id=row["id"])
    desk.request = replace(desk.request, facts={**desk.request.facts, "hold": HOLD})
    answer = take_step(desk, row, standing_of(row), Step.LIFT_HOLD)
    if answer.kind != "done":
        return answer
    _keep_run(desk, before + 1)
    lines = (say("The label is here."), _so_far(before + 1))
    return replace(answer, lines=(*lines, *(line for line in answer.lines if line not in lines)), next=_ON)


def _so_far(many: int) -> str:
    return (
        say_n("{n:,} label handed out.", "{n:,} labels handed out.", many) if many else say("No label was handed out.")
    )


def _run(desk: Desk) -> dict[str, Any] | None:
    """The run that goes on here, as long as nobody walked away from it."""
    pending = desk.in_hand("pending") or {}
    if "labels_here" not in pending:
        return None
    return dict(pending) if desk.now - datetime.fromisoformat(pending["at"]) <= QUESTION_STANDS else None


def _keep_run(desk: Desk, many: int) -> None:
    desk.keep(pending={"labels_here": many, "at": desk.now.isoformat()})


def _just_scanned(desk: Desk) -> RowMapping | None:
    """The sheet that was the very last scan here, if it is in the hand still."""
    station, last = desk.station, desk.in_hand("last_sheet_id")
    if station is None or last is None or station["last_code_at"] is None:
        return None
    reading = read(station["last_code"] or "", desk.patterns)
    is_sheet = isinstance(reading, Exact) and reading.kind is Kind.SHEET
    if not is_sheet or not timedelta(0) <= desk.happened_at - station["last_code_at"] <= IN_HAND:
        return None
    row = sheet_by_number(desk.session, reading.text) if isinstance(reading, Exact) else None
    return sheet_by_id(desk.session, last) if row is not None and row["id"] == last else None
