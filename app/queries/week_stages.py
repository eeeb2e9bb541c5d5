"""The stages in one week: what came and left, what waited at its end, how long stays lasted, and how it stands now."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import and_, bindparam, func, or_, select
from sqlalchemy.orm import Session

from app.db.models import Sheet, TallyStay, table_of
from app.db.standing import STANDS
from app.domain.calendar import iso_week
from app.domain.language import say
from app.domain.stages import STAGES, Stage, Step
from app.domain.survival import kaplan_meier, quantile
from app.domain.usual import HALF
from app.queries.board_stages import StageView, stage_views
from app.queries.filed import filed_counts
from app.queries.kinds import IN_QUEUE, KINDS
from app.queries.press import stacks_seen
from app.queries.stalled import cabinet_days, waiting_in
from app.queries.waiting import judge
from app.queries.week_lines import StageWeek
from app.queries.week_sheets import ENTRY, MOMENT, NOT_OF_SHEETS, WITHIN, moments
from app.queries.weeks_kept import Span, Weeks

SHEET, STAY = table_of(Sheet), table_of(TallyStay)
ORDER = {stage: place for place, stage in enumerate(Stage)}
# A sheet that is closed stays in its stage by the log, and leaves the queue all the same.
_CLOSES = or_(ENTRY.c.step == Step.WITHDRAW,
              and_(ENTRY.c.step == Step.PUT_TOGETHER, ENTRY.c.facts["into"].as_string().is_not(None)))  # fmt: skip
_MOVES = (
    ENTRY.c.step.not_in(NOT_OF_SHEETS), STANDS, or_(ENTRY.c.from_stage.is_distinct_from(ENTRY.c.to_stage), _CLOSES)
)  # fmt: skip
_FLOWS = (
    select(ENTRY.c.from_stage, ENTRY.c.to_stage, func.count())
    .where(*WITHIN, *_MOVES)
    .group_by(ENTRY.c.from_stage, ENTRY.c.to_stage)
)
_UNTIL = bindparam("until", type_=MOMENT)
_STILL_HERE = (
    select(SHEET.c.stage, func.count(), func.min(SHEET.c.came_at))
    .where(IN_QUEUE, SHEET.c.stage.is_not(None), SHEET.c.came_at < _UNTIL)
    .group_by(SHEET.c.stage)
)
_LEFT_SINCE = (
    select(ENTRY.c.from_stage, func.count(), func.min(ENTRY.c.came_at))
    .where(ENTRY.c.happened_at >= _UNTIL, ENTRY.c.came_at < _UNTIL, *_MOVES)
    .group_by(ENTRY.c.from_stage)
)
_STAYS = (
    select(STAY.c.stage, STAY.c.hours, func.sum(STAY.c.stays))
    .where(STAY.c.week == bindparam("week"))
    .group_by(STAY.c.stage, STAY.c.hours)
    .having(func.sum(STAY.c.stays) > 0)
)


@dataclass(frozen=True, slots=True)
class Waited:
    """How many sheets waited, and since when the oldest of them."""

    count: int = 0
    oldest: datetime | None = None


def stages_of(session: Session, weeks: Weeks, span: Span, now: datetime, zone: ZoneInfo) -> tuple[StageWeek, ...]:
    """The seven stages in the order of the work. What waited at the end of a past week is exact, however long ago."""
    flows = weeks.get("flows", span, _flows)
    waited, stays = waiting_at(session, span.until), _stays(session, span, zone)
    return tuple(_stage(Stage(view.slug), view, flows, waited, stays) for view in _now(session, now, zone))


def waiting_at(session: Session, until: datetime) -> dict[str, Waited]:
    """What waited just before a moment, by stage: what waits still since before it, and what has left since.

    What it costs grows with what happened since that moment.
    """
    found: dict[str, Waited] = {}
    for asked in (_STILL_HERE, _LEFT_SINCE):
        for stage, count, oldest in session.execute(asked, {"until": until}):
            if stage != Stage.FILED:
                before = found.get(stage, Waited())
                found[stage] = Waited(before.count + count, min(filter(None, (before.oldest, oldest))))
    return found


def _stage(stage: Stage, view: StageView, flows: Sequence[Any], waited: dict[str, Waited],
           stays: dict[str, Counter[int]]) -> StageWeek:  # fmt: skip
    waits, mine = stage is not Stage.FILED, stays.get(stage, Counter())
    here = waited.get(stage, Waited())
    return StageWeek(
        stage, say(STAGES[stage].words), _sum(flow for flow in flows if flow[1] == stage != flow[0]),
        _sum(flow for flow in flows if flow[0] == stage), _sum(flow for flow in flows if flow[0] == stage and _is_back(*flow[:2])),
        here.count, here.oldest, mine.total() if waits else 0,
        quantile(kaplan_meier(mine, {}), HALF) if waits and mine else None,
        view.count if waits else 0, view.stalled, view.held,
    )  # fmt: skip


def _flows(session: Session, span: Span) -> tuple[tuple[str | None, str | None, int], ...]:
    return tuple((came, went, count) for came, went, count in session.execute(_FLOWS, moments(span)))


def _stays(session: Session, span: Span, zone: ZoneInfo) -> dict[str, Counter[int]]:
    year, week = iso_week(span.since, zone)
    found: dict[str, Counter[int]] = {}
    for stage, hours, stays in session.execute(_STAYS, {"week": f"{year}-W{week:02}"}):
        found.setdefault(stage, Counter())[hours] += stays
    return found


def _now(session: Session, now: datetime, zone: ZoneInfo) -> tuple[StageView, ...]:
    """The stages as the board has them at this moment."""
    judged, own_days = judge(session, now, zone), cabinet_days(session)
    waiting = [found for kind in KINDS for found in waiting_in(session, judged, kind, own_days)]
    return stage_views(session, judged, waiting, stacks_seen(session, judged), filed_counts(session, now, zone), {})


def _sum(flows: Iterable[Sequence[Any]]) -> int:
    return sum(flow[2] for flow in flows)


def _is_back(came: str | None, went: str | None) -> bool:
    return came is not None and went is not None and ORDER[Stage(went)] < ORDER[Stage(came)]
