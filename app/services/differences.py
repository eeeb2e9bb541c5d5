"""What an audit finds, each in one sentence: where log and tables differ, what is in question, and what is dated ahead."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from app.domain.stages import STEP_WORDS, Step
from app.domain.words import duration


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that the log says and a table says otherwise. `subject_kind` is sheet, stack, entry, tally or check."""

    subject_kind: str
    subject_id: int | None
    name: str
    what: str
    by_log: str
    by_row: str

    @property
    def sentence(self) -> str:
        """The difference as one line of text."""
        return f"{self.subject_kind.capitalize()} {self.name}, {self.what}: {self.by_log} by the log, {self.by_row} by the table."


@dataclass(frozen=True, slots=True)
class InQuestion:
    """An accepted move that what became known later calls in question; `short_s` are the seconds it fell short."""

    number: str
    step: str
    entry_id: int
    by_entry_id: int
    short_s: int
    raised_at: datetime

    @property
    def sentence(self) -> str:
        """What is in question as one line of text."""
        done, short = STEP_WORDS[Step(self.step)][1], duration(self.short_s)
        return (
            f"Sheet {self.number}, {done} (entry {self.entry_id}): {short} short of its minimum "
            f"by what entry {self.by_entry_id} says."
        )


@dataclass(frozen=True, slots=True)
class Ahead:
    """An entry that is dated after the moment at which it was looked for."""

    entry_id: int
    subject_kind: str
    subject_id: int
    step: str
    happened_at: datetime
    by: timedelta

    @property
    def sentence(self) -> str:
        """What is dated ahead as one line of text."""
        done, ahead = STEP_WORDS[Step(self.step)][1], duration(self.by.total_seconds())
        return f"Entry {self.entry_id}, {self.subject_kind} {self.subject_id} {done}: dated {ahead} ahead of now."


def plainly(value: object) -> str:
    """A value of the log or of a table as an audit says it."""
    if value is None or value in ("", [], ()):
        return "nothing"
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)
