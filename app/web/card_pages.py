"""Cards laid out on pages: which are asked for, on which paper, with which code. The page and the command draw the same."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from app.domain.card_words import CARD_KINDS, COMMAND_WORDS, CardKind, sign_for_label
from app.domain.cutting import GRIDS, Grid, Line, Paper, paper_named
from app.domain.hazards import DEFERS
from app.domain.language import say
from app.domain.numbers import COMMANDS, shown
from app.queries.freezers import load_cards
from app.queries.lot_cards import lot_cards
from app.queries.printed import SlipsAsked, badges, shelf_labels, slips, stack_cards
from app.queries.printed_places import bundle_cards, station_cards
from app.web.codes import SYMBOLS, Symbol, symbol


@dataclass(frozen=True, slots=True)
class CardsAsked:
    """What somebody wants printed: the kind, on which paper, with which code, and of what; empty means of everything."""

    kind: str
    paper: str = "a4"
    symbol: str = "qr"
    slips: SlipsAsked = field(default_factory=SlipsAsked)
    cabinet: str = ""
    stack: str = ""
    worker_id: int | None = None
    bundle: str = ""
    station: str = ""
    load: str = ""
    lot: str = ""


@dataclass(frozen=True, slots=True)
class Face:
    """One side of a card: the code that it carries, drawn and as people read it, and the word that belongs to it alone."""

    symbol: Symbol
    shown: str
    word: str = ""


@dataclass(frozen=True, slots=True)
class DrawnCard:
    """One card in its place on the page, in millimetres; `of` is what was read for it, and a folded one has two faces."""

    x: float
    y: float
    of: Any
    faces: tuple[Face, ...]


@dataclass(frozen=True, slots=True)
class CardPages:
    """The pages of one kind, ready to be drawn; `matching` counts what was asked for, `count` what is on the pages."""

    kind: str
    words: CardKind
    paper: Paper
    grid: Grid
    symbol: str
    leaves: tuple[tuple[DrawnCard, ...], ...]
    cuts: tuple[Line, ...]
    creases: tuple[Line, ...]
    count: int
    matching: int

    @property
    def foot(self) -> str:
        """What stands at the foot of each page: where anything on them warns of a danger, what comes before that."""
        warns = self.kind == "slips" and any(card.of.cautions for leaf in self.leaves for card in leaf)
        return DEFERS if warns else ""


@dataclass(frozen=True, slots=True)
class CommandCard:
    """A command card: its code, its word, and in a line what it does."""

    code: str
    word: str
    does: str


Unplaced = tuple[Any, tuple[Face, ...]]


def card_pages(session: Any, asked: CardsAsked, now: datetime, zone: ZoneInfo) -> CardPages:
    """The pages that are asked for. ValueError, in a sentence, for what is not here, or asks for nothing in particular."""
    if asked.kind not in CARD_KINDS:
        raise ValueError(
            say(
                "Nothing called {kind} is printed here. Choose one of {kinds}.",
                kind=asked.kind,
                kinds=", ".join(CARD_KINDS),
            )
        )
    if asked.symbol not in SYMBOLS:
        raise ValueError(
            say(
                "There is no code called {symbol} here. Choose {symbols}.",
                symbol=asked.symbol,
                symbols=say(" or ").join(SYMBOLS),
            )
        )
    paper, grid = paper_named(asked.paper), GRIDS[asked.kind]
    cards, matching = _FOUND[asked.kind](session, asked, now, zone)
    return CardPages(asked.kind, CARD_KINDS[asked.kind], paper, grid, asked.symbol, _leaves(cards, grid, paper),
                     grid.cuts(paper), grid.creases(paper), len(cards), matching)  # fmt: skip


def command_cards() -> tuple[CommandCard, ...]:
    """The cards of the commands that do something here, in the order in which they were thought of."""
    return tuple(
        CommandCard(code, say(COMMAND_WORDS[name].word), say(COMMAND_WORDS[name].does))
        for name, code in COMMANDS.items()
        if name not in UNUSED
    )


def _leaves(cards: Sequence[Unplaced], grid: Grid, paper: Paper) -> tuple[tuple[DrawnCard, ...], ...]:
    spots, many = grid.spots(paper), grid.on_a_page
    return tuple(
        tuple(DrawnCard(*spot, *card) for spot, card in zip(spots, cards[first : first + many], strict=False))
        for first in range(0, len(cards), many)
    )


def _slips(session: Any, asked: CardsAsked, now: datetime, zone: ZoneInfo) -> tuple[list[Unplaced], int]:
    found = slips(session, asked.slips, now, zone)
    return [(each, (_face(asked, each.code, each.shown),)) for each in found.slips], found.matching


def _shelves(session: Any, asked: CardsAsked, *_: object) -> tuple[list[Unplaced], int]:
    found = [replace(each, sign=sign_for_label(each.sign)) for each in shelf_labels(session, asked.cabinet)]
    return [(each, (_face(asked, each.code, each.shown),)) for each in found], len(found)


def _stacks(session: Any, asked: CardsAsked, *_: object) -> tuple[list[Unplaced], int]:
    found = stack_cards(session, asked.stack)
    return [(each, (_face(asked, each.code_on, each.shown_on, "on"), _face(asked, each.code_off, each.shown_off, "off")))
            for each in found], len(found)  # fmt: skip


def _badges(session: Any, asked: CardsAsked, *_: object) -> tuple[list[Unplaced], int]:
    found = badges(session, asked.worker_id)
    return [(each, (_face(asked, each.code, each.shown),)) for each in found], len(found)


def _cards(_session: Any, asked: CardsAsked, *_: object) -> tuple[list[Unplaced], int]:
    found = command_cards()
    return [(each, (_face(asked, each.code, shown(each.code, ())),)) for each in found], len(found)


def _bundles(session: Any, asked: CardsAsked, *_: object) -> tuple[list[Unplaced], int]:
    found = bundle_cards(session, asked.bundle)
    return [(each, (_face(asked, each.code, each.shown),)) for each in found], len(found)


def _stations(session: Any, asked: CardsAsked, *_: object) -> tuple[list[Unplaced], int]:
    found = station_cards(session, asked.station)
    return [(each, (_face(asked, each.code, each.shown),)) for each in found], len(found)


def _loads(session: Any, asked: CardsAsked, *_: object) -> tuple[list[Unplaced], int]:
    found = load_cards(session, asked.load)
    return [(each, (_face(asked, each.code, each.shown),)) for each in found], len(found)


def _lots(session: Any, asked: CardsAsked, *_: object) -> tuple[list[Unplaced], int]:
    found = lot_cards(session, asked.lot)
    return [(each, (_face(asked, each.code, each.shown),)) for each in found], len(found)


def _face(asked: CardsAsked, code: str, shown_as: str, word: str = "") -> Face:
    return Face(symbol(asked.symbol, code, SIZES[asked.kind]), shown_as, word)


# A command that has no deed yet: its card would be refused, so it is not printed. There is none now.
UNUSED: frozenset[str] = frozenset()
# A slip is held to the scanner; what hangs or lies is scanned at arm's length, and is larger.
SIZES: dict[str, float] = {"slips": 13, "shelves": 20, "stacks": 24, "badges": 20, "cards": 20, "bundles": 20,
                           "stations": 20, "lots": 20, "loads": 20}  # fmt: skip
_FOUND: dict[str, Callable[..., tuple[list[Unplaced], int]]] = {
    "slips": _slips, "shelves": _shelves, "stacks": _stacks, "badges": _badges, "cards": _cards,
    "bundles": _bundles, "stations": _stations, "lots": _lots, "loads": _loads,
}  # fmt: skip
