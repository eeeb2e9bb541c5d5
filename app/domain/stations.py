"""What is done at each kind of station."""

from __future__ import annotations

from collections.abc import Collection

from app.domain.language import mark
from app.domain.stages import Step

KINDS: dict[str, tuple[str, list[Step]]] = {
    "intake": (mark("Intake"), [Step.TAKE_IN, Step.ARRIVE_DRY, Step.ARRIVE_MOUNTED, Step.LAY_TO_DRY, Step.SHELVE]),
    "drying": (mark("Drying"), [Step.LAY_TO_DRY, Step.PAPERS_CHANGED, Step.PASS_AS_DRY]),
    "mounting": (mark("Mounting"), [Step.TAKE_UP, Step.MOUNT, Step.PUT_BACK, Step.ANOTHER_SHEET, Step.GOES_UNMOUNTED]),
    "press": (mark("Press"), [Step.PUT_UNDER_WEIGHT, Step.TAKE_OUT, Step.WEIGHTS_ON, Step.WEIGHTS_OFF]),
    "inspection": (mark("Inspection"), [Step.INSPECT, Step.RE_GLUE, Step.BACK_TO_TABLE, Step.SHELVE]),
    "filing": (mark("Filing"), [Step.FILE, Step.BRING_BACK, Step.SHELVE]),
    "freezer": (mark("Freezer"), [Step.FREEZE]),
    "roaming": (mark("One screen for all"), [
        Step.TAKE_IN, Step.LAY_TO_DRY, Step.ARRIVE_DRY, Step.ARRIVE_MOUNTED, Step.PAPERS_CHANGED, Step.PASS_AS_DRY, Step.TAKE_UP,
        Step.MOUNT, Step.PUT_BACK, Step.ANOTHER_SHEET, Step.GOES_UNMOUNTED, Step.PUT_UNDER_WEIGHT, Step.TAKE_OUT, Step.WEIGHTS_ON,
        Step.WEIGHTS_OFF, Step.INSPECT, Step.RE_GLUE, Step.BACK_TO_TABLE, Step.FILE, Step.BRING_BACK, Step.SHELVE, Step.FREEZE]),
}  # fmt: skip


def roams(steps: Collection[Step]) -> bool:
    """Whether this is done at one screen: from the dryer over the press to the cabinets, each with shelves of its own."""
    return {Step.PASS_AS_DRY, Step.TAKE_OUT, Step.FILE} <= set(steps)
