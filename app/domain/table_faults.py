"""What is wrong with a list of sheets: in which file and line, in which column, and why, in one sentence."""

from __future__ import annotations

from dataclasses import dataclass

from app.domain.language import mark, say

_SHOWN = 40
_LONGEST_NAME = 120


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
        where = [_named(self.file)] if self.file else []
        line = mark("line {number}") if self.file else mark("Line {number}")
        where += [say(line, number=self.line)] if self.line else []
        where += [_named(self.column)] if self.column else []
        # Names and values in it are a stranger's, and a terminal may show it.
        return _in_sight(": ".join([", ".join(where), self.reason]) if where else self.reason)


class BadTable(ValueError):
    """A file that cannot be read, or not any further; `bad` says where and why."""

    def __init__(self, line: int, column: str, reason: str, file: str = "") -> None:
        self.bad = BadRow(line, column, reason, file)
        super().__init__(self.bad.said)


def clipped(text: str) -> str:
    """A text as a sentence may quote it: on one line, and not longer than can be read at a glance."""
    return f"“{_in_sight(text[:_SHOWN])}…”" if len(text) > _SHOWN else f"“{_in_sight(text)}”"


def _named(text: str) -> str:
    """A heading, or a file's name, as a fault begins with it."""
    return f"{text[:_LONGEST_NAME]}…" if len(text) > _LONGEST_NAME else text


def _in_sight(text: str) -> str:
    return "".join(each if each.isprintable() else "\N{REPLACEMENT CHARACTER}" for each in text)
