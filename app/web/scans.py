"""Reading a scan off a form, and an answer for the page: what stations send and what they show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from app.domain.answer import Answer, Ask, Choice
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.offers import facts_in, opened
from app.domain.stages import Step
from app.services.desk import Occasion, ScanRequest
from app.web.render import house, now

LONGEST = 4000
LONGEST_ID = 80


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a sheet has come under its weights: `share` of its minimum from 0 to 1, and the same in words."""

    share: float
    label: str


@dataclass(frozen=True, slots=True)
class AnswerView:
    """An answer as the station's page draws it."""

    kind: str
    word: str
    number_shown: str
    plant: str
    family: str
    detail: str
    cautions: tuple[str, ...]
    lines: tuple[str, ...]
    next: str
    progress: Progress | None
    choices: tuple[Choice, ...]
    carry: Mapping[str, str]
    undo_entry: int | None
    ask: Ask | None
    after_the_fact: str
    early: bool
    slip: str = ""


def occasion() -> Occasion:
    """This moment, in the room's zone, and whether the clock is in doubt."""
    return Occasion(now(), house().zone, house().watch.is_doubtful())


def scan_request(sent: Mapping[str, str], station_id: int, fresh_id: str) -> ScanRequest:
    """The scan that a station's form sent; Refused with a sentence for what cannot be meant."""
    fields = opened(sent)
    code = fields.get("code", "").strip()
    if len(fields.get("scan_id", "")) > LONGEST_ID or len(code) > LONGEST:
        raise Refused(Refusal("misread-number", say("That is too long to be a number."), say("Scan it again.")))
    return ScanRequest(
        scan_id=fields.get("scan_id") or fresh_id,
        code=code,
        station_id=station_id,
        step=_step(fields.get("step", "")),
        stack=fields.get("stack", ""),
        facts=facts_in(fields),
        already_done=fields.get("already_done") == "1",
        reason=fields.get("reason", "")[:500],
        held=_held(fields.get("held", "0")),
        happened_at=_moment(fields.get("happened_ms", "")),
        not_before=_moment(fields.get("not_before_ms", "")),
    )


def answer_view(answer: Answer) -> AnswerView:
    """The answer as the page draws it."""
    sheet = answer.sheet
    progress = Progress(answer.share, answer.share_label) if answer.share is not None else None
    undoable = answer.entry if answer.kind == "done" and answer.word != say("Undone.") else None
    return AnswerView(
        answer.kind, answer.word, sheet.shown if sheet else "", sheet.plant if sheet else "", sheet.family if sheet else "",
        sheet.detail if sheet else "", sheet.cautions if sheet else (), answer.lines, answer.next, progress, answer.choices,
        answer.carry, undoable, answer.ask, answer.already_done, early=False, slip=answer.slip,
    )  # fmt: skip


def whole(text: str) -> int | None:
    """A whole number of at most nine digits, as a form sends it; None for anything else."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None


def _step(name: str) -> Step | None:
    if not name:
        return None
    try:
        return Step(name)
    except ValueError as error:
        raise Refused(Refusal("wrong-stage", say("There is no such step."), say("Load the page again."))) from error


def _held(value: str) -> int:
    return whole(value) or 0


def _moment(milliseconds: str) -> datetime | None:
    if not (milliseconds.isascii() and milliseconds.isdigit() and len(milliseconds) < 15):
        return None
    return datetime.fromtimestamp(int(milliseconds) / 1000, UTC)
