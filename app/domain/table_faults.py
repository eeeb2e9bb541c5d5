"""What is wrong with a list of sheets: in which file and line, in which column, and why, in one sentence."""

from __future__ import annotations

from dataclasses import dataclass

_SHOWN = 40


@dataclass(frozen=True, slots=True)
class BadRow:
    """What is wrong with a row: the line on which it begins (0: the file as a whole), the column, and why.

    `file` names the file within an archive, where the list is one.
    """

    line: int
    column: str
    reason: str
    file: str = ""

    @property
    def said(self) -> str:
        """The fault as one line of text."""
        where = [self.file] if self.file else []
        where += [f"{'line' if self.file else 'Line'} {self.line}"] if self.line else []
        where += [self.column] if self.column else []
        return ": ".join([", ".join(where), self.reason]) if where else self.reason


class BadTable(ValueError):
    """A file that cannot be read, or not any further; `bad` says where and why."""

    def __init__(self, line: int, column: str, reason: str, file: str = "") -> None:
        self.bad = BadRow(line, column, reason, file)
        super().__init__(self.bad.said)


def clipped(text: str) -> str:
    """A text as a sentence may quote it: on one line, and not longer than can be read at a glance."""
    shown = "".join(each if each.isprintable() else "\N{REPLACEMENT CHARACTER}" for each in text[:_SHOWN])
    return f"“{shown}…”" if len(text) > _SHOWN else f"“{shown}”"
