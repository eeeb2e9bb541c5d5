"""A load's time in the freezer: since when it is cold, when that is enough, and whether it counted as a treatment."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.domain.calendar import LAST
from app.domain.house import House
from app.domain.language import mark
from app.domain.stages import Step

LOAD_STEPS = (Step.LOAD_IN, Step.LOAD_COLD, Step.LOAD_OUT, Step.LOAD_OPENED)
WARMING = (Step.FREEZER_OPENED, Step.DEFROSTED, Step.POWER_CUT)
FREEZER_STEPS = (*WARMING, Step.FREEZER_RUNS, Step.STAYED_COLD)
# A load counts as cold this long after it was put in, where no logger says when; a bag stays closed this long after it
# came out, so that no water settles on what is in it. Common practice, no source.
CHILLS = timedelta(hours=24)
WARMS = timedelta(hours=24)
# Insulated gloves: general cold-store safety sheets. That a bag stays shut until it is warm, so that water settles on its
# outside: Florida Museum, pest control page. The lid is common practice, no source.
CAUTIONS = (
    mark("Insulated gloves on: the cold burns."),
    mark("Never hold a chest freezer's lid with your head, and let nobody close it on your hands."),
    mark("Leave the bag closed until it is warm: water settles on the outside then, not on the plants."),
)


@dataclass(frozen=True, slots=True)
class ColdRule:
    """How cold, in degrees Celsius, and for how many days without a break a load has to be."""

    c: float
    days: int

    @property
    def span(self) -> timedelta:
        """The days as elapsed time: a day in the freezer is 24 hours, also in the night the clocks change."""
        return timedelta(days=self.days)


@dataclass(frozen=True, slots=True)
class Mark:
    """One standing entry of a load: what, from when it counts, for a putting in the freezer and its rule, and a reading.

    `reckons`: the freezer itself gets as cold as the rule asks, so that a load may be reckoned cold without a logger.
    """

    at: datetime
    entry_id: int
    step: Step
    freezer_id: int = 0
    rule: ColdRule = ColdRule(-20, 7)
    reckons: bool = True
    reading_c: float | None = None


@dataclass(frozen=True, slots=True)
class Warming:
    """A freezer was opened, defrosted or without power; `ends` is None while nobody knows until when.

    `highest_c` is the highest that a logger in it showed, None where nobody read one.
    """

    begins: datetime
    ends: datetime | None
    highest_c: float | None = None


@dataclass(frozen=True, slots=True)
class Times:
    """A load's times by its entries. `cold_at` begins the days that count: those that were enough, else the last begun.

    `cold_from` says how that is known: "logger" or "reckoned". `lowest_c` is the lowest that was read in it. `treated` is
    None until it is opened.
    """

    freezer_id: int | None = None
    rule: ColdRule | None = None
    put_in_at: datetime | None = None
    cold_at: datetime | None = None
    cold_from: str | None = None
    out_at: datetime | None = None
    opened_at: datetime | None = None
    lowest_c: float | None = None
    treated: bool | None = None

    @property
    def enough_at(self) -> datetime | None:
        """When it has been cold for the days of its rule, if it stays in and nothing warms it."""
        return self.cold_at + self.rule.span if self.cold_at and self.rule else None

    @property
    def opens_at(self) -> datetime | None:
        """When it has lain closed for long enough after it came out."""
        return self.out_at + WARMS if self.out_at else None


@dataclass(frozen=True, slots=True)
class _Cold:
    """A stretch in which nothing warmed a load that lay in a freezer, and since when it was cold in it."""

    rule: ColdRule
    ends: datetime | None
    cold_at: datetime | None
    cold_from: str | None

    @property
    def is_enough(self) -> bool:
        return self.cold_at is not None and self.ends is not None and self.ends - self.cold_at >= self.rule.span


def celsius(degrees: float) -> str:
    """A temperature as people write it: "−20 °C"."""
    return f"{degrees:g} °C".replace("-", "−")


def cold_rules(house: House) -> tuple[ColdRule, ColdRule]:
    """The two rules of the house: the usual one, and the shorter one for a deeper cold."""
    return ColdRule(house.treat_c, house.treat_cold_days), ColdRule(house.treat_deep_c, house.treat_deep_days)


def rule_for(house: House, freezes_to_c: float) -> ColdRule:
    """The rule for a freezer that gets so cold: of those that it reaches the shortest; the usual one if it reaches none."""
    usual, deep = cold_rules(house)
    reached = [rule for rule in (usual, deep) if freezes_to_c <= rule.c]
    return min(reached, key=lambda rule: (rule.days, rule.c), default=usual)


def times_of(marks: Iterable[Mark], warmings: Mapping[int, Sequence[Warming]]) -> Times:
    """Fold a load's standing entries, with what warmed the freezers it lay in (by freezer), into its times.

    Its days are days without a break: whatever warms it ends them, unless a logger showed that it stayed cold.
    """
    ordered = sorted(marks, key=lambda mark: (mark.at, mark.entry_id))
    last_in = next((mark for mark in reversed(ordered) if mark.step is Step.LOAD_IN), None)
    if last_in is None:
        return Times()
    stretches = [each for stay in _stays(ordered) for each in _stretches(stay, ordered, warmings)]
    counts = next((each for each in stretches if each.is_enough), stretches[-1])
    out, opened = _last_out(ordered, last_in), _first(ordered, Step.LOAD_OPENED, last_in.at)
    readings = [mark.reading_c for mark in ordered if mark.reading_c is not None]
    closed = out is not None and opened is not None and out + WARMS <= opened
    return Times(
        last_in.freezer_id, counts.rule, last_in.at, counts.cold_at, counts.cold_from, out, opened,
        min(readings, default=None), None if opened is None else counts.is_enough and closed,
    )  # fmt: skip


def _stays(marks: Sequence[Mark]) -> list[tuple[Mark, datetime | None]]:
    """Each putting in with when it ended: it came out, was opened, or was put in again."""
    stays = list[tuple[Mark, datetime | None]]()
    for place, each in enumerate(marks):
        if each.step is Step.LOAD_IN:
            ended = (later.at for later in marks[place + 1 :] if later.step is not Step.LOAD_COLD)
            stays.append((each, next(ended, None)))
    return stays


def _stretches(
    stay: tuple[Mark, datetime | None], marks: Sequence[Mark], warmings: Mapping[int, Sequence[Warming]]
) -> list[_Cold]:
    begun, ended = stay
    stretches, begins = list[_Cold](), begun.at
    for warming in _that_warmed(begun, ended, warmings):
        if warming.begins > begins:
            stretches.append(_cold(begun, begins, warming.begins, marks))
        begins = max(begins, warming.ends or LAST)
    if begins < (ended or LAST):
        stretches.append(_cold(begun, begins, ended, marks))
    else:
        stretches.append(_Cold(begun.rule, ended, None, None))
    return stretches


def _that_warmed(begun: Mark, ended: datetime | None, warmings: Mapping[int, Sequence[Warming]]) -> list[Warming]:
    """What warmed it while it lay there; where a logger showed that it stayed as cold as its rule asks, nothing did."""
    found = (
        each
        for each in warmings.get(begun.freezer_id, ())
        if each.begins < (ended or LAST) and (each.ends is None or each.ends > begun.at)
        and (each.highest_c is None or each.highest_c > begun.rule.c)
    )  # fmt: skip
    return sorted(found, key=lambda each: each.begins)


def _cold(begun: Mark, begins: datetime, ends: datetime | None, marks: Sequence[Mark]) -> _Cold:
    """A logger's first reading in the stretch says since when it is cold; without one it is reckoned."""
    for each in marks:
        is_read = each.step is Step.LOAD_COLD and each.reading_c is not None and each.reading_c <= begun.rule.c
        if is_read and begins <= each.at < (ends or LAST):
            return _Cold(begun.rule, ends, each.at, "logger")
    if not begun.reckons:
        return _Cold(begun.rule, ends, None, None)
    return _Cold(begun.rule, ends, begins + CHILLS, "reckoned")


def _first(marks: Sequence[Mark], step: Step, since: datetime) -> datetime | None:
    return next((mark.at for mark in marks if mark.step is step and mark.at >= since), None)


def _last_out(marks: Sequence[Mark], last_in: Mark) -> datetime | None:
    """When it came out for good: a bag that was opened without a word before that came out then at the latest."""
    after = [mark for mark in marks if (mark.at, mark.entry_id) > (last_in.at, last_in.entry_id)]
    return next((mark.at for mark in after if mark.step in (Step.LOAD_OUT, Step.LOAD_OPENED)), None)
