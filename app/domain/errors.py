"""Refusals: what is true, and what to do next, when a step may not be taken."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from app.domain.language import say

AnswerKind = Literal["done", "not-yet", "stop", "which-one"]

_WEIGHT: dict[str, int] = {"stop": 3, "which-one": 2, "not-yet": 1}


@dataclass(frozen=True, slots=True)
class Refusal:
    """One reason why a step may not be taken.

    `code` is short and stable; `words` says what is true and `next` what to do with the thing in the hands. Both may
    name facts in braces, which are said in the room's own time zone when they are shown, and are said in the language
    of that moment.
    """

    code: str
    words: str
    next: str = ""
    answer: AnswerKind = "stop"
    facts: Mapping[str, object] = field(default_factory=dict)

    def said(self, tell: Callable[[object], str]) -> str:
        """Say what is true, each fact spelled by `tell`."""
        return _filled(self.words, self.facts, tell)

    def next_said(self, tell: Callable[[object], str]) -> str:
        """Say what to do next, each fact spelled by `tell`."""
        return _filled(self.next, self.facts, tell)


class Refused(Exception):
    """Raised by services; carries every reason at once."""

    def __init__(self, *refusals: Refusal) -> None:
        super().__init__(", ".join(refusal.code for refusal in refusals))
        self.refusals = refusals


def gravest(refusals: Sequence[Refusal]) -> AnswerKind:
    """The answer that several refusals make together: stop, else which one, else not yet."""
    return max((refusal.answer for refusal in refusals), key=lambda kind: _WEIGHT[kind])


def _filled(words: str, facts: Mapping[str, object], tell: Callable[[object], str]) -> str:
    words = say(words)
    for name, value in facts.items():
        words = words.replace("{" + name + "}", tell(value))
    return words
