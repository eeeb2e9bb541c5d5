"""The rules of the press: when a sheet may be laid in a stack, and when it may come out."""

from __future__ import annotations

from datetime import date

from app.domain.attempt import Attempt
from app.domain.calendar import local_day, next_open
from app.domain.errors import Refusal
from app.domain.language import say, say_n
from app.domain.laying import materials_words
from app.domain.rules import reason_needed
from app.domain.words import date_said, weekday_said


def has_a_stack(attempt: Attempt) -> Refusal | None:
    """A glued sheet is laid in a stack that is named."""
    if attempt.stack is not None:
        return None
    return Refusal(
        "no-stack", say("No stack is named yet."), say("Scan the card of the stack that you lay it in."), "which-one"
    )


def weights_are_off_it(attempt: Attempt) -> Refusal | None:
    """Laying in needs the weights off the stack."""
    stack = attempt.stack
    if stack is None or not stack.weights_on:
        return None
    return Refusal(
        "weights-on",
        say("The weights are on {stack}.", stack=stack.name),
        say(
            "Lift them one at a time, scan the card of {stack}, then scan the sheet again. Or lay it in another stack.",
            stack=stack.name,
        ),
        "not-yet",
    )


def has_room(attempt: Attempt) -> Refusal | None:
    """A stack holds as many sheets as there are papers, foams and boards for it."""
    stack = attempt.stack
    # One that is laid back in its own stack takes up no more room than before.
    if stack is None or stack.sheets - (attempt.sheet.place.stack_id == stack.stack_id) < stack.capacity:
        return None
    words = say_n(
        "{stack} is full: {n} sheet. One more takes {materials}.", "{stack} is full: {n} sheets. One more takes {materials}.",
        stack.sheets, stack=stack.name, materials=materials_words(1, is_empty=False),
    )  # fmt: skip
    return Refusal("stack-full", words, say("Lay it in another stack."), "not-yet")


def lay_long_enough(attempt: Attempt) -> Refusal | None:
    """The time that it has really lain under weight is at least the minimum for its adhesive and bulk."""
    clock = attempt.clock
    if clock is None or not clock.remaining or attempt.early:
        return None
    name = attempt.own_stack.name if attempt.own_stack else say("its stack")
    facts: dict[str, object] = {
        "remaining": clock.remaining, "ready_at": clock.ready_at,
        "under_weight": clock.under_weight, "minimum": clock.minimum,
    }  # fmt: skip
    if clock.ready_at is None:
        words = say("It needs {{remaining}} more under weight, and the clock of {stack} is not running.", stack=name)
        leave = say("Leave it in {stack}. Its time goes on when the weights are back on.", stack=name)
    else:
        until = say("It needs {remaining} more under weight, and may come out {ready_at}.")
        words = " ".join(filter(None, (until, _closed_then(attempt))))
        leave = say("Leave it in {stack}.", stack=name)
    return Refusal("too-early", words, leave, "not-yet", facts)


def own_weights_are_off(attempt: Attempt) -> Refusal | None:
    """Taking out needs the weights off; nobody should lift weights to find out."""
    stack = attempt.own_stack
    if stack is None or not stack.weights_on:
        return None
    is_ready = attempt.clock is None or not attempt.clock.remaining or attempt.early
    on = say("The weights are on {stack}.", stack=stack.name)
    words = f"{say('Ready.')} {on}" if is_ready else on
    do = (
        say(
            "Lift the weights of {stack}, one piece at a time, scan its card, then scan the sheet again.",
            stack=stack.name,
        )
        if is_ready
        else ""
    )
    return Refusal("weights-on", words, do, "not-yet")


def early_by_manager(attempt: Attempt) -> Refusal | None:
    """Nobody but the manager lets a sheet out early."""
    if not attempt.early or attempt.has_right("manager"):
        return None
    return Refusal(
        "manager-only", say("Only the manager lets a sheet out before its time."), say("Leave it in its stack.")
    )


def early_with_reason(attempt: Attempt) -> Refusal | None:
    """An early release says why."""
    return reason_needed(attempt) if attempt.early else None


def clock_is_trusted(attempt: Attempt) -> Refusal | None:
    """Nothing is taken out while the computer's clock is in doubt."""
    if not attempt.clock_doubtful:
        return None
    return Refusal(
        "clock-doubtful",
        say("The computer's clock may be wrong, so nothing is taken out."),
        say("Say first whether the date and the time on the screen are right."),
    )


def _closed_then(attempt: Attempt) -> str:
    ready = attempt.clock.ready_at if attempt.clock else None
    if ready is None:
        return ""
    day = local_day(ready, attempt.calendar.zone)
    if attempt.calendar.is_open(day):
        return ""
    following = next_open(attempt.calendar, day)
    if following is None:
        return say("The room is closed.")
    return say("The room is closed that day; it is open again {day}.", day=_day(following))


def _day(day: date) -> str:
    return say("{weekday} {date}", weekday=weekday_said(day), date=date_said(day, with_year=False))
