"""What is usual here: how long sheets stay in each stage and each cabinet, with those that wait still counted as such."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Cabinet, table_of
from app.domain.calendar import Calendar, local_day, open_days_between
from app.domain.house import House
from app.domain.language import mark, say
from app.domain.limits import ON_SHELVES, limit_of, limit_words
from app.domain.natural_order import natural_order
from app.domain.stages import STAGES, Stage
from app.domain.survival import kaplan_meier, points, quantile
from app.domain.usual import (
    HALF,
    NINE_IN_TEN,
    RULE_OF,
    Figures,
    Suggestion,
    bucket_end_h,
    short_words,
    suggested,
    usual_words,
)
from app.queries.house import house_now
from app.queries.stays import FULL_WEEKS, Count, Counts, counts_of, fresh_among, stage_counts, together
from app.queries.waiting import judge

CABINET = table_of(Cabinet)
STAGES_THAT_WAIT = tuple(stage for stage in Stage if stage is not Stage.FILED)


@dataclass(frozen=True, slots=True)
class Usual:
    """How long sheets stay in a stage, or (with `cabinet_id`) those that last lay in that cabinet in it.

    `median_h` and `ninety_h` are the lower bounds, in hours, of the buckets in which half and nine in ten have ended
    (None: not reached). `ended` stays ended in the last 52 full ISO weeks and this one, in `weeks` of them; `waiting`
    sheets wait still, since whenever. `points` are the corners of the curve up to `until_h` hours: (hours, share still
    there). `limit` says the limit in force, `limit_now` is the number that a suggestion would replace: the stage's house
    rule, or the open days of the cabinet's own limit (None: it has none).
    """

    stage: Stage
    name: str
    cabinet_id: int | None
    limit: str
    limit_now: int | None
    median_h: int | None
    ninety_h: int | None
    ended: int
    waiting: int
    weeks: int
    words: str
    points: tuple[tuple[int, float], ...]
    until_h: int
    suggestion: Suggestion
    cabinets: tuple[Usual, ...] = ()


@dataclass(frozen=True, slots=True)
class _Ground:
    """What suggestions stand on: the house rules, the share of open days, and whether fresh plants were at intake."""

    house: House
    open_share: Fraction
    fresh_among: bool


def usual(session: Session, now: datetime, zone: ZoneInfo) -> tuple[Usual, ...]:
    """What is usual in each stage from intake to dry, and within it in each cabinet of that stage (or of none, where
    something lay in it).

    Read off the sums kept beside the log and the queue, never off the log. Sheets that came before the year began are
    not set apart: one that waits for two years counts as waiting that long. Held sheets wait like the others; a withdrawn
    one no longer counts where it lay, for it never went on from there.
    """
    judged = judge(session, now, zone)
    share = _open_share(judged.calendar, local_day(now, zone))
    ground = _Ground(judged.house, share, fresh_among(session, now, zone))
    counts, rows = counts_of(session, now, zone), _cabinets(session)
    return tuple(_of_stage(stage, counts, rows, ground) for stage in STAGES_THAT_WAIT)


def usual_lines(session: Session, now: datetime, zone: ZoneInfo) -> dict[str, str]:
    """For each stage with figures enough (house rule usual_least) what is usual, for a small place: "usually 3 days,
    nine in ten 11". Asks twice, whatever the log holds; once a minute is often enough.
    """
    least, lines = house_now(session).usual_least, {}
    for stage, count in stage_counts(session, now, zone).items():
        curve = kaplan_meier(count.ended, count.waiting)
        if curve.ended >= least:
            lines[stage] = short_words(quantile(curve, HALF), quantile(curve, NINE_IN_TEN))
    return lines


def _of_stage(stage: Stage, counts: Counts, rows: Sequence[Any], ground: _Ground) -> Usual:
    # A cabinet of another stage tells nothing here, even where the log has sheets lie in it for a while.
    here = [row for row in rows if row.stage == stage or (row.stage is None and (stage.value, row.id) in counts)]
    cabinets = tuple(_one(stage, counts.get((stage.value, row.id), Count()), ground, row) for row in here)
    return _one(stage, together(counts, stage), ground, None, cabinets)


def _one(stage: Stage, count: Count, ground: _Ground, row: Any, cabinets: tuple[Usual, ...] = ()) -> Usual:
    curve = kaplan_meier(count.ended, count.waiting)
    median, ninety = quantile(curve, HALF), quantile(curve, NINE_IN_TEN)
    until_h = bucket_end_h(curve.last_h if ninety is None else min(curve.last_h, 2 * bucket_end_h(ninety)))
    found = Figures(ninety, curve.ended, len(count.weeks), ground.fresh_among and stage is Stage.INTAKE)
    least, share, is_one = ground.house.usual_least, ground.open_share, row is not None
    suggestion = suggested(stage, found, least=least, open_share=share, in_cabinet=is_one)
    own_days = row.limit_open_days if is_one and stage in ON_SHELVES else None
    return Usual(
        stage, row.name if is_one else say(STAGES[stage].words), row.id if is_one else None,
        _limits(stage, ground.house, own_days), own_days if is_one else _rule_now(stage, ground.house),
        median, ninety, curve.ended, curve.waiting, len(count.weeks), usual_words(median, ninety),
        points(curve, until_h), until_h, suggestion, cabinets,
    )  # fmt: skip


def _rule_now(stage: Stage, house: House) -> int | None:
    return int(getattr(house, RULE_OF[stage])) if stage in RULE_OF else None


def _limits(stage: Stage, house: House, own_days: int | None) -> str:
    """The limits in force, each with what it is for where a stage has several."""
    said = [(words, limit_words(limit_of(stage, house, cabinet_days=own_days, **facts)))
            for words, facts in _LIMITS.get(stage, (("", {}),))]  # fmt: skip
    if len(said) > 1 and len({limit for _, limit in said}) == 1:
        return said[0][1]
    return ", ".join(say("{what} {limit}", what=words, limit=limit).strip() for words, limit in said)


def _cabinets(session: Session) -> list[Any]:
    columns = (CABINET.c.id, CABINET.c.name, CABINET.c.stage, CABINET.c.limit_open_days, CABINET.c.walk)
    rows = session.execute(select(*columns).where(CABINET.c.closed_at.is_(None)))
    return sorted(rows, key=lambda row: (row.walk, natural_order(row.name)))


def _open_share(calendar: Calendar, today: date) -> Fraction:
    """The share of open days among the last 52 weeks' days."""
    year = timedelta(weeks=FULL_WEEKS)
    return Fraction(open_days_between(calendar, today - year, today), year.days)


_LIMITS: dict[Stage, tuple[tuple[str, dict[str, Any]], ...]] = {
    Stage.INTAKE: ((mark("dry"), {}), (mark("fresh"), {"fresh": True})),
    Stage.DRYING: ((mark("papers with heat"), {"method": "heated"}), (mark("without"), {})),
    Stage.UNDER_PRESS: ((mark("once ready"), {}),),
    Stage.DRY: (
        (mark("to inspect"), {}), (mark("to mend"), {"outcome": "to-be-mended"}),
        (mark("to freeze"), {"outcome": "passed", "to_freeze": True}), (mark("to file"), {"outcome": "passed"}),
    ),
}  # fmt: skip
