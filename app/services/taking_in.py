"""Taking in at the table: one plant with all that its label says, on one sheet or several, or a run of new numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import insert, update
from sqlalchemy.engine import RowMapping

from app.db.models import Sheet, Specimen, table_of
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import mark, say, say_n
from app.domain.moves import refusals
from app.domain.numbers import Kind, shown
from app.domain.parcel import date_fault
from app.domain.reading import Exact, read
from app.domain.sheet import Place
from app.domain.stages import Stage, Step
from app.services import saying
from app.services.custody import Writing, enter_many, standing_of
from app.services.describing import describe
from app.services.desk import Desk, somebody_is_here
from app.services.facts import make_attempt, sheet_by_id, sheet_by_number
from app.services.parcels import open_consignment
from app.services.registering import collector_id, mint_number, plant_name_id, register
from app.services.sheets import take_step, write_step
from app.services.writers import writing_for

SHEET, SPECIMEN = table_of(Sheet), table_of(Specimen)
MOST_PARTS, MOST_IN_A_RUN = 20, 200
FRESH, DRY, MOUNTED = "fresh", "dry", "mounted"
CAME = {FRESH: None, DRY: Step.ARRIVE_DRY, MOUNTED: Step.ARRIVE_MOUNTED}


@dataclass(frozen=True, slots=True)
class Told:
    """What is said of a plant that is taken in: its number ("" for a new one), what its label says, and how it came.

    `parts` is on how many sheets it is, or will be; `consignment` is a code, "" for none. What else is said (bulk, hazards,
    whether its label is there, when it was pressed) are facts of the request.
    """

    number: str = ""
    consignment: str = ""
    name: str = ""
    authorship: str = ""
    family: str = ""
    collector: str = ""
    record_number: str = ""
    event_date: str = ""
    locality: str = ""
    notes: str = ""
    parts: int = 1
    came: str = FRESH


@dataclass(frozen=True, slots=True)
class Run:
    """A run of new numbers: how many, for which consignment (its code), fresh or dry, and the bundle (its row) they lie in."""

    many: int
    consignment: str
    fresh: bool = True
    bundle_id: int | None = None


def take_in(desk: Desk, told: Told) -> Answer:
    """Take in a plant: an entry for each of its sheets, one more for each that came dry or mounted, all as one deed.

    The first sheet has the number that was told, the others new ones. A number whose label nobody has told yet, and that
    lies at intake, is told now. Refused: not-signed-in, misread-number, number-taken, unknown-consignment, and what the
    steps refuse.
    """
    somebody_is_here(desk, mark("Scan your badge first."))
    if not 1 <= told.parts <= MOST_PARTS or told.came not in CAME:
        words = say("On 1 to {most} sheets.", most=MOST_PARTS)
        raise Refused(Refusal("misread-number", words, say("Say on how many."), "which-one"))
    if fault := date_fault(told.event_date, desk.happened_at.astimezone(desk.occasion.zone).date()):
        raise Refused(Refusal("misread-number", fault, say("Put the date right."), "which-one"))
    known, facts = (
        _known(desk, told),
        {"fresh": told.came == FRESH, "dryness": told.came != FRESH, **desk.request.facts},
    )
    desk.request = replace(desk.request, facts=facts)
    number = _number(desk, told)
    here = sheet_by_number(desk.session, number)
    if here is not None and here["stage"] is not None:
        return _tell_now(desk, here, known, told)
    specimen_id = _specimen(desk, told.parts)
    numbers = [number, *(mint_number(desk) for _ in range(told.parts - 1))]
    for part, each in enumerate(numbers, start=1):
        row = _row(desk, each, {**known, "specimen_id": specimen_id, "part": part})
        answer = _one(desk, row, told, part)
        if answer.kind != "done":
            raise Refused(*(_plain(refusal) for refusal in answer.refusals))
    return _taken_in(desk, told, answer, numbers)


def take_in_run(desk: Desk, run: Run) -> Answer:
    """Take in so many sheets under new numbers, an entry for each; `moved` lists them in order. Their labels are told later.

    Refused: not-signed-in, misread-number for too many or none, unknown-consignment.
    """
    somebody_is_here(desk, mark("Scan your badge first."))
    if not 1 <= run.many <= MOST_IN_A_RUN:
        raise Refused(
            Refusal(
                "misread-number",
                say("A run is of 1 to {most}.", most=MOST_IN_A_RUN),
                say("Say how many."),
                "which-one",
            )
        )
    consignment = open_consignment(desk.session, run.consignment)["id"]
    numbers = [mint_number(desk) for _ in range(run.many)]
    sets = {"fresh": run.fresh, "bulk": "ordinary"}
    writing = Writing(Step.TAKE_IN, Stage.INTAKE, Place(bundle_id=run.bundle_id), sets, facts={"run": run.many})
    rows = [register(desk, number, consignment_id=consignment) for number in numbers]
    enter_many(desk, [(row["id"], standing_of(row), writing) for row in rows])
    first, last = (shown(each, desk.patterns) for each in (numbers[0], numbers[-1]))
    line = say_n("{n} sheet.", "{n} sheets, {first} to {last}.", run.many, first=first, last=last)
    return Answer("done", say("Taken in."), (line,), say("Print the slips and lay one in each fold."),
                  step=Step.TAKE_IN.value, entry=desk.written[-1], moved=tuple(numbers))  # fmt: skip


def _one(desk: Desk, row: RowMapping, told: Told, part: int) -> Answer:
    attempt = make_attempt(desk, row, standing_of(row), Step.TAKE_IN)
    if found := refusals(attempt):
        return saying.refused(desk, found, row, step=Step.TAKE_IN)
    writing = writing_for(desk, row, attempt)
    if told.parts > 1:
        writing = replace(writing, facts={**writing.facts, "parts": told.parts, "part": part})
    entry_id, stands = write_step(desk, row, attempt, writing)
    step = CAME[told.came]
    if step is None:
        return saying.done(desk, row, Step.TAKE_IN, entry_id, stands)
    again = sheet_by_id(desk.session, row["id"])
    return take_step(desk, again, standing_of(again), step)


def _row(desk: Desk, number: str, known: Mapping[str, Any]) -> RowMapping:
    """The row of a number that stands nowhere: made now, or there already since it was announced or taken back."""
    here = sheet_by_number(desk.session, number)
    if here is None:
        return register(desk, number, **known)
    values = {name: value for name, value in known.items() if value not in (None, "")}
    desk.session.execute(update(SHEET).where(SHEET.c.id == here["id"]).values(values))
    return sheet_by_id(desk.session, here["id"])


def _tell_now(desk: Desk, row: RowMapping, known: Mapping[str, Any], told: Told) -> Answer:
    """What the label of a sheet says that was taken in by its number alone, or in a run."""
    is_blank = row["plant_name_id"] is None and row["collector_id"] is None and row["record_number"] is None
    if row["stage"] != Stage.INTAKE or not is_blank or told.parts > 1:
        words = say("The number {number} is in use.", number=shown(row["number"], desk.patterns))
        raise Refused(
            Refusal("number-taken", words, say("Look at the slip again, or leave the number empty for a new one."))
        )
    values = {name: value for name, value in known.items() if value not in (None, "")}
    desk.session.execute(update(SHEET).where(SHEET.c.id == row["id"]).values(values))
    again, step = sheet_by_id(desk.session, row["id"]), CAME[told.came]
    if step is not None:
        return take_step(desk, again, standing_of(again), step)
    number = shown(row["number"], desk.patterns)
    return Answer(
        "done",
        say("Told."),
        (say("{number}: what its label says is written.", number=number),),
        say("Slip and label stay in the fold."),
        describe(desk.session, again, desk.patterns),
    )


def _known(desk: Desk, told: Told) -> dict[str, Any]:
    """The columns of what the label says."""
    facts, code = desk.request.facts, told.consignment
    return {
        "consignment_id": open_consignment(desk.session, code)["id"] if code else desk.in_hand("consignment_id"),
        "plant_name_id": plant_name_id(desk, told.name, told.authorship, told.family),
        "collector_id": collector_id(desk, told.collector), "record_number": told.record_number or None,
        "event_date": told.event_date or None, "locality": told.locality or None, "notes": told.notes or None,
        "has_label": facts.get("label") is not False, "bulk": str(facts.get("bulk") or "ordinary"),
    }  # fmt: skip


def _number(desk: Desk, told: Told) -> str:
    if not told.number.strip():
        return mint_number(desk)
    reading = read(told.number, desk.patterns)
    if not isinstance(reading, Exact) or reading.kind is not Kind.SHEET:
        words = say("“{number}” is not a sheet's number here.", number=told.number[:40])
        raise Refused(
            Refusal("misread-number", words, say("Scan the slip, or leave it empty for a new number."), "which-one")
        )
    return reading.text


def _specimen(desk: Desk, parts: int) -> int | None:
    if parts == 1:
        return None
    made: int = desk.session.execute(insert(SPECIMEN).values(sheets=parts).returning(SPECIMEN.c.id)).scalar_one()
    return made


def _taken_in(desk: Desk, told: Told, answer: Answer, numbers: list[str]) -> Answer:
    said = [shown(number, desk.patterns) for number in numbers]
    lines = answer.lines
    if len(said) > 1:
        lines = (
            *lines,
            *(
                say("{number}: write “{part} of {count}” on it.", number=each, part=part, count=len(said))
                for part, each in enumerate(said, start=1)
            ),
        )
    slip = "" if told.number.strip() and len(numbers) == 1 else ",".join(numbers)
    return replace(answer, lines=lines, slip=slip, moved=tuple(numbers))


def _plain(refusal: Mapping[str, Any]) -> Refusal:
    return Refusal(code=str(refusal["code"]), words=str(refusal["words"]))
