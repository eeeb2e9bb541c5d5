"""What an answer offers to do, as the fields that its buttons send back; and what such fields say."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qsl

from app.domain.answer import Answer, Choice
from app.domain.errors import Refusal, Refused
from app.domain.language import say

YES_OR_NO = frozenset({"dryness", "label", "felt_again", "all", "found", "fresh", "sealed"})
# What is told in lines, one for each thing found.
IN_LINES = frozenset({"findings"})
NUMBERS = frozenset({"counted"})
# Choices that drop a question: whoever says yes to it does not mean them.
WAYS_OUT = frozenset({"facts.leave"})
_LARGEST = 99_999


def asks(answer: Answer) -> bool:
    """Whether an answer waits for something: a scan, a choice, a field to fill in, or that a deed was done already."""
    return answer.kind == "which-one" or bool(answer.choices or answer.ask or answer.already_done)


def offers(answer: Answer) -> tuple[Mapping[str, str], ...]:
    """What each of an answer's buttons sends back, by name; ways out of the question are left out."""
    if "code" not in answer.carry:
        return ()
    sent = [_opened(answer, choice) for choice in answer.choices if choice.name not in WAYS_OUT]
    if answer.already_done:
        sent.append({**answer.carry, "already_done": "1"})
    return tuple(sent)


def opened(sent: Mapping[str, str]) -> dict[str, str]:
    """The fields of a form, with those that a choice holds together ("step=file&facts.found=yes") each by its name."""
    return {**sent, **dict(parse_qsl(sent.get("choose", "")))}


def facts_in(fields: Mapping[str, str]) -> dict[str, Any]:
    """The facts among the fields of a form; Refused: misread-number for a count that is none."""
    return {name[6:40]: _fact(name[6:40], value) for name, value in fields.items() if name.startswith("facts.")}


def _opened(answer: Answer, choice: Choice) -> dict[str, str]:
    return opened({**answer.carry, choice.name: choice.value})


def _fact(name: str, value: str) -> Any:
    if name in YES_OR_NO:
        return value == "yes"
    if name in IN_LINES:
        return [line.strip() for line in value[:4000].splitlines() if line.strip()]
    value = value[:500]
    if name not in NUMBERS:
        return value
    if not (value.isascii() and value.isdigit() and len(value) < 10 and int(value) <= _LARGEST):
        raise Refused(Refusal("misread-number", say("That is not a count."), say("Type a whole number.")))
    return int(value)
