"""One line of what needs a person, its kind, and what the lines are made from."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.domain.language import say
from app.domain.numbers import Pattern, shown
from app.queries.lying import Heap
from app.queries.press import StackView
from app.queries.stalled import Waiting
from app.queries.waiting import Judge

# So many sheets of a kind in one place stand singly; more are told as the place and their number.
SINGLY = 3


@dataclass(frozen=True, slots=True)
class Need:
    """One line: what it is about, what is true of it, since when, and the words and end of its link.

    `many` is how many sheets it is about. `about` says for the program what that is, and stays the same as long as it is
    the same thing; it is empty for a line that cannot be put aside. `within` is what `about` would be if the place were
    told as one.
    """

    kind: str
    subject: str
    what: str
    since: datetime | None
    do: str
    href_kind: str
    href_id: str
    stage: str
    many: int = 1
    shelf: str = ""
    about: str = ""
    within: str = ""
    is_grave: bool = False

    @property
    def key(self) -> str:
        """The line for the program: its kind and what it is about."""
        return f"{self.kind} {self.about}" if self.about else ""


@dataclass(frozen=True, slots=True)
class Asked:
    """What the lines are made from: the judge of this moment, what waits, the stacks, and what is left behind."""

    session: Session
    judged: Judge
    waiting: Sequence[Waiting]
    stacks: Sequence[StackView]
    behind: Sequence[Heap]
    patterns: Sequence[Pattern]


@dataclass(frozen=True, slots=True)
class NeedKind:
    """A kind of line: its name, how it is said of one thing, the words of its link, and who looks for such things.

    `is_grave`: glue sets, or a pest goes on, meanwhile; the line is drawn in red.
    """

    name: str
    words: str
    do: str
    seek: Callable[[Asked, NeedKind], list[Need]]
    is_grave: bool = False


def of_sheet(asked: Asked, kind: NeedKind, number: str, since: datetime | None, stage: str, what: str = "",
             within: str = "") -> Need:  # fmt: skip
    """A line about one sheet; in the words of its kind where no others are given."""
    return Need(kind.name, shown(number, asked.patterns), what or say(kind.words), since, say(kind.do), "sheet", number, stage,
                about=f"sheet {number}", within=within, is_grave=kind.is_grave)  # fmt: skip


def of_stack(kind: NeedKind, name: str, since: datetime | None, what: str = "", many: int = 1) -> Need:
    """A line about one stack and so many sheets in it."""
    return Need(kind.name, say("Stack {name}", name=name), what or say(kind.words), since, say(kind.do), "stack", name,
                "under-press", many=many, about=f"stack {name}", is_grave=kind.is_grave)  # fmt: skip
