"""What is known of one sheet: facts folded from the entries of its log that stand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from app.domain.stages import Stage, Step


@dataclass(frozen=True, slots=True)
class Place:
    """Where a sheet is: on a shelf, in a bundle, on a table or in a stack; all empty when nobody has said."""

    cabinet_id: int | None = None
    shelf_id: int | None = None
    bundle_id: int | None = None
    table_id: int | None = None
    stack_id: int | None = None
    layer: int | None = None


NOWHERE = Place()


@dataclass(frozen=True, slots=True)
class Standing:
    """How a sheet stands by its log: the part of its facts that is written on its row with every entry.

    `layer` is the sheet's order in its stack, rising from the bottom. `came_at` is when it came into its stage,
    `kept_in_id` the cabinet where it last lay in that stage, and `minimum_s` the seconds under weight that were asked
    for when it was laid in.
    """

    stage: Stage | None = None
    came_at: datetime | None = None
    last_at: datetime | None = None
    place: Place = NOWHERE
    kept_in_id: int | None = None
    bulk: str = "ordinary"
    fresh: bool = False
    adhesive_id: int | None = None
    minimum_s: int | None = None
    rule_version: int | None = None
    glued_at: datetime | None = None
    method: str | None = None
    pressed_at: datetime | None = None
    papers_at: datetime | None = None
    unmounted: str | None = None
    without_weight: bool = False
    treated_until: datetime | None = None
    treated_left_s: int | None = None
    outcome: str | None = None
    inspected_by: tuple[int, ...] = ()
    mounted_by: tuple[int, ...] = ()
    mended_by: tuple[int, ...] = ()
    holds: frozenset[str] = frozenset()
    closed_as: str | None = None

    @property
    def in_queue(self) -> bool:
        """Whether the sheet still waits for something: neither filed nor closed."""
        return self.stage not in (None, Stage.FILED) and self.closed_as is None


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One standing entry of a sheet's log, as far as the fold needs it.

    `sets` holds the facts that the entry changes, `holds` and `lifts` the kinds of hold put and lifted.
    """

    entry_id: int
    happened_at: datetime
    step: Step
    to_stage: Stage | None
    to_place: Place
    sets: Mapping[str, Any] = field(default_factory=dict)
    holds: tuple[str, ...] = ()
    lifts: tuple[str, ...] = ()


def replay(entries: Iterable[LogEntry]) -> Standing:
    """Fold the standing entries of one sheet, in the order in which they happened, into how it stands."""
    standing = Standing()
    for entry in sorted(entries, key=lambda each: (each.happened_at, each.entry_id)):
        standing = after(standing, entry)
    return standing


def before(standing: Standing, step: Step) -> Standing:
    """How a sheet stands for the step that comes next: what was withdrawn comes again from outside, out of no stage."""
    return replace(standing, stage=None, came_at=None) if step is Step.COME_AGAIN else standing


def after(standing: Standing, entry: LogEntry) -> Standing:
    """How a sheet stands after one more entry."""
    standing = before(standing, entry.step)
    moved = entry.to_stage != standing.stage
    sets = {name: _typed(name, value) for name, value in entry.sets.items()}
    return replace(
        standing,
        stage=entry.to_stage,
        came_at=entry.happened_at if moved else standing.came_at,
        last_at=entry.happened_at,
        place=entry.to_place,
        kept_in_id=entry.to_place.cabinet_id or (None if moved else standing.kept_in_id),
        holds=(standing.holds | set(entry.holds)) - set(entry.lifts),
        **sets,
    )


def _typed(name: str, value: Any) -> Any:
    if name in _MOMENTS and isinstance(value, str):
        return datetime.fromisoformat(value)
    return tuple(value) if name in _WORKERS else value


_MOMENTS = frozenset({"glued_at", "pressed_at", "papers_at", "treated_until"})
_WORKERS = frozenset({"inspected_by", "mounted_by", "mended_by"})
