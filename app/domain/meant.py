"""Which step a bare scan means: the one that fits where the sheet stands, or the few between which somebody must choose."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.domain.moves import fits
from app.domain.sheet import Standing
from app.domain.stages import Stage, Step

# Steps that a bare scan of a sheet never means: they need a shelf, a card or a choice.
NEVER_BY_ITSELF = (
    Step.PUT_BACK,
    Step.SHELVE,
    Step.ANOTHER_SHEET,
    Step.RE_GLUE,
    Step.BACK_TO_TABLE,
    Step.GOES_UNMOUNTED,
    Step.UNBAG,
    Step.TREATMENT,
    Step.COME_AGAIN,
)


@dataclass(frozen=True, slots=True)
class There:
    """What a station has at hand when a sheet is scanned: its steps in order, its row, the stack that is open there, and
    whether the house files only what was inspected.
    """

    steps: Sequence[Step]
    station_id: int | None = None
    stack_id: int | None = None
    inspects: bool = True


def steps_meant(sheet: Standing, there: There) -> list[Step]:
    """The steps of this place that a bare scan of this sheet may mean; one where the intention cannot be mistaken.

    A closed sheet means at most one: it is refused whatever is meant.
    """
    fitting = [step for step in there.steps if fits(step, sheet.stage) and step not in NEVER_BY_ITSELF]
    # Where a bag is filled, its card says so first; else the freezer is meant only where nothing else is done.
    fitting = [step for step in fitting if step is not Step.FREEZE] or fitting
    rule = _BY_STAGE.get(sheet.stage) if sheet.stage is not None else None
    meant = rule(fitting, sheet, there) if rule is not None else fitting
    return meant[:1] if sheet.closed_as is not None else meant


def _ready(fitting: list[Step], sheet: Standing, there: There) -> list[Step]:
    """Up it goes, and when it lies on this table it is mounted. Back to dry is a rare way, and has a card of its own."""
    on_this_table = sheet.place.table_id is not None and sheet.place.table_id == there.station_id
    not_meant = (
        {Step.TAKE_UP if on_this_table and Step.TAKE_UP in fitting else Step.MOUNT} if Step.MOUNT in fitting else set()
    )
    if {Step.TAKE_UP, Step.MOUNT} & set(fitting):
        not_meant.add(Step.LAY_TO_DRY)
    return [step for step in fitting if step not in not_meant]


def _under_press(fitting: list[Step], sheet: Standing, there: There) -> list[Step]:
    """Out of its stack, or into another one that is open here."""
    is_elsewhere = there.stack_id is not None and there.stack_id != sheet.place.stack_id
    if Step.TAKE_OUT not in fitting or is_elsewhere:
        return fitting
    return [step for step in fitting if step is not Step.PUT_UNDER_WEIGHT]


def _dry(fitting: list[Step], sheet: Standing, there: There) -> list[Step]:
    """Looked at first; filed once it has passed."""
    if not {Step.INSPECT, Step.FILE} <= set(fitting):
        return fitting
    may_be_filed = sheet.outcome == "passed" or not there.inspects
    return [step for step in fitting if step is not (Step.INSPECT if may_be_filed else Step.FILE)]


_BY_STAGE = {Stage.READY: _ready, Stage.UNDER_PRESS: _under_press, Stage.DRY: _dry}
