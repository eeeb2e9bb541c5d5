"""Writing up the rows of a paper: each becomes a late entry, in the order in which it happened, or says why not."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from app.db.engine import transaction
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import mark, say
from app.domain.numbers import Kind, Pattern
from app.domain.reading import Exact, read
from app.domain.stages import Step
from app.domain.wall import moments_of
from app.queries.press import StackView
from app.services.desk import Desk, ScanRequest
from app.services.late import write_late
from app.services.scanning import once, scan
from app.web.late import FELT_DRY, LEFT_OUT, TWICE, Choices
from app.web.paper_forms import WEIGHTS, HeadForm, RowForm
from app.web.render import house, teller
from app.web.scans import occasion
from app.web.security import visitor

UNREAD = mark("This does not read as a sheet's number. Type it once more off the form, with its last character.")
NOBODY = mark("Say who did it.")
CHANGED = mark(
    "This row was sent before with something else in it. Look whether that is right, then send this one again."
)


@dataclass(frozen=True, slots=True)
class Deed:
    """One row that can be written: a sheet's step, or (without one) weights. `subject` is the sheet's number."""

    row: RowForm
    subject: str
    request: ScanRequest
    step: Step | None

    @property
    def when(self) -> tuple[datetime, int]:
        """Where it comes among the rows: by its time, then by its place on the paper."""
        assert self.request.happened_at is not None
        return self.request.happened_at, self.row.place_on_paper


@dataclass(frozen=True, slots=True)
class Written:
    """One row that is written: its place on the paper, and what was done."""

    place_on_paper: int
    number: str
    words: str


def write_rows(head: HeadForm, rows: Sequence[RowForm], choices: Choices, patterns: Sequence[Pattern]) -> list[Written]:
    """Write every row that can be written, in order of time, each by itself; the others say why not in `said`.

    A row waits for an earlier one of its sheet that is not written: what comes after it could not be told any more.
    """
    deeds = [deed for row in rows if (deed := _deed(head, row, choices, patterns)) is not None]
    stuck = _stuck(rows, deeds, patterns)
    written = []
    for deed in sorted(deeds, key=lambda deed: deed.when):
        first = stuck.get(deed.subject)
        if first is not None and deed.subject:
            deed.row.said.append(
                say("It waits for row {first}, which is of the same sheet and is not written yet.", first=first)
            )
        elif (done := _write(deed, head)) is not None:
            written.append(done)
        else:
            stuck[deed.subject] = deed.row.place_on_paper
    return written


def _stuck(rows: Sequence[RowForm], deeds: Sequence[Deed], patterns: Sequence[Pattern]) -> dict[str, int]:
    """The sheets of which a row is missing something: their other rows wait, since nobody knows yet which came first."""
    ready = {deed.row.place_on_paper for deed in deeds}
    missing = (row for row in rows if row.place_on_paper not in ready)
    return {number: row.place_on_paper for row in missing if (number := _number(row, patterns))}


def _deed(head: HeadForm, row: RowForm, choices: Choices, patterns: Sequence[Pattern]) -> Deed | None:
    if not row.validate():
        row.said += list(dict.fromkeys(words for errors in row.errors.values() for words in errors))
    moment = _moment(head, row)
    step, _, outcome = str(row.step.data or "").partition(":")
    worker = row.worker.data or head.worker.data
    if not worker:
        row.said.append(NOBODY)
    about = _weights(row, step, choices) if step in WEIGHTS else _sheet(row, step, choices, patterns)
    if row.said:
        return None
    asked: dict[str, Any] = {"facts": _facts(row, step, outcome), **about}
    wanted = ScanRequest(str(row.scan_id.data), worker_ids=(int(worker),), written_by=visitor().worker_id, manages=True,
                         happened_at=moment, reason=_reason(head, row), **asked)  # fmt: skip
    if step in WEIGHTS:
        return Deed(row, "", wanted, None)
    return Deed(row, wanted.code, wanted, Step(step))


def _moment(head: HeadForm, row: RowForm) -> datetime | None:
    if row.at.data is None or head.day.data is None:
        return None
    found = moments_of(datetime.combine(head.day.data, row.at.data), house().zone)
    row.twice = len(found) == 2
    if not found:
        row.said.append(LEFT_OUT)
        return None
    if row.twice and not row.hour.data:
        row.said.append(TWICE)
    return found[-1 if row.hour.data == "second" else 0]


def _weights(row: RowForm, step: str, choices: Choices) -> dict[str, Any]:
    typed = (row.place.data or row.number.data or "").strip()
    stack = _stack(typed, choices.stacks)
    if stack is None:
        row.said.append(
            say("There is no stack called {name} here.", name=typed) if typed else say("Say of which stack.")
        )
        return {}
    return {"code": stack.code_on if WEIGHTS[step] else stack.code_off}


def _sheet(row: RowForm, step: str, choices: Choices, patterns: Sequence[Pattern]) -> dict[str, Any]:
    number = _number(row, patterns)
    if not number:
        row.said.append(UNREAD if (row.number.data or "").strip() else say("Say which sheet."))
    return {"code": number, **_where(row, step, choices)}


def _where(row: RowForm, step: str, choices: Choices) -> dict[str, str]:
    """The stack, or the cabinet and the shelf; where a sheet was taken from its stack, the stack's name says nothing new."""
    typed = (row.place.data or "").strip()
    stack = _stack(typed, choices.stacks)
    if step == Step.PUT_UNDER_WEIGHT and stack is not None:
        return {"stack": stack.name}
    if not typed or (found := _places(choices).get(_plain(typed))) is None:
        if typed and (stack is None or step == Step.PUT_UNDER_WEIGHT):
            row.said.append(say("There is no stack or shelf called {typed} here.", typed=typed))
        return {}
    return {"cabinet": found[0], "shelf": found[1]}


