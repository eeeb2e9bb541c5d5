"""One line of what needs a person, and what the lines are made from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.domain.numbers import Pattern, shown
from app.queries.press import StackView
from app.queries.stalled import Waiting
from app.queries.waiting import Judge


@dataclass(frozen=True, slots=True)
class Need:
    """One line: what it is about, what is true of it, since when, and the words and end of its link."""

    kind: str
    subject: str
    what: str
    since: datetime | None
    do: str
    href_kind: str
    href_id: str
    stage: str


@dataclass(frozen=True, slots=True)
class Asked:
    """What the lines are made from: the judge of this moment, what waits, and the stacks."""

    session: Session
    judged: Judge
    waiting: Sequence[Waiting]
    stacks: Sequence[StackView]
    patterns: Sequence[Pattern]


def of_sheet(asked: Asked, kind: str, number: str, what: str, since: datetime | None, do: str, stage: str) -> Need:
    """A line about one sheet."""
    return Need(kind, shown(number, asked.patterns), what, since, do, "sheet", number, stage)


def of_stack(kind: str, name: str, what: str, since: datetime | None, do: str) -> Need:
    """A line about one stack."""
    return Need(kind, f"Stack {name}", what, since, do, "stack", name, "under-press")


def sheets_said(count: int) -> str:
    """A number of sheets: "1 sheet", "14 sheets"."""
    return "1 sheet" if count == 1 else f"{count:,} sheets"
