"""How a closing and a morning are said: under which heads, in which order, and what to do about each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from app.domain.calendar import DAY
from app.domain.day import Day, Item, Kind, Tell, date_words
from app.domain.language import mark, say, say_n
from app.domain.words import sheets_said

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
    Section(mark("Glued, and not under weight"), mark("Lay them in, and put the weights on."), frozenset({Kind.GLUED})),
    Section(
        mark("The weights are off"), mark("Put them on, and scan the card with “on” upward."), frozenset({Kind.BARE})
    ),
    Section(mark("Still on a table"), mark("Put them back: scan the sheet, then its shelf."), frozenset({Kind.TABLE})),
    Section(
        mark("Papers fall due before the room opens again"),
        mark("Change them now, or agree who comes in."),
        frozenset({Kind.PAPERS}),
    ),
    Section(
        mark("Scans are still kept at"), mark("Leave that screen on until it has sent them."), frozenset({Kind.KEPT})
    ),
    Section(
        mark("Out of the freezer too early"),
        mark("Put them back at once: scan the load's card, then the freezer's code."),
        frozenset({Kind.LOAD_BACK}),
    ),
    Section(
        mark("In the freezer"),
        mark("Leave loads in and bags closed until then: longer does no harm."),
        frozenset({Kind.LOAD_OUT, Kind.LOAD_OPEN}),
        presses=False,
    ),
    Section(
        mark("Signed in"), mark("Scan the card “done” there when you go."), frozenset({Kind.SIGNED_IN}), presses=False
    ),
    Section(
        mark("Not heard from today"),
        mark("Look whether that screen still keeps scans."),
        frozenset({Kind.SILENT}),
        presses=False,
    ),
)
MORNING: tuple[Section, ...] = (
    Section(mark("Left overnight"), mark("See to these before anything else."), frozenset({Kind.BARE, Kind.GLUED})),
    Section(mark("May come out of the press"), mark("What is ready now first."), frozenset({Kind.PRESS})),
    Section(mark("Papers to change today"), mark("Tighten the straps afterwards."), frozenset({Kind.PAPERS})),
    Section(mark("May be felt today"), mark("The thickest part last: fruit, buds, roots."), frozenset({Kind.FEEL})),
    Section(
        mark("Out of the freezer too early"),
        mark("Put them back at once: their days begin again."),
        frozenset({Kind.LOAD_BACK}),
    ),
    Section(
        mark("In the freezer"),
        mark("A bag stays closed for a day after it came out."),
        frozenset({Kind.LOAD_OUT, Kind.LOAD_OPEN}),
    ),
    Section(mark("Wanted"), mark("These before all others."), frozenset({Kind.WANTED})),
    Section(mark("Then mount"), mark("In this order."), frozenset({Kind.ORDER})),
)


def parts(sections: Sequence[Section], items: Iterable[Item]) -> tuple[Part, ...]:
    """The heads under which something was found, in their order."""
    every = tuple(items)
    found = (Part(each, tuple(item for item in every if item.kind in each.kinds)) for each in sections)
    return tuple(part for part in found if part.items)


def card_lines(found: Iterable[Part], now: datetime, tell: Tell) -> tuple[str, ...]:
    """A line for each head, as a card says it: the first few by name, how many more, and what to do."""
    return tuple(f"{say(part.section.head)}: {_a_few(part.items, now, tell)}. {say(part.section.do)}" for part in found)


def opens_words(day: Day) -> str:
    """When the room opens again."""
    if day.opens_on is None:
        return say("The calendar has no open day ahead.")
    opens = date_words(day.opens_on, day.today)
    if day.opens_on - day.today == DAY:
        return say("The room opens again tomorrow, {day}.", day=opens)
    return say("The room opens again on {day}.", day=opens)


def closed_words(day: Day) -> str:
    """Since when the room was closed; empty where the last open day was yesterday, or there was none."""
    return (
        say("The room was closed since {day}.", day=date_words(day.last_open, day.today))
        if day.last_open and day.closed_before
        else ""
    )


def about(item: Item, now: datetime, tell: Tell) -> str:
    """What is said of an item beside its name; empty where the head says it all."""
    words = ABOUT.get(item.kind)
    return words(item, _at(item.at, tell), _since(item.at, now, tell)) if words else ""


def _a_few(items: Sequence[Item], now: datetime, tell: Tell) -> str:
    names = [f"{item.name} ({told})" if (told := about(item, now, tell)) else item.name for item in items[:A_FEW]]
    if len(items) <= A_FEW:
        return ", ".join(names)
    return say("{names} and {n:,} more", names=", ".join(names), n=len(items) - A_FEW)


def _at(at: datetime | None, tell: Tell) -> str:
    return tell(at) if at is not None else ""


def _since(at: datetime | None, now: datetime, tell: Tell) -> str:
    if at is None:
        return ""
    return say("since {at}", at=tell(at)) if at <= now else tell(at)


def _in_stack(item: Item, at: str, since: str) -> str:
    found = [say("{n:,} now", n=item.count)] if item.count else []
    if item.later:
        later = mark("{n:,} more by {at}") if item.count else mark("{n:,} by {at}")
        found.append(say(later, n=item.later, at=since))
    return ", ".join(found)


# What is said of an item, with its moment, and with its moment as one that has passed or is to come.
ABOUT: dict[Kind, Callable[[Item, str, str], str]] = {
    Kind.GLUED: lambda item, at, since: say("glued {at}", at=at),
    Kind.BARE: lambda item, at, since: say(
        "{sheets} without weights {since}", sheets=sheets_said(item.count), since=since
    ),
    Kind.TABLE: lambda item, at, since: sheets_said(item.count),
    Kind.PAPERS: lambda item, at, since: say("{sheets}, due {since}", sheets=sheets_said(item.count), since=since),
    Kind.KEPT: lambda item, at, since: since,
    Kind.LOAD_OUT: lambda item, at, since: say("due out {since}", since=since),
    Kind.LOAD_OPEN: lambda item, at, since: say("may be opened {since}", since=since),
    Kind.LOAD_BACK: lambda item, at, since: say("came out {at}", at=at),
    Kind.SIGNED_IN: lambda item, at, since: say_n("{n:,} person", "{n:,} people", item.count),
    Kind.SILENT: lambda item, at, since: since,
    Kind.PRESS: _in_stack,
    Kind.FEEL: lambda item, at, since: sheets_said(item.count),
    Kind.ORDER: lambda item, at, since: sheets_said(item.count),
}
