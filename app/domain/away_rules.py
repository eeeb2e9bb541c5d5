"""The rules by which a sheet is sent out to somebody: a specialist, a photographer, another institution."""

from __future__ import annotations

from datetime import date

from app.domain.attempt import Attempt
from app.domain.calendar import local_day
from app.domain.errors import Refusal
from app.domain.holds import OUT
from app.domain.language import mark, say
from app.domain.stages import STAGES, Stage

# What lies wet or under weight cannot be away, and what is filed is no longer this room's to send.
_FIRST: dict[Stage, str] = {
    Stage.MOUNTED: mark("Lay it under weight now. It may go out when it has come out of the press."),
    Stage.UNDER_PRESS: mark("Take it out when its time has come, then send it out."),
    Stage.FILED: mark("What is filed, the collection lends. If work is to be done on it, bring it back with a reason."),
}


def sent_by_trainer(attempt: Attempt) -> Refusal | None:
    """A sheet is sent out by the trainer or the manager."""
    if not _is_sent_out(attempt) or attempt.has_right("manager", "trainer"):
        return None
    return Refusal("manager-only", say("Only a trainer or the manager sends a sheet out."), say("Ask them."))


def may_leave_its_stage(attempt: Attempt) -> Refusal | None:
    """A glued sheet stays until it was under weight, and a filed one is the collection's."""
    stage = attempt.sheet.stage
    if not _is_sent_out(attempt) or stage not in _FIRST:
        return None
    return Refusal(
        "wrong-stage", say("It {stands}, so it cannot be sent out.", stands=STAGES[stage].stands), say(_FIRST[stage])
    )


def is_on_no_table(attempt: Attempt) -> Refusal | None:
    """What was taken up is put back before it goes anywhere."""
    taken_up = attempt.sheet.stage is Stage.READY and attempt.sheet.place.table_id is not None
    if not _is_sent_out(attempt) or not taken_up:
        return None
    return Refusal(
        "on-another-table",
        say("It was taken up at {table}.", table=attempt.where),
        say("Put it back on its shelf first."),
    )


def is_not_in_quarantine(attempt: Attempt) -> Refusal | None:
    """What is in quarantine stays in its bag."""
    if not _is_sent_out(attempt) or "quarantine" not in attempt.sheet.holds:
        return None
    return Refusal("on-hold", say("It is in quarantine."), say("Keep it closed in its bag. The manager decides."))


def says_with_whom(attempt: Attempt) -> Refusal | None:
    """Somebody has it."""
    if not _is_sent_out(attempt) or str(attempt.facts.get("with_whom", "")).strip():
        return None
    return Refusal("reason-needed", say("Nobody has said with whom it is."), say("Say who has it."), "which-one")


def is_due_later(attempt: Attempt) -> Refusal | None:
    """It cannot be due back before the day on which it goes."""
    due, goes = attempt.facts.get("due_on"), local_day(attempt.happened_at, attempt.calendar.zone)
    if not _is_sent_out(attempt) or not due or date.fromisoformat(str(due)) >= goes:
        return None
    return Refusal(
        "out-of-order", say("The day on which it is due back has passed."), say("Give today or a later day.")
    )


def _is_sent_out(attempt: Attempt) -> bool:
    return attempt.facts.get("hold") == OUT


SENT_OUT = (sent_by_trainer, may_leave_its_stage, is_on_no_table, is_not_in_quarantine, says_with_whom, is_due_later)
