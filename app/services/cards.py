"""Cards that are not sheets: badges, and the command cards for hands full of glue."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import timedelta

from sqlalchemy import select

from app.db.models import Worker, table_of
from app.domain.answer import WORDS, Answer, Ask, Choice
from app.domain.attempt import WorkerFacts
from app.domain.errors import Refusal, Refused
from app.domain.moves import NEXT_BY_STAGE
from app.domain.numbers import COMMANDS, shown
from app.domain.stages import STEP_WORDS, Step
from app.services.closing import closing_card, morning_card
from app.services.corrections import latest_at, undo
from app.services.crediting import credit_to
from app.services.custody import standing_of
from app.services.desk import Desk, workers_named
from app.services.facts import sheet_by_id, sheet_by_number
from app.services.sheets import take_step
from app.services.shelves import begin_whole_shelf
from app.services.signing import hello, sign_in, sign_out_all
from app.services.yes_or_no import drop_question

WORKER = table_of(Worker)


def scan_badge(desk: Desk, code: str) -> Answer:
    """A badge signs its worker in, unless a question here waits for one."""
    found = select(WORKER.c.id).where(WORKER.c.badge_code == code, WORKER.c.retired_at.is_(None))
    worker_id = desk.session.execute(found).scalar()
    if worker_id is None:
        raise Refused(
            Refusal("unknown-worker", "This badge is not in use here.", "Sign in by your name, or ask the manager.")
        )
    worker = workers_named(desk.session, (worker_id,), desk.house)[0]
    pending = desk.in_hand("pending") or {}
    if pending.get("not_me"):
        desk.keep(pending=None)
        answer = credit_to(desk, worker)
        sign_in(desk, worker.worker_id, how="badge")
        return answer
    if pending.get("step") == Step.PUT_UNDER_WEIGHT and pending.get("already_done"):
        return _glued_it(desk, worker, pending)
    sign_in(desk, worker.worker_id, how="badge")
    return hello(desk, worker)


def scan_command(desk: Desk, code: str) -> Answer:
    """Do what a command card says."""
    name = next((name for name, known in COMMANDS.items() if known == code), "")
    deed = DEEDS.get(name)
    if deed is None:
        raise Refused(Refusal("unknown-number", "This card is not used here.", "Scan a sheet, a badge or a shelf."))
    return deed(desk)


def _glued_it(desk: Desk, worker: WorkerFacts, pending: Mapping[str, str]) -> Answer:
    """The badge answers the question by whom a sheet was glued that was brought to the press."""
    row = sheet_by_number(desk.session, pending["code"])
    assert row is not None
    desk.keep(pending=None)
    desk.request = replace(desk.request, already_done=True, facts={**desk.request.facts, "glued_by": worker.number})
    return take_step(desk, row, standing_of(row), Step.PUT_UNDER_WEIGHT)


def _undo_last(desk: Desk) -> Answer:
    if desk.station_id is None:
        raise Refused(Refusal("unknown-station", "A card is scanned at a station.", "Name the entry that is wrong."))
    entry_id = latest_at(desk, desk.station_id, desk.now - timedelta(hours=12))
    if entry_id is None:
        raise Refused(
            Refusal("not-last", "Nothing was scanned here today that still stands.", "There is nothing to undo.")
        )
    return undo(desk, entry_id, "undone by card")


def _done(desk: Desk) -> Answer:
    desk.keep(pending=None, stack_id=None, bundle_id=None, last_sheet_id=None, in_round=False)
    sign_out_all(desk)
    return Answer("done", "Thank you.", ("Everybody is signed out here.",), "Whoever comes next scans a badge.")


def _help(desk: Desk) -> Answer:
    steps = ", ".join(STEP_WORDS[step][0] for step in desk.steps)
    last = desk.in_hand("last_sheet_id")
    stage = standing_of(sheet_by_id(desk.session, last)).stage if last else None
    next_ = NEXT_BY_STAGE[stage] if stage else "Scan your badge, then the sheet in your hands."
    return Answer("done", "Help.", (f"At this place: {steps}.",), next_)


def _already_done(desk: Desk) -> Answer:
    pending = desk.in_hand("pending") or {}
    row = sheet_by_number(desk.session, pending["code"]) if pending.get("offer") else None
    if row is not None:
        desk.keep(pending=None)
        desk.request = replace(desk.request, already_done=True)
        return take_step(desk, row, standing_of(row), Step(pending["step"]))
    raise Refused(
        Refusal("out-of-order", "Scan the sheet first.", "Then scan this card, or press the button under the answer.")
    )


def _round(desk: Desk) -> Answer:
    begins = not desk.in_hand("in_round")
    desk.keep(in_round=begins, pending=None)
    if begins:
        return Answer(
            "done", "Press round.", ("Every stack's card is scanned as it lies.",), "Begin with the first stack."
        )
    return Answer("done", "Round done.", (), "Put right what the answers named.")


def _no_number(desk: Desk) -> Answer:
    return Answer(
        "which-one", WORDS["which-one"], ("A sheet without a number.",),
        "Type what its label says: the collector's number or the plant's name. If nothing fits, keep it for the manager.",
        ask=Ask("q", "On the label"), carry={"find": "1"},
    )  # fmt: skip


def _another_sheet(desk: Desk) -> Answer:
    last = desk.in_hand("last_sheet_id")
    if last is None:
        raise Refused(Refusal("out-of-order", "Take up the sheet first.", "Then scan this card."))
    row = sheet_by_id(desk.session, last)
    choice = Choice("Yes, it needs another sheet", "step", "another-sheet")
    line = f"Does {shown(row['number'], desk.patterns)} need one more sheet?"
    return Answer("which-one", WORDS["which-one"], (line,), choices=(choice,), carry={"code": row["number"]})


def _unmounted(desk: Desk) -> Answer:
    last = desk.in_hand("last_sheet_id")
    if last is None:
        raise Refused(Refusal("out-of-order", "Scan the sheet first.", "Then scan this card."))
    row = sheet_by_id(desk.session, last)
    step = f"step={Step.GOES_UNMOUNTED.value}&facts.unmounted="
    choices = tuple(Choice(f"It goes in a {kind}", "choose", step + kind) for kind in ("packet", "box"))
    line = f"Is {shown(row['number'], desk.patterns)} kept unmounted?"
    return Answer("which-one", WORDS["which-one"], (line,), choices=choices, carry={"code": row["number"]})


DEEDS: dict[str, Callable[[Desk], Answer]] = {
    "undo": _undo_last, "done": _done, "help": _help, "already-done": _already_done, "round": _round,
    "no-number": _no_number, "another-sheet": _another_sheet, "unmounted": _unmounted, "closing": closing_card,
    "morning": morning_card, "whole-shelf": begin_whole_shelf, "no": drop_question,
}  # fmt: skip
