"""The seven stages of a sheet, the steps between them, and how each is said."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from app.domain.language import mark, mark_in


class Stage(StrEnum):
    """Where in the work a sheet stands; there are no others."""

    INTAKE = "intake"
    DRYING = "drying"
    READY = "ready-for-mounting"
    MOUNTED = "mounted"
    UNDER_PRESS = "under-press"
    DRY = "dry"
    FILED = "filed"


class Step(StrEnum):
    """One permitted move between two stages, or one deed within a stage."""

    TAKE_IN = "take-in"
    LAY_TO_DRY = "lay-to-dry"
    PAPERS_CHANGED = "papers-changed"
    PASS_AS_DRY = "pass-as-dry"
    TAKE_UP = "take-up"
    PUT_BACK = "put-back"
    MOUNT = "mount"
    PUT_UNDER_WEIGHT = "put-under-weight"
    TAKE_OUT = "take-out"
    FOUND_OUT = "found-out"
    GOES_UNMOUNTED = "goes-unmounted"
    RE_GLUE = "re-glue"
    BACK_TO_TABLE = "back-to-table"
    INSPECT = "inspect"
    FILE = "file"
    BRING_BACK = "bring-back"
    ARRIVE_DRY = "arrive-dry"
    ARRIVE_MOUNTED = "arrive-mounted"
    ANOTHER_SHEET = "another-sheet"
    PUT_TOGETHER = "put-together"
    RENUMBER = "renumber"
    RESTATE = "restate"
    SHELVE = "shelve"
    WITHDRAW = "withdraw"
    PUT_HOLD = "put-hold"
    LIFT_HOLD = "lift-hold"
    WEIGHTS_ON = "weights-on"
    WEIGHTS_OFF = "weights-off"
    COUNT = "count"
    CORRECT = "correct"
    FREEZE = "freeze"
    UNBAG = "unbag"
    TREATMENT = "treatment"
    LOAD_IN = "load-in"
    LOAD_COLD = "load-cold"
    LOAD_OUT = "load-out"
    LOAD_OPENED = "load-opened"
    FREEZER_OPENED = "freezer-opened"
    DEFROSTED = "defrosted"
    POWER_CUT = "power-cut"
    FREEZER_RUNS = "freezer-runs"
    STAYED_COLD = "stayed-cold"
    QUARANTINE = "quarantine"
    BEGIN_CHECK = "begin-check"
    END_CHECK = "end-check"
    CLOSE_CHECK = "close-check"
    TELL_APART = "tell-apart"
    DIVIDE = "divide"
    SAME_SPECIMEN = "same-specimen"
    COME_AGAIN = "come-again"
    TIE = "tie"


@dataclass(frozen=True, slots=True)
class StageRow:
    """How a stage is said, and in how the log says that a sheet stands there."""

    words: str
    stands: str


STAGES: dict[Stage, StageRow] = {
    Stage.INTAKE: StageRow(mark("Intake"), mark("is at intake")),
    Stage.DRYING: StageRow(mark("Drying"), mark("is drying")),
    Stage.READY: StageRow(mark("Ready for mounting"), mark("is ready for mounting")),
    Stage.MOUNTED: StageRow(mark("Mounted"), mark("is mounted and not yet under weight")),
    Stage.UNDER_PRESS: StageRow(mark("Under press"), mark("is under press")),
    Stage.DRY: StageRow(mark("Dry"), mark("is out of the press and dry")),
    Stage.FILED: StageRow(mark("Filed"), mark("is filed")),
}

# What each deed is called: as an order, and once it is done. Where English has one form for both, the order is said in a
# sense of its own, so that other languages may tell them apart.
STEP_WORDS: dict[Step, tuple[str, str]] = {
    Step.TAKE_IN: (mark("take in"), mark("taken in")),
    Step.LAY_TO_DRY: (mark("lay to dry"), mark("laid to dry")),
    Step.PAPERS_CHANGED: (mark("change papers"), mark("papers changed")),
    Step.PASS_AS_DRY: (mark("pass as dry"), mark("passed as dry")),
    Step.TAKE_UP: (mark("take up"), mark("taken up")),
    Step.PUT_BACK: (mark_in("order", "put back"), mark("put back")),
    Step.MOUNT: (mark("mount"), mark("mounted")),
    Step.PUT_UNDER_WEIGHT: (mark_in("order", "put under weight"), mark("put under weight")),
    Step.TAKE_OUT: (mark("take out"), mark("taken out")),
    Step.FOUND_OUT: (mark_in("order", "found out of its stack"), mark("found out of its stack")),
    Step.GOES_UNMOUNTED: (mark("keep unmounted"), mark("kept unmounted")),
    Step.RE_GLUE: (mark("re-glue"), mark("re-glued")),
    Step.BACK_TO_TABLE: (mark("send back to the table"), mark("sent back to the table")),
    Step.INSPECT: (mark("inspect"), mark("inspected")),
    Step.FILE: (mark("file"), mark("filed")),
    Step.BRING_BACK: (mark("bring back"), mark("brought back")),
    Step.ARRIVE_DRY: (mark("arrives dry"), mark("arrived dry")),
    Step.ARRIVE_MOUNTED: (mark("arrives mounted"), mark("arrived mounted")),
    Step.ANOTHER_SHEET: (mark("make another sheet"), mark("another sheet made")),
    Step.PUT_TOGETHER: (mark("put together"), mark("put together with another number")),
    Step.RENUMBER: (mark("renumber"), mark("given a new number")),
    Step.RESTATE: (mark("put its gluing right"), mark("gluing put right")),
    Step.SHELVE: (mark_in("order", "put on a shelf"), mark("put on a shelf")),
    Step.WITHDRAW: (mark("withdraw"), mark("withdrawn")),
    Step.PUT_HOLD: (mark("hold"), mark("held")),
    Step.LIFT_HOLD: (mark("lift the hold"), mark("hold lifted")),
    Step.WEIGHTS_ON: (mark("weights on"), mark("weights put on")),
    Step.WEIGHTS_OFF: (mark("weights off"), mark("weights taken off")),
    Step.COUNT: (mark("count"), mark("counted")),
    Step.CORRECT: (mark("correct"), mark("corrected")),
    Step.FREEZE: (mark("put into a load for the freezer"), mark("put into a load")),
    Step.UNBAG: (mark("take out of its freezer bag"), mark("taken out of its freezer bag")),
    Step.TREATMENT: (mark("say how its treatment stands"), mark("treatment told anew")),
    Step.LOAD_IN: (mark_in("order", "put into the freezer"), mark("put into the freezer")),
    Step.LOAD_COLD: (mark("read that it is cold"), mark("read as cold")),
    Step.LOAD_OUT: (mark("take out of the freezer"), mark("taken out of the freezer")),
    Step.LOAD_OPENED: (mark("open the bag"), mark("opened")),
    Step.FREEZER_OPENED: (mark("open the freezer"), mark("opened")),
    Step.DEFROSTED: (mark("defrost"), mark("defrosted")),
    Step.POWER_CUT: (mark("say that it has no power"), mark("found without power")),
    Step.FREEZER_RUNS: (mark("say that it runs again"), mark("runs again")),
    Step.STAYED_COLD: (mark("say that it stayed cold"), mark("stayed cold by its logger")),
    Step.QUARANTINE: (mark_in("order", "put in quarantine"), mark("put in quarantine")),
    Step.BEGIN_CHECK: (mark("begin a cabinet check"), mark("cabinet check begun")),
    Step.END_CHECK: (mark("end a cabinet check"), mark("cabinet check ended")),
    Step.CLOSE_CHECK: (mark("close a cabinet check"), mark("cabinet check closed")),
    Step.TELL_APART: (mark("tell apart two with one number"), mark("told apart from another with its number")),
    Step.DIVIDE: (mark("part two plants in one fold"), mark("parted from another plant in its fold")),
    Step.SAME_SPECIMEN: (mark("join to its specimen"), mark("joined to its specimen")),
    Step.COME_AGAIN: (mark("take in again"), mark("taken in again")),
    Step.TIE: (mark("tie into another bundle"), mark("tied into another bundle")),
}

# The log of a cabinet, not of a sheet; what was counted stays counted.
OF_CHECKS = frozenset({Step.BEGIN_CHECK, Step.END_CHECK, Step.CLOSE_CHECK})
# What is done with a stack, a load, a freezer or a cabinet, and with no sheet.
OF_THINGS = OF_CHECKS | {
    Step.WEIGHTS_ON, Step.WEIGHTS_OFF, Step.COUNT, Step.LOAD_IN, Step.LOAD_COLD, Step.LOAD_OUT, Step.LOAD_OPENED,
    Step.FREEZER_OPENED, Step.DEFROSTED, Step.POWER_CUT, Step.FREEZER_RUNS, Step.STAYED_COLD,
}  # fmt: skip
