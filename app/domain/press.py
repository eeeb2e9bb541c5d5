"""Time under weight: the clock that runs only while the weights are on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from app.domain.house import RULES, House

ZERO = timedelta(0)
ADHESIVE_CLASSES = ("pva", "eva", "starch-paste", "methyl-cellulose", "straps", "spot")
BULKS = ("thin", "ordinary", "bulky")
MINIMUM_RULES = tuple(name for name in RULES if name.startswith("press_"))


@dataclass(frozen=True, slots=True)
class Span:
    """The weights lay on a stack from `on_at` until `off_at`; None while they still lie there."""

    on_at: datetime
    off_at: datetime | None


@dataclass(frozen=True, slots=True)
class Stay:
    """A sheet lay in a stack from `laid_at` until `out_at`; None while it still lies there."""

    stack_id: int
    laid_at: datetime
    out_at: datetime | None


@dataclass(frozen=True, slots=True)
class Lifting:
    """One entry of a stack's log: the weights went on, or off.

    What they weigh down counts from `counts_from` and until `counts_until`, where these are set.
    """

    happened_at: datetime
    entry_id: int
    on: bool
    counts_from: datetime | None = None
    counts_until: datetime | None = None


def spans_of(liftings: Iterable[Lifting]) -> list[Span]:
    """Fold weights on and weights off, in the order in which they happened, into spans.

    Weights put on twice, or taken off twice, change nothing the second time, unless what was said the second time
    counts from earlier. Weights that may have come off as early as `counts_until` weigh nothing down after that.
    """
    spans: list[Span] = []
    on_at: datetime | None = None
    for lifting in sorted(liftings, key=lambda each: (each.happened_at, each.entry_id)):
        if lifting.on:
            begins = lifting.counts_from or lifting.happened_at
            on_at = begins if on_at is None else min(on_at, begins)
            continue
        if on_at is not None:
            spans.append(Span(on_at, max(on_at, lifting.happened_at)))
            on_at = None
        if lifting.counts_until is not None:
            spans = [_until(span, lifting.counts_until) for span in spans]
    return [*spans, Span(on_at, None)] if on_at is not None else spans


def _until(span: Span, end: datetime) -> Span:
    return Span(span.on_at, max(span.on_at, min(span.off_at or end, end)))


def turned_at(liftings: Iterable[Lifting]) -> datetime | None:
    """Since when the weights lie as they do now: the last time that they went from off to on, or from on to off."""
    turned, state = None, None
    for lifting in sorted(liftings, key=lambda each: (each.happened_at, each.entry_id)):
        if lifting.on is not state:
            turned, state = lifting.happened_at, lifting.on
    return turned


def under_weight(stays: Iterable[Stay], spans: Mapping[int, Sequence[Span]], now: datetime) -> timedelta:
    """The time that one gluing has really lain under weight up to `now`, over all the stacks that it lay in."""
    return sum((_overlap(stay, span, now) for stay in stays for span in spans.get(stay.stack_id, ())), ZERO)


def ready_at(
    minimum: timedelta, stays: Sequence[Stay], spans: Mapping[int, Sequence[Span]], now: datetime
) -> datetime | None:
    """The moment at which the minimum is reached, exact while the weights stay on.

    A moment that has passed is given as it was; None while the clock is not running.
    """
    earned = under_weight(stays, spans, now)
    if earned >= minimum:
        return _reached_at(minimum, stays, spans, now)
    return now + (minimum - earned) if _is_running(stays, spans, now) else None


def minimum_s(house: House, adhesive_class: str | None, bulk: str) -> int:
    """Seconds under weight that the house asks for this adhesive and bulk; an unknown adhesive takes the longest."""
    hours = {
        "pva": house.press_pva_h, "eva": house.press_pva_h, "starch-paste": house.press_paste_h,
        "methyl-cellulose": house.press_methyl_h, "straps": house.press_straps_h, "spot": house.press_spot_h,
    }  # fmt: skip
    base = hours.get(adhesive_class or "", max(hours.values()))
    return 3600 * (base + (house.press_bulky_add_h if bulk == "bulky" else 0))


def raised_minimum_s(
    name: str, then: House, now: House, adhesive_class: str | None, bulk: str, lies_for_s: int
) -> int | None:
    """The longer minimum, in seconds, that one raised house rule asks of a gluing laid in by the rules of `then`.

    It is what the rules of now ask as a whole, so that the sheet is again judged by one version of them. None where this
    rule was not raised since, does not decide what is asked of such a sheet, or asks no more than the sheet has.
    """
    if getattr(now, name) <= getattr(then, name):
        return None
    asks = minimum_s(now, adhesive_class, bulk)
    without = minimum_s(replace(now, **{name: getattr(then, name)}), adhesive_class, bulk)
    return asks if asks > max(without, lies_for_s) else None


def set_without_weight(
    minimum: timedelta, limit: timedelta, stays: Sequence[Stay], spans: Mapping[int, Sequence[Span]], now: datetime
) -> bool:
    """Whether a glued sheet lay in its stack without weights for longer than `limit` before it had half its minimum."""
    half = ready_at(minimum / 2, stays, spans, now)
    until = half if half is not None and half <= now else now
    return any(gap > limit for stay in stays for gap in _gaps(stay, spans.get(stay.stack_id, ()), until))


def _overlap(stay: Stay, span: Span, now: datetime) -> timedelta:
    start = max(stay.laid_at, span.on_at)
    end = min(stay.out_at or now, span.off_at or now, now)
    return max(end - start, ZERO)


def _is_running(stays: Sequence[Stay], spans: Mapping[int, Sequence[Span]], now: datetime) -> bool:
    return any(
        stay.out_at is None and span.off_at is None and span.on_at <= now
        for stay in stays for span in spans.get(stay.stack_id, ())
    )  # fmt: skip


def _reached_at(
    minimum: timedelta, stays: Sequence[Stay], spans: Mapping[int, Sequence[Span]], now: datetime
) -> datetime:
    left = minimum
    pieces = sorted(_pieces(stays, spans, now))
    for start, end in pieces:
        if end - start >= left:
            return start + left
        left -= end - start
    return min((stay.laid_at for stay in stays), default=now)


def _pieces(
    stays: Sequence[Stay], spans: Mapping[int, Sequence[Span]], now: datetime
) -> list[tuple[datetime, datetime]]:
    found = []
    for stay in stays:
        for span in spans.get(stay.stack_id, ()):
            start, length = max(stay.laid_at, span.on_at), _overlap(stay, span, now)
            if length > ZERO:
                found.append((start, start + length))
    return found


def _gaps(stay: Stay, spans: Sequence[Span], until: datetime) -> list[timedelta]:
    end = min(stay.out_at or until, until)
    gaps, bare_since = [], stay.laid_at
    for span in sorted(spans, key=lambda each: each.on_at):
        if span.off_at is not None and span.off_at <= stay.laid_at:
            continue
        gaps.append(min(span.on_at, end) - bare_since)
        bare_since = span.off_at or end
    return [*gaps, end - bare_since]
