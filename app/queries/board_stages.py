"""The seven stages of the board: how many, how old, how many have waited too long, and what is said under each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from app.db.models import Sheet, table_of
from app.domain.calendar import day_bounds, local_day
from app.domain.limits import TO_FILE, TO_INSPECT, TO_MEND, limit_of, limit_words, thirds, waits_for
from app.domain.stages import STAGES, Stage
from app.domain.words import age
from app.queries.filed import FiledCounts
from app.queries.press import LayerView, StackView
from app.queries.stalled import HEATED, IN_QUEUE, UNHEATED, Waiting
from app.queries.waiting import Judge

SHEET = table_of(Sheet)


@dataclass(frozen=True, slots=True)
class StageLine:
    """One line under a stage's figure."""

    words: str
    is_bad: bool = False


@dataclass(frozen=True, slots=True)
class Ages:
    """How the sheets of a stage that are not held share out: by thirds of their limit, and over it."""

    fresh: int
    fair: int
    old: int
    stalled: int


@dataclass(frozen=True, slots=True)
class StageView:
    """One stage of the board. What does not belong to a stage is 0; `count` of what is filed is this week's."""

    slug: str
    name: str
    count: int
    oldest_since: datetime | None
    oldest_age: str
    stalled: int
    limit_words: str
    lines: tuple[StageLine, ...]
    ages: Ages | None
    held: int
    may_go_on: int
    over_limit: int
    stacks: int
    may_come_out: int
    to_inspect: int
    to_mend: int
    to_file: int
    filed_this_week: int
    filed_in_all: int


@dataclass(frozen=True, slots=True)
class Counted:
    """What the lines under a stage are made of."""

    mine: Sequence[Waiting]
    stacks: Sequence[StackView]
    layers: Sequence[LayerView]
    filed: FiledCounts
    to_feel: int
    oldest_age: str
    limit: str

    def of(self, **facts: Any) -> int:
        """How many sheets of the kind with these facts wait here."""
        return sum(each.count for each in self.mine if dict(each.kind.facts) == facts)

    @property
    def stalled(self) -> int:
        """How many waited too long."""
        return sum(each.stalled for each in self.mine) + sum(layer.forgotten for layer in self.layers)

    @property
    def ready(self) -> int:
        """How many may come out of the press."""
        return sum(layer.state == "ready" for layer in self.layers)


def stage_views(session: Session, judged: Judge, waiting: Sequence[Waiting], stacks: Sequence[StackView],
                filed: FiledCounts) -> tuple[StageView, ...]:  # fmt: skip
    """The seven stages in the order of the work."""
    layers = [layer for stack in stacks for layer in stack.layers]
    to_feel = _to_feel_today(session, judged)
    return tuple(
        _view(stage, [each for each in waiting if each.kind.stage is stage], stacks,
              layers if stage is Stage.UNDER_PRESS else [], filed, to_feel, judged)
        for stage in Stage
    )  # fmt: skip


