"""How cards lie on a page that is cut up: the papers, the grid of each kind, the cuts and the folds. All in millimetres."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from app.domain.language import mark, say

# A mark stands off the card, so that none is left on it, and ends where every printer still prints.
MARK_GAP, MARK_LENGTH = 1.5, 5.0


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper, upright."""

    name: str
    words: str
    width: float
    height: float


class Spot(NamedTuple):
    """Where a card's upper left corner lies, from that of the paper."""

    x: float
    y: float


class Line(NamedTuple):
    """A straight line from one point to another."""

    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True, slots=True)
class Grid:
    """Cards of one size, edge to edge, so that one cut parts two; `folds` where each is folded down its middle."""

    width: float
    height: float
    columns: int
    rows: int
    folds: bool = False

    @property
    def on_a_page(self) -> int:
        """How many cards are on a full page."""
        return self.columns * self.rows

    def corner(self, paper: Paper) -> Spot:
        """Where the grid begins, so that it lies in the middle of the paper."""
        left = (paper.width - self.columns * self.width) / 2
        return Spot(round(left, 3), round((paper.height - self.rows * self.height) / 2, 3))

    def spots(self, paper: Paper) -> tuple[Spot, ...]:
        """Where each card of a full page lies, row by row."""
        left, top = self.corner(paper)
        return tuple(
            Spot(round(left + column * self.width, 3), round(top + row * self.height, 3))
            for row in range(self.rows)
            for column in range(self.columns)
        )

    def cuts(self, paper: Paper) -> tuple[Line, ...]:
        """The marks around the grid: whoever lays a ruler from one to the one across cuts along the cards' edges."""
        left, top = self.corner(paper)
        down = [line for at in range(self.columns + 1) for line in self._upright(paper, left + at * self.width)]
        far = left + self.columns * self.width
        across = [
            Line(*(round(each, 3) for each in (x, y, x + MARK_LENGTH, y)))
            for y in (top + at * self.height for at in range(self.rows + 1))
            for x in (left - MARK_GAP - MARK_LENGTH, far + MARK_GAP)
        ]
        return (*down, *across)

    def creases(self, paper: Paper) -> tuple[Line, ...]:
        """The marks of the folds, down the middle of each column; none for what is not folded."""
        left = self.corner(paper).x
        middles = [left + (at + 0.5) * self.width for at in range(self.columns)] if self.folds else []
        return tuple(line for x in middles for line in self._upright(paper, x))

    def _upright(self, paper: Paper, x: float) -> tuple[Line, Line]:
        top = self.corner(paper).y
        end = top + self.rows * self.height
        lines = ((top - MARK_GAP - MARK_LENGTH, top - MARK_GAP), (end + MARK_GAP, end + MARK_GAP + MARK_LENGTH))
        above, below = (Line(*(round(each, 3) for each in (x, y1, x, y2))) for y1, y2 in lines)
        return above, below


def paper_named(name: str) -> Paper:
    """The paper of this name; ValueError, in a sentence, for one that is not kept here."""
    if name not in PAPERS:
        raise ValueError(
            say("There is no paper called {name} here. Choose {papers}.", name=name, papers=say(" or ").join(PAPERS))
        )
    return PAPERS[name]


# ISO 216 (A4); ANSI/ASME Y14.1 (A, 8.5 by 11 inches).
PAPERS: dict[str, Paper] = {each.name: each for each in (
    Paper("a4", "A4", 210.0, 297.0),
    Paper("letter", mark("Letter"), 215.9, 279.4),
)}  # fmt: skip

# The same cards on both papers, so that old and new ones fit into the same holders. A badge has the size of a bank card
# (ISO/IEC 7810, ID-1: 85.60 by 53.98); the others are our own.
GRIDS: dict[str, Grid] = {
    "slips": Grid(92, 50, 2, 5),
    "shelves": Grid(92, 42, 2, 6),
    "stacks": Grid(180, 62, 1, 4, folds=True),
    "badges": Grid(85.6, 54, 2, 4),
    "cards": Grid(92, 50, 2, 5),
    "bundles": Grid(92, 50, 2, 5),
    "stations": Grid(92, 50, 2, 5),
    "loads": Grid(92, 50, 2, 5),
    "lots": Grid(92, 50, 2, 5),
}
