"""A text in which somebody is named, as it is looked at before the name is taken out of it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class NamedText:
    """One text, in the one place where it stands (`where`: table and column), and the keys of all rows that hold it.

    `whole` says that the whole name is in it, else only a part. `always`: it is nothing but the name, and is always
    replaced.
    """

    where: str
    words: str
    text: str
    whole: bool
    always: bool
    rows: tuple[object, ...]

    @property
    def mark(self) -> str:
        """What this text is called on a form, the same at every look."""
        return hashlib.sha256(f"{self.where}\0{self.text}".encode()).hexdigest()[:16]
