"""One question to the search: what was typed and how it reads, and the ways in which it is looked for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import Select
from sqlalchemy.orm import Session

from app.domain.numbers import Pattern
from app.domain.reading import Reading


@dataclass(frozen=True, slots=True)
class Asked:
    """What is searched for: as it was typed, folded (`plant` as plants' names are), and read as a number.

    `most` is how many sheets are wanted; `by_hands` whether a worker's name may find what they had last.
    """

    session: Session
    text: str
    key: str
    plant: str
    reading: Reading
    patterns: Sequence[Pattern]
    most: int
    by_hands: bool = False

    @property
    def is_number(self) -> bool:
        """Whether it is nothing but digits, as no name is."""
        return self.key.isdigit()


Seekers = tuple[tuple[str, Callable[[Asked], Iterable[int]]], ...]


def ids(asked: Asked, statement: Select[int], **values: object) -> list[int]:
    """The ids of sheets that a statement gives for these values."""
    return list(asked.session.execute(statement, values).scalars())


def shared_out(asked: Asked, statement: Select[int], keys: Sequence[int]) -> Iterable[int]:
    """Sheets of each name that fits, some of every one, so that a common name does not hide the others."""
    each = max(asked.most // max(len(keys), 1), 1)
    for key in keys:
        yield from ids(asked, statement, key=key, most=each)
    for key in keys:
        yield from ids(asked, statement, key=key, most=asked.most)