def _number(row: RowForm, patterns: Sequence[Pattern]) -> str:
    reading = read(row.number.data or "", patterns)
    return reading.text if isinstance(reading, Exact) and reading.kind is Kind.SHEET else ""


def _stack(typed: str, stacks: Iterable[StackView]) -> StackView | None:
    key = _plain(typed).removeprefix("stack")
    names = ((each, {_plain(each.name), _plain(each.code_on), _plain(each.code_off)}) for each in stacks)
    return next((each for each, known in names if key and key in known), None)


def _places(choices: Choices) -> dict[str, tuple[str, str]]:
    found: dict[str, tuple[str, str]] = {}
    for cabinet in choices.cabinets:
        found |= {_plain(each): (cabinet.name, "") for each in (cabinet.name, cabinet.code)}
        for shelf in cabinet.shelves:
            found |= {_plain(each): (cabinet.name, shelf.name) for each in (f"{cabinet.name}/{shelf.name}", shelf.code)}
    return found


def _plain(text: str) -> str:
    return "".join(text.casefold().replace("·", "").split()).replace(",shelf", "/")


def _facts(row: RowForm, step: str, outcome: str) -> dict[str, Any]:
    facts: dict[str, Any] = {name: row[name].data for name in ("adhesive", "bulk") if row[name].data}
    if outcome:
        facts["outcome"] = outcome
    return facts | ({"dryness": True, "felt_again": True} if step in FELT_DRY else {})


def _reason(head: HeadForm, row: RowForm) -> str:
    return ": ".join(filter(None, (str(head.reason.data).strip(), (row.remarks.data or "").strip())))


def _write(deed: Deed, head: HeadForm) -> Written | None:
    try:
        with transaction(house().database) as session:
            answer = _answer(session, deed, str(head.station.data or ""))
    except Refused as refused:
        deed.row.said += [_why(each) for each in refused.refusals]
        return None
    if answer.kind != "done":
        deed.row.said.append(" ".join(filter(None, (answer.word, *answer.lines, answer.next))))
        return None
    shown = answer.sheet.shown if answer.sheet else ""
    return Written(deed.row.place_on_paper, shown, answer.word if shown else f"{answer.word} {' '.join(answer.lines)}")


def _why(refusal: Refusal) -> str:
    if refusal.code == "scan-id-reused":
        return CHANGED
    return f"{refusal.said(teller())} {refusal.next_said(teller())}".strip()


def _answer(session: Any, deed: Deed, station: str) -> Answer:
    step = deed.step
    if step is None:
        return scan(session, deed.request, occasion())

    def act(desk: Desk) -> Answer:
        return write_late(desk, step, int(station) if station else None)

    return once(session, deed.request, occasion(), act, f"late {step.value} {station}")
