"""Supplies: what there is of each by its last count, by what came in since and by what the log used up; and when to order.

Amounts are in the unit in which a supply is counted and bought (a sheet, a pot, a roll), as exact fractions.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from math import ceil, floor

from app.domain.calendar import DAY, MICROSECOND
from app.domain.house import House
from app.domain.language import mark, number, say, say_n

COUNT, CAME, TAKEN, VOID = "count", "came", "taken", "void"
ADHESIVE = "adhesive"
THOUSAND = 1000
MOST = 1_000_000
# What was used in the last eight weeks is the pace; two weeks on record are the least that is called one (common practice,
# no source). What lasts longer than ten years is not given a date.
PACE, LEAST_PACE, LONGEST = timedelta(weeks=8), timedelta(weeks=2), 3650
_AMOUNT = re.compile(r"(\d{1,7})(?:[.,](\d{1,3}))?", re.ASCII)


@dataclass(frozen=True, slots=True)
class SupplyKind:
    """What a supply is: its words, the unit it is counted in as a rule, and what takes it, in words.

    `small` is the measure in which the log reckons what one sheet takes of it (g, cm), empty where a sheet takes one;
    `again`: it is used again, so that the log uses nothing up, and part of it lies in the stacks.
    """

    words: str
    unit: str
    takes: str
    small: str = ""
    again: bool = False


KINDS: dict[str, SupplyKind] = {
    "mounting-sheet": SupplyKind(mark("Mounting sheets"), "sheet", mark("one for each sheet that is mounted")),
    "packet-small": SupplyKind(mark("Small packets"), "packet", mark("one where the table takes a small packet")),
    "packet-large": SupplyKind(mark("Large packets"), "packet", mark("one where the table takes a large packet")),
    ADHESIVE: SupplyKind(mark("Adhesive"), "pot", mark("some grams for each gluing; an estimate"), "g"),
    "straps": SupplyKind(mark("Gummed linen"), "roll", mark("some centimetres for each sheet with straps; an estimate"), "cm"),
    "thread": SupplyKind(mark("Thread"), "roll", mark("some centimetres for each sheet with thread; an estimate"), "cm"),
    "release-paper": SupplyKind(mark("Release paper"), "sheet", mark("one for each sheet laid in, unless it is used again")),
    "foam": SupplyKind(mark("Foam"), "piece", mark("used again: one lies on each sheet in a stack"), again=True),
    "board": SupplyKind(mark("Boards"), "piece", mark("used again: one lies on each sheet in a stack"), again=True),
    "kept-packet": SupplyKind(mark("Packets for what stays unmounted"), "packet", mark("one for each plant kept in a packet")),
    "kept-box": SupplyKind(mark("Boxes for what stays unmounted"), "box", mark("one for each plant kept in a box")),
    "other": SupplyKind(mark("Something else"), "piece", mark("nothing that the log knows: only what is counted and taken")),
}  # fmt: skip
UNITS: dict[str, Callable[[float, str], str]] = {
    "sheet": lambda n, amount: say_n("{amount} sheet", "{amount} sheets", n, amount=amount),
    "packet": lambda n, amount: say_n("{amount} packet", "{amount} packets", n, amount=amount),
    "pot": lambda n, amount: say_n("{amount} pot", "{amount} pots", n, amount=amount),
    "bottle": lambda n, amount: say_n("{amount} bottle", "{amount} bottles", n, amount=amount),
    "roll": lambda n, amount: say_n("{amount} roll", "{amount} rolls", n, amount=amount),
    "piece": lambda n, amount: say_n("{amount} piece", "{amount} pieces", n, amount=amount),
    "box": lambda n, amount: say_n("{amount} box", "{amount} boxes", n, amount=amount),
}
UNIT_WORDS = {"sheet": mark("sheets"), "packet": mark("packets"), "pot": mark("pots"), "bottle": mark("bottles"),
              "roll": mark("rolls"), "piece": mark("pieces"), "box": mark("boxes")}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened to a supply: it was counted, so much came in, or so much was taken for another end."""

    kind: str
    at: datetime
    amount: Fraction


@dataclass(frozen=True, slots=True)
class Reckoned:
    """What there is of a supply: `counted` by its last count, since then `came`, `taken` for other ends and `used` by the log.

    `on_hand` is all that there is, `in_stacks` the part of it that lies in the stacks now; below nothing, more was used
    by the log than there was.
    """

    counted: Event
    came: Fraction
    taken: Fraction
    used: Fraction
    in_stacks: int
    on_hand: Fraction

    @property
    def cupboard(self) -> Fraction:
        """What should lie in the cupboard."""
        return self.on_hand - self.in_stacks


@dataclass(frozen=True, slots=True)
class Compared:
    """A count beside what was reckoned up to it from the count before; `used` is what the log used up in between."""

    since: datetime
    at: datetime
    counted: Fraction
    reckoned: Fraction
    used: Fraction

    @property
    def gone(self) -> Fraction:
        """What was really used up in between, by both counts."""
        return self.used + self.reckoned - self.counted


