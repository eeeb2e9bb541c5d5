"""What is done at each kind of station."""

from __future__ import annotations

from app.domain.stages import Step

KINDS: dict[str, tuple[str, list[Step]]] = {
    "intake": ("Intake", [Step.TAKE_IN, Step.ARRIVE_DRY, Step.ARRIVE_MOUNTED, Step.LAY_TO_DRY, Step.SHELVE]),
    "drying": ("Drying", [Step.LAY_TO_DRY, Step.PAPERS_CHANGED, Step.PASS_AS_DRY]),
    "mounting": ("Mounting", [Step.TAKE_UP, Step.MOUNT, Step.PUT_BACK, Step.ANOTHER_SHEET, Step.GOES_UNMOUNTED]),
    "press": ("Press", [Step.PUT_UNDER_WEIGHT, Step.TAKE_OUT, Step.WEIGHTS_ON, Step.WEIGHTS_OFF]),
    "inspection": ("Inspection", [Step.INSPECT, Step.RE_GLUE, Step.BACK_TO_TABLE, Step.SHELVE]),
    "filing": ("Filing", [Step.FILE, Step.BRING_BACK, Step.SHELVE]),
    "roaming": ("One screen for all", [step for step in (
        Step.TAKE_IN, Step.LAY_TO_DRY, Step.PASS_AS_DRY, Step.TAKE_UP, Step.MOUNT, Step.PUT_BACK, Step.PUT_UNDER_WEIGHT,
        Step.TAKE_OUT, Step.INSPECT, Step.FILE, Step.SHELVE)]),
}  # fmt: skip
