"""The seven stages of the board: how many, how old, how many have waited too long, and what is said under each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from app.db.models import Sheet, table_of
from app.domain.calendar import day_bounds, local_day
from app.domain.language import say
from app.domain.limits import TO_FILE, TO_FREEZE, TO_INSPECT, TO_MEND, limit_of, limit_words, thirds
from app.domain.stages import STAGES, Stage
from app.domain.words import age
from app.queries.filed import FiledCounts
from app.queries.kinds import HEATED, IN_QUEUE, UNHEATED
from app.queries.press import LayerView, StackView
from app.queries.stage_lines import LINES, Counted, StageLine, dry_counts
from app.queries.stalled import Waiting
from app.queries.waiting import Judge

SHEET = table_of(Sheet)


@dataclass(frozen=True, slots=True)
class Ages:
    """How the sheets of a stage that may go on share out: by thirds of their limit, and over it."""

    fresh: int
    fair: int
    old: int
    stalled: int


@dataclass(frozen=True, slots=True)
class StageView:
    """One stage of the board. What does not belong to a stage is 0; `count` of what is filed is this week's.

    Of the count, `held`, `out` and `in_freezer` are told apart, each sheet once; `may_go_on` are the others. Of those
    ready for mounting `may_be_taken_up` are neither on a table yet nor to be frozen first.
    """

    slug: str
    name: str
    count: int
    oldest_since: datetime | None
    oldest_age: str
    stalled: int
    left_behind: int
    limit_words: str
    lines: tuple[StageLine, ...]
    ages: Ages | None
    held: int
    out: int
    in_freezer: int
    may_go_on: int
    may_be_taken_up: int
    stacks: int
    to_inspect: int
    to_mend: int
    to_freeze: int
    to_file: int


def stage_views(session: Session, judged: Judge, waiting: Sequence[Waiting], stacks: Sequence[StackView],
                filed: FiledCounts, behind: Mapping[Stage, int]) -> tuple[StageView, ...]:  # fmt: skip
    """The seven stages in the order of the work; `behind` counts the sheets of each that are left behind."""
    layers = [layer for stack in stacks for layer in stack.layers]
    to_feel = _to_feel_today(session, judged)
    return tuple(
        _view(stage, [each for each in waiting if each.kind.stage is stage], stacks,
              layers if stage is Stage.UNDER_PRESS else [], filed, to_feel, behind.get(stage, 0), judged)
        for stage in Stage
    )  # fmt: skip


def _view(stage: Stage, mine: Sequence[Waiting], stacks: Sequence[StackView], layers: Sequence[LayerView],
          filed: FiledCounts, to_feel: int, behind: int, judged: Judge) -> StageView:  # fmt: skip
    oldest = min([*(each.oldest_since for each in mine), *(layer.laid_at for layer in layers)], default=None)
    oldest_age = age(oldest, judged.now) if oldest else ""
    fresh = bool(mine) and all(each.kind.facts.get("fresh") for each in mine)
    limit = limit_words(limit_of(stage, judged.house, fresh=fresh))
    counted = Counted(mine, stacks, layers, filed, to_feel, oldest_age, limit)
    lines = (
        *LINES[stage](counted),
        *((StageLine(say("{count:,} left behind", count=behind), True),) if behind else ()),
    )
    is_filed, dry = stage is Stage.FILED, dry_counts(mine) if stage is Stage.DRY else {}
    count = filed.this_week if is_filed else sum(each.count for each in mine) + len(layers)
    held, out, frozen = counted.held, counted.sum_of("out"), counted.sum_of("in_freezer")
    return StageView(
        stage.value, say(STAGES[stage].words), count, oldest, oldest_age, counted.stalled, behind, limit, lines,
        None if is_filed else _ages(mine, layers, judged), held, out, frozen,
        0 if is_filed else count - held - out - frozen, counted.may_be_taken_up if stage is Stage.READY else 0,
        sum(bool(stack.layers) for stack in stacks) if stage is Stage.UNDER_PRESS else 0,
        dry.get(TO_INSPECT, 0), dry.get(TO_MEND, 0), dry.get(TO_FREEZE, 0), dry.get(TO_FILE, 0),
    )  # fmt: skip


def _to_feel_today(session: Session, judged: Judge) -> int:
    """How many plants have dried for the usual time by the end of today."""
    end = day_bounds(local_day(judged.now, judged.calendar.zone), judged.calendar.zone)[1]
    heated, unheated = (
        end - timedelta(days=days) for days in (judged.house.dry_heated_days, judged.house.dry_unheated_days)
    )
    due = or_(HEATED & (SHEET.c.pressed_at < heated), UNHEATED & (SHEET.c.pressed_at < unheated))
    found = select(func.count()).select_from(SHEET).where(IN_QUEUE, SHEET.c.stage == Stage.DRYING, due)
    return int(session.execute(found).scalar_one())


def _ages(mine: Sequence[Waiting], layers: Sequence[LayerView], judged: Judge) -> Ages:
    fresh = sum(each.free - each.over_third for each in mine)
    fair = sum(each.over_third - each.over_two_thirds for each in mine)
    old = sum(each.over_two_thirds - each.stalled for each in mine)
    pressed = _press_ages(layers, judged)
    return Ages(
        fresh + pressed.fresh,
        fair + pressed.fair,
        old + pressed.old,
        sum(each.stalled for each in mine) + pressed.stalled,
    )


def _press_ages(layers: Sequence[LayerView], judged: Judge) -> Ages:
    """Under press nothing ages before it is ready: what is not is drawn as fresh, what is by thirds of its limit."""
    limit = limit_of(Stage.UNDER_PRESS, judged.house)
    assert limit is not None
    _, two_thirds, _ = thirds(limit, judged.now, judged.calendar)
    here = [layer for layer in layers if not layer.away]
    ready = [layer.ready_since for layer in here if layer.ready_since is not None]
    forgotten = sum(layer.forgotten for layer in here)
    old = sum(since < two_thirds for since in ready) - forgotten
    return Ages(len(here) - len(ready), len(ready) - old - forgotten, old, forgotten)