@dataclass(frozen=True, slots=True)
class Outlook:
    """How long a supply lasts at its pace: so much a week, until which day, and by when it is ordered to be there in time.

    `per_week` is None where too little is on record; the days are None where nothing is used, or it lasts ten years.
    """

    per_week: Fraction | None
    lasts_until: date | None
    order_by: date | None


NO_OUTLOOK = Outlook(None, None, None)
Used = Callable[[datetime, datetime], Fraction]
Lying = Callable[[datetime], int]


def reckon(events: Iterable[Event], until: datetime, used: Used, lying: Lying) -> Reckoned | None:
    """What there is of a supply at a moment; None for one that nobody has counted yet.

    It depends on the moments at which things happened, never on the order in which they were written down. What came in or
    was taken at the very moment of a count was counted already; of two counts at one moment the smaller holds.
    `used(after, until)` is what the log used up, `lying(at)` how many lay in the stacks, 0 for what is not used again.
    """
    known = [event for event in events if event.at <= until]
    counts = [event for event in known if event.kind == COUNT]
    if not counts:
        return None
    counted = max(counts, key=lambda event: (event.at, -event.amount))
    came, taken = (_sum(known, kind, counted.at, until) for kind in (CAME, TAKEN))
    spent = used(counted.at, until)
    on_hand = counted.amount + lying(counted.at) + came - taken - spent
    return Reckoned(counted, came, taken, spent, lying(until), on_hand)


def compare(events: Sequence[Event], used: Used, lying: Lying) -> tuple[Compared, ...]:
    """Every count but the first beside what was reckoned up to it, the oldest first; both of the cupboard alone."""
    moments = sorted({event.at for event in events if event.kind == COUNT})
    found = []
    for before, at in zip(moments, moments[1:], strict=False):
        earlier = [event for event in events if not (event.kind == COUNT and event.at > before)]
        reckoned = reckon(earlier, at, used, lying)
        counted = min(event.amount for event in events if event.kind == COUNT and event.at == at)
        assert reckoned is not None
        found.append(Compared(before, at, counted, reckoned.cupboard, reckoned.used))
    return tuple(found)


def per_use(kind: str, house: House) -> Fraction:
    """How much one use takes, in the kind's small measure, or in units where it has none: the house's own figures."""
    figures = {ADHESIVE: Fraction(house.adhesive_g_100, 100), "straps": Fraction(house.strap_cm),
               "thread": Fraction(house.thread_cm)}  # fmt: skip
    if KINDS[kind].again or kind == "other" or (kind == "release-paper" and house.release_again):
        return Fraction(0)
    return figures.get(kind, Fraction(1))


def is_lent(kind: str, house: House) -> bool:
    """Whether part of this lies in the stacks and comes back."""
    return KINDS[kind].again or (kind == "release-paper" and house.release_again)


def outlook(on_hand: Fraction, used: Fraction, span: timedelta, lead_weeks: int, today: date) -> Outlook:
    """How long `on_hand` lasts, where `used` was used in the last `span`; `lead_weeks` pass from the order to the delivery."""
    if span < LEAST_PACE:
        return NO_OUTLOOK
    a_day = used * (DAY // MICROSECOND) / (span // MICROSECOND)
    if a_day <= 0:
        return Outlook(Fraction(0), None, None)
    days = floor(max(on_hand, Fraction(0)) / a_day)
    if days > LONGEST:
        return Outlook(a_day * 7, None, None)
    last = today + timedelta(days=days)
    return Outlook(a_day * 7, last, last - timedelta(weeks=lead_weeks))


def packs_to_order(on_hand: Fraction, below: int, per_week: Fraction, weeks: int, pack: int) -> int:
    """How many packs bring a supply to its line and carry it so many weeks beyond; at least one where it is below its line."""
    needs = below + per_week * weeks - on_hand
    return max(ceil(needs / pack), 1 if on_hand < below else 0)


def amount_typed(text: str) -> Fraction:
    """The amount that somebody typed: "3", "2.5", "2,5". ValueError, in a sentence, for anything else, or too much."""
    found = _AMOUNT.fullmatch(text.strip())
    amount = Fraction(f"{found[1]}.{found[2] or 0}") if found else None
    if amount is None or amount > MOST:
        raise ValueError(say("Type a number from 0 to {most:,}, such as 3 or 2.5.", most=MOST))
    return amount


def amount_said(amount: Fraction) -> str:
    """An amount in figures: "1,240" where it is whole, else to one place: "2.6"."""
    return number(int(amount)) if amount.denominator == 1 else number(float(amount), ",.1f")


def with_unit(amount: Fraction, unit: str) -> str:
    """An amount with its unit: "1 pot", "2.6 pots"."""
    return UNITS[unit](float(amount), amount_said(amount))


def _sum(events: Iterable[Event], kind: str, after: datetime, until: datetime) -> Fraction:
    return sum((event.amount for event in events if event.kind == kind and after < event.at <= until), Fraction(0))
