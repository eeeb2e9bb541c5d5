"""Cards that are not sheets: badges, and the command cards for hands full of glue."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import timedelta

from sqlalchemy import select

from app.db.models import Station, Worker, table_of
from app.domain.answer import WORDS, Answer, Choice
from app.domain.attempt import WorkerFacts
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.moves import NEXT_BY_STAGE
from app.domain.numbers import COMMANDS, shown
from app.domain.stages import STEP_WORDS, Step
from app.services.apart_cards import another_sheet_card, same_number_card, same_specimen_card, two_plants_card
from app.services.attendance import NOTHING_IN_HAND
from app.services.check_cards import ask_which_cabinet, no_check_here
from app.services.closing import closing_card, morning_card
from app.services.corrections import latest_at, undo
from app.services.crediting import credit_to
from app.services.custody import standing_of
from app.services.damp_card import damp_card
from app.services.danger_card import danger_card
from app.services.desk import Desk, workers_named
from app.services.facts import sheet_by_id, sheet_by_number
from app.services.labels import end_labels, labels_card
from app.services.numberless import no_number
from app.services.pests import pest_card
from app.services.pots import undo_opening
from app.services.sheets import take_step
from app.services.shelves import begin_whole_shelf
from app.services.signing import hello, sign_in, sign_out_all
from app.services.yes_or_no import drop_question

WORKER = table_of(Worker)
STATION = table_of(Station)


def scan_badge(desk: Desk, code: str) -> Answer:
    """A badge signs its worker in, unless a question here waits for one."""
    found = select(WORKER.c.id).where(WORKER.c.badge_code == code, WORKER.c.retired_at.is_(None))
    worker_id = desk.session.execute(found).scalar()
    if worker_id is None:
        raise Refused(
            Refusal(
                "unknown-worker",
                say("This badge is not in use here."),
                say("Sign in by your name, or ask the manager."),
            )
        )
    worker = workers_named(desk.session, (worker_id,), desk.house)[0]
    pending = desk.in_hand("pending") or {}
    if pending.get("not_me"):
        answer = credit_to(desk, worker)
        desk.keep(pending=None)
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
        raise Refused(
            Refusal("unknown-number", say("This card is not used here."), say("Scan a sheet, a badge or a shelf."))
        )
    return deed(desk)


def scan_station(desk: Desk, code: str) -> Answer:
    """The card of a place says which one it is, and what is done there; the screen stays what it is."""
    found = select(STATION.c.id, STATION.c.name, STATION.c.steps).where(
        STATION.c.code == code, STATION.c.closed_at.is_(None)
    )
    row = desk.session.execute(found).one_or_none()
    if row is None:
        raise Refused(
            Refusal("unknown-station", say("No place here has this card."), say("Give the card to the manager."))
        )
    done_there = say(
        "At {name}: {steps}.", name=row.name, steps=", ".join(say(STEP_WORDS[Step(step)][0]) for step in row.steps)
    )
    if row.id == desk.station_id:
        return Answer(
            "done", f"{row.name}.", (say("This screen is the one of this card."), done_there), say("Scan a sheet.")
        )
    here = (
        say("This screen is {name}.", name=desk.station["name"])
        if desk.station
        else say("It was scanned away from any screen.")
    )
    next_ = say("What is done at {name} is scanned at its own screen.", name=row.name)
    return Answer("done", f"{row.name}.", (here, done_there), next_)


def _glued_it(desk: Desk, worker: WorkerFacts, pending: Mapping[str, str]) -> Answer:
    """The badge answers the question by whom a sheet was glued that was brought to the press."""
    row = sheet_by_number(desk.session, pending["code"])
    assert row is not None
    desk.keep(pending=None)
    facts = {**desk.request.facts, "glued_by": worker.number}
    desk.request = replace(desk.request, already_done=True, facts=facts, stack=pending.get("stack", ""))
    return take_step(desk, row, standing_of(row), Step.PUT_UNDER_WEIGHT)


def _undo_last(desk: Desk) -> Answer:
    if desk.station_id is None:
        raise Refused(
            Refusal("unknown-station", say("A card is scanned at a station."), say("Name the entry that is wrong."))
        )
    if (undone := undo_opening(desk)) is not None:
        return undone
    entry_id = latest_at(desk, desk.station_id, desk.now - timedelta(hours=12))
    if entry_id is None:
        raise Refused(
            Refusal(
                "not-last", say("Nothing was scanned here today that still stands."), say("There is nothing to undo.")
            )
        )
    return undo(desk, entry_id, "undone by card")


def _done(desk: Desk) -> Answer:
    if (ended := end_labels(desk)) is not None:
        return ended
    desk.keep(**NOTHING_IN_HAND)
    sign_out_all(desk)
    return Answer(
        "done", say("Thank you."), (say("Everybody is signed out here."),), say("Whoever comes next scans a badge.")
    )


def _help(desk: Desk) -> Answer:
    steps = ", ".join(say(STEP_WORDS[step][0]) for step in desk.steps)
    last = desk.in_hand("last_sheet_id")
    stage = standing_of(sheet_by_id(desk.session, last)).stage if last else None
    next_ = NEXT_BY_STAGE[stage] if stage else say("Scan your badge, then the sheet in your hands.")
    return Answer("done", say("Help."), (say("At this place: {steps}.", steps=steps),), next_)


def _already_done(desk: Desk) -> Answer:
    pending = desk.in_hand("pending") or {}
    row = sheet_by_number(desk.session, pending["code"]) if pending.get("offer") else None
    if row is not None:
        desk.keep(pending=None)
        desk.request = replace(desk.request, already_done=True)
        return take_step(desk, row, standing_of(row), Step(pending["step"]))
    raise Refused(
        Refusal(
            "out-of-order",
            say("Scan the sheet first."),
            say("Then scan this card, or press the button under the answer."),
        )
    )


def _round(desk: Desk) -> Answer:
    begins = not desk.in_hand("in_round")
    desk.keep(in_round=begins, pending=None)
    if begins:
        return Answer(
            "done",
            say("Press round."),
            (say("Every stack's card is scanned as it lies."),),
            say("Begin with the first stack."),
        )
    return Answer("done", say("Round done."), (), say("Put right what the answers named."))


def _unmounted(desk: Desk) -> Answer:
    last = desk.in_hand("last_sheet_id")
    if last is None:
        raise Refused(Refusal("out-of-order", say("Scan the sheet first."), say("Then scan this card.")))
    row = sheet_by_id(desk.session, last)
    step = f"step={Step.GOES_UNMOUNTED.value}&facts.unmounted="
    choices = (
        Choice(say("It goes in a packet"), "choose", f"{step}packet"),
        Choice(say("It goes in a box"), "choose", f"{step}box"),
    )
    line = say("Is {number} kept unmounted?", number=shown(row["number"], desk.patterns))
    return Answer("which-one", WORDS["which-one"], (line,), choices=choices, carry={"code": row["number"]})


DEEDS: dict[str, Callable[[Desk], Answer]] = {
    "undo": _undo_last, "done": _done, "help": _help, "already-done": _already_done, "round": _round,
    "no-number": no_number, "another-sheet": another_sheet_card, "unmounted": _unmounted, "closing": closing_card,
    "morning": morning_card, "whole-shelf": begin_whole_shelf, "no": drop_question, "pest": pest_card, "danger": danger_card,
    "check": ask_which_cabinet, "cannot-be-read": no_check_here,
    "same-number": same_number_card, "two-plants": two_plants_card, "same-specimen": same_specimen_card,
    "damp": damp_card, "label-here": labels_card,
}  # fmt: skip
