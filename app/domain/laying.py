"""Where the next glued sheet is laid, and what a stack of sheets takes from the shelf."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.domain.language import say, say_n


@dataclass(frozen=True, slots=True)
class Materials:
    """Release papers, foams and boards, in pieces; the lid is counted apart."""

    papers: int
    foams: int
    boards: int


def materials(sheets: int) -> Materials:
    """What so many sheets in one stack take: n release papers, n foams and n + 1 boards. ValueError for less than none."""
    if sheets < 0:
        raise ValueError(f"A stack of {sheets} sheets cannot be. Give their number, 0 or more.")
    return Materials(sheets, sheets, sheets + 1)


def materials_words(sheets: int, *, is_empty: bool) -> str:
    """What so many more sheets take from the shelf, in words; an empty stack takes its base board besides."""
    boards = sheets + is_empty
    return say(
        "{papers}, {foams} and {boards}",
        papers=say_n("{n} release paper", "{n} release papers", sheets), foams=say_n("{n} foam", "{n} foams", sheets),
        boards=say_n("{n} board", "{n} boards", boards),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Spot:
    """A stack as a place for the next sheet: what its sheets need under weight in seconds, and for how many it has room.

    `is_filling`: sheets lie in it, its weights have not been on them yet, and nothing in it may come out.
    """

    name: str
    weights_on: bool
    is_filling: bool
    sheets: int
    room: int
    minimums_s: frozenset[int]
    has_bulky: bool


def where_to_lay(minimum_s: int, is_bulky: bool, spots: Sequence[Spot]) -> Spot | None:
    """The place for a sheet that needs so many seconds under weight; None where no stack is filling for it or empty."""
    return next(iter(places_to_lay(minimum_s, is_bulky, spots)), None)


def places_to_lay(minimum_s: int, is_bulky: bool, spots: Sequence[Spot]) -> tuple[Spot, ...]:
    """Every place that fits such a sheet, the best first; none of them is full.

    A filling stack of the same minimum comes first, the fullest before the others, then an empty one, one without its
    weights before one that has them on; else in the order given. Bulky sheets lie on top: nothing flat goes above them.
    """
    filling = [spot for spot in spots if _takes(spot, minimum_s, is_bulky)]
    empty = [spot for spot in spots if not spot.sheets and spot.room > 0]
    return (
        *sorted(filling, key=lambda spot: spot.room),
        *sorted(empty, key=lambda spot: spot.weights_on),
    )


def makeshifts(minimum_s: int, is_bulky: bool, spots: Sequence[Spot]) -> tuple[Spot, ...]:
    """The open stacks with room that do not fit such a sheet, the emptiest first: glue that sets waits for no other."""
    fitting = places_to_lay(minimum_s, is_bulky, spots)
    others = [spot for spot in spots if not spot.weights_on and spot.room > 0 and spot not in fitting]
    return tuple(sorted(others, key=lambda spot: -spot.room))


def _takes(spot: Spot, minimum_s: int, is_bulky: bool) -> bool:
    return spot.is_filling and spot.room > 0 and spot.minimums_s == {minimum_s} and (is_bulky or not spot.has_bulky)