def _view(stage: Stage, mine: Sequence[Waiting], stacks: Sequence[StackView], layers: Sequence[LayerView],
          filed: FiledCounts, to_feel: int, judged: Judge) -> StageView:  # fmt: skip
    oldest = min([*(each.oldest_since for each in mine), *(layer.laid_at for layer in layers)], default=None)
    oldest_age = age(oldest, judged.now) if oldest else ""
    fresh = bool(mine) and all(each.kind.facts.get("fresh") for each in mine)
    limit = limit_words(limit_of(stage, judged.house, fresh=fresh))
    counted = Counted(mine, stacks, layers, filed, to_feel, oldest_age, limit)
    is_filed, dry = stage is Stage.FILED, _dry(mine) if stage is Stage.DRY else {}
    count = filed.this_week if is_filed else sum(each.count for each in mine) + len(layers)
    held = sum(each.held for each in mine)
    return StageView(
        stage.value, STAGES[stage].words, count, oldest, oldest_age, counted.stalled, limit, LINES[stage](counted),
        None if is_filed else _ages(mine, layers, judged), held, 0 if is_filed else count - held,
        counted.stalled if stage is Stage.MOUNTED else 0,
        sum(bool(stack.layers) for stack in stacks) if stage is Stage.UNDER_PRESS else 0, counted.ready,
        dry.get(TO_INSPECT, 0), dry.get(TO_MEND, 0), dry.get(TO_FILE, 0),
        filed.this_week if is_filed else 0, filed.in_all if is_filed else 0,
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


def _dry(mine: Sequence[Waiting]) -> dict[str, int]:
    found: dict[str, int] = {}
    for each in mine:
        what = waits_for(each.kind.facts.get("outcome"))
        found[what] = found.get(what, 0) + each.count
    return found


def _ages(mine: Sequence[Waiting], layers: Sequence[LayerView], judged: Judge) -> Ages:
    fresh = sum(each.count - each.held - each.over_third for each in mine)
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
    ready = [layer.ready_since for layer in layers if layer.ready_since is not None]
    forgotten = sum(layer.forgotten for layer in layers)
    old = sum(since < two_thirds for since in ready) - forgotten
    return Ages(len(layers) - len(ready), len(ready) - old - forgotten, old, forgotten)


def _intake(counted: Counted) -> tuple[StageLine, ...]:
    fresh, dry = counted.of(fresh=True), counted.of()
    if not fresh + dry:
        return (StageLine("nothing waits"),)
    kinds = f"{fresh:,} fresh, {dry:,} dry" if fresh and dry else "all fresh" if fresh else "all dry"
    return (StageLine(f"{kinds}, oldest {counted.oldest_age}"), *_over(counted, f"limit {counted.limit}"))


def _drying(counted: Counted) -> tuple[StageLine, ...]:
    if not counted.mine:
        return (StageLine("nothing is drying"),)
    feel = (StageLine(f"{counted.to_feel:,} may be checked today"),) if counted.to_feel else ()
    late = (StageLine(f"{counted.stalled:,} want new papers", True),) if counted.stalled else ()
    return (StageLine(f"oldest {counted.oldest_age}"), *feel, *late)


def _ready(counted: Counted) -> tuple[StageLine, ...]:
    held = sum(each.held for each in counted.mine)
    free = sum(each.count for each in counted.mine) - held
    words = f"{free:,} may be taken up" + (f", {held:,} held" if held else "")
    return (StageLine(words), *_over(counted))


def _mounted(counted: Counted) -> tuple[StageLine, ...]:
    late = f"{counted.stalled:,} over {counted.limit.replace('1 hour', 'an hour')}"
    return (*((StageLine(late, True),) if counted.stalled else ()), StageLine("not yet under weight"))


def _under_press(counted: Counted) -> tuple[StageLine, ...]:
    stacks = sum(bool(stack.layers) for stack in counted.stacks)
    forgotten = (StageLine(f"{counted.stalled:,} ready and forgotten", True),) if counted.stalled else ()
    return (
        StageLine("1 stack" if stacks == 1 else f"{stacks} stacks"),
        StageLine(f"{counted.ready:,} may come out now"),
        *forgotten,
    )


def _dry_lines(counted: Counted) -> tuple[StageLine, ...]:
    parts = [f"{count:,} {what}" for what, count in _dry(counted.mine).items()]
    return (StageLine(", ".join(parts) or "nothing waits"), *_over(counted))


def _filed(counted: Counted) -> tuple[StageLine, ...]:
    return (StageLine("this week"), StageLine(f"{counted.filed.in_all:,} in all"))


def _over(counted: Counted, otherwise: str = "") -> tuple[StageLine, ...]:
    if counted.stalled:
        return (StageLine(f"{counted.stalled:,} stalled", True),)
    return (StageLine(otherwise),) if otherwise else ()


LINES: dict[Stage, Callable[[Counted], tuple[StageLine, ...]]] = {
    Stage.INTAKE: _intake, Stage.DRYING: _drying, Stage.READY: _ready, Stage.MOUNTED: _mounted,
    Stage.UNDER_PRESS: _under_press, Stage.DRY: _dry_lines, Stage.FILED: _filed,
}  # fmt: skip
