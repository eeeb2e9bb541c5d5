"""How a closing and a morning are said: under which heads, in which order, and what to do about each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from app.domain.calendar import DAY
from app.domain.day import Day, Item, Kind, Tell, date_words

# On a card; a page shows more.
A_FEW = 5


@dataclass(frozen=True, slots=True)
class Section:
    """One head: what stands under it, and what to do; `presses` where it must be seen to before anybody leaves."""

    head: str
    do: str
    kinds: frozenset[Kind]
    presses: bool = True


@dataclass(frozen=True, slots=True)
class Part:
    """A head with what was found under it."""

    section: Section
    items: tuple[Item, ...]


CLOSING: tuple[Section, ...] = (
    Section("Glued, and not under weight", "Lay them in, and put the weights on.", frozenset({Kind.GLUED})),
    Section("The weights are off", "Put them on, and scan the card with “on” upward.", frozenset({Kind.BARE})),
    Section("Still on a table", "Put them back: scan the sheet, then its shelf.", frozenset({Kind.TABLE})),
    Section("Papers fall due before the room opens again", "Change them now, or agree who comes in.", frozenset({Kind.PAPERS})),
    Section("Scans are still kept at", "Leave that screen on until it has sent them.", frozenset({Kind.KEPT})),
    Section("Out of the freezer too early", "Put them back at once: scan the load's card, then the freezer's code.",
            frozenset({Kind.LOAD_BACK})),
    Section("In the freezer", "Leave loads in and bags closed until then: longer does no harm.",
            frozenset({Kind.LOAD_OUT, Kind.LOAD_OPEN}), presses=False),
    Section("Signed in", "Scan the card “done” there when you go.", frozenset({Kind.SIGNED_IN}), presses=False),
    Section("Not heard from today", "Look whether that screen still keeps scans.", frozenset({Kind.SILENT}), presses=False),
)  # fmt: skip
MORNING: tuple[Section, ...] = (
    Section("Left overnight", "See to these before anything else.", frozenset({Kind.BARE, Kind.GLUED})),
    Section("May come out of the press", "What is ready now first.", frozenset({Kind.PRESS})),
    Section("Papers to change today", "Tighten the straps afterwards.", frozenset({Kind.PAPERS})),
    Section("May be felt today", "The thickest part last: fruit, buds, roots.", frozenset({Kind.FEEL})),
    Section("Out of the freezer too early", "Put them back at once: their days begin again.", frozenset({Kind.LOAD_BACK})),
    Section("In the freezer", "A bag stays closed for a day after it came out.", frozenset({Kind.LOAD_OUT, Kind.LOAD_OPEN})),
    Section("Wanted", "These before all others.", frozenset({Kind.WANTED})),
    Section("Then mount", "In this order.", frozenset({Kind.ORDER})),
)  # fmt: skip


def parts(sections: Sequence[Section], items: Iterable[Item]) -> tuple[Part, ...]:
    """The heads under which something was found, in their order."""
    every = tuple(items)
    found = (Part(each, tuple(item for item in every if item.kind in each.kinds)) for each in sections)
    return tuple(part for part in found if part.items)


def card_lines(found: Iterable[Part], now: datetime, tell: Tell) -> tuple[str, ...]:
    """A line for each head, as a card says it: the first few by name, how many more, and what to do."""
    return tuple(f"{part.section.head}: {_a_few(part.items, now, tell)}. {part.section.do}" for part in found)


def opens_words(day: Day) -> str:
    """When the room opens again."""
    if day.opens_on is None:
        return "The calendar has no open day ahead."
    tomorrow = "tomorrow, " if day.opens_on - day.today == DAY else "on "
    return f"The room opens again {tomorrow}{date_words(day.opens_on, day.today)}."


def closed_words(day: Day) -> str:
    """Since when the room was closed; empty where the last open day was yesterday, or there was none."""
    return (
        f"The room was closed since {date_words(day.last_open, day.today)}."
        if day.last_open and day.closed_before
        else ""
    )


def about(item: Item, now: datetime, tell: Tell) -> str:
    """What is said of an item beside its name; empty where the head says it all."""
    words = ABOUT.get(item.kind)
    return words(item, _moment(item.at, now, tell)) if words else ""


def sheets_said(count: int) -> str:
    """A number of sheets: "1 sheet", "14 sheets"."""
    return "1 sheet" if count == 1 else f"{count:,} sheets"


def _a_few(items: Sequence[Item], now: datetime, tell: Tell) -> str:
    names = [f"{item.name} ({told})" if (told := about(item, now, tell)) else item.name for item in items[:A_FEW]]
    more = f" and {len(items) - A_FEW:,} more" if len(items) > A_FEW else ""
    return ", ".join(names) + more


def _moment(at: datetime | None, now: datetime, tell: Tell) -> str:
    if at is None:
        return ""
    return f"since {tell(at)}" if at <= now else tell(at)


def _in_stack(item: Item, at: str) -> str:
    later = f"{item.later:,} more by {at}" if item.count else f"{item.later:,} by {at}"
    return ", ".join(([f"{item.count:,} now"] if item.count else []) + ([later] if item.later else []))


ABOUT: dict[Kind, Callable[[Item, str], str]] = {
    Kind.GLUED: lambda item, at: f"glued {at.removeprefix('since ')}",
    Kind.BARE: lambda item, at: f"{sheets_said(item.count)} without weights {at}",
    Kind.TABLE: lambda item, at: sheets_said(item.count),
    Kind.PAPERS: lambda item, at: f"{sheets_said(item.count)}, due {at}",
    Kind.KEPT: lambda item, at: at,
    Kind.LOAD_OUT: lambda item, at: f"due out {at}",
    Kind.LOAD_OPEN: lambda item, at: f"may be opened {at}",
    Kind.LOAD_BACK: lambda item, at: f"came out {at.removeprefix('since ')}",
    Kind.SIGNED_IN: lambda item, at: "1 person" if item.count == 1 else f"{item.count:,} people",
    Kind.SILENT: lambda item, at: at,
    Kind.PRESS: _in_stack,
    Kind.FEEL: lambda item, at: sheets_said(item.count),
    Kind.ORDER: lambda item, at: sheets_said(item.count),
}
