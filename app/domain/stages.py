"""The seven stages of a sheet, the steps between them, and how each is said."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


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
    Stage.INTAKE: StageRow("Intake", "is at intake"),
    Stage.DRYING: StageRow("Drying", "is drying"),
    Stage.READY: StageRow("Ready for mounting", "is ready for mounting"),
    Stage.MOUNTED: StageRow("Mounted", "is mounted and not yet under weight"),
    Stage.UNDER_PRESS: StageRow("Under press", "is under press"),
    Stage.DRY: StageRow("Dry", "is out of the press and dry"),
    Stage.FILED: StageRow("Filed", "is filed"),
}

# What each deed is called: as an order ("take up"), and once it is done ("taken up").
STEP_WORDS: dict[Step, tuple[str, str]] = {
    Step.TAKE_IN: ("take in", "taken in"),
    Step.LAY_TO_DRY: ("lay to dry", "laid to dry"),
    Step.PAPERS_CHANGED: ("change papers", "papers changed"),
    Step.PASS_AS_DRY: ("pass as dry", "passed as dry"),
    Step.TAKE_UP: ("take up", "taken up"),
    Step.PUT_BACK: ("put back", "put back"),
    Step.MOUNT: ("mount", "mounted"),
    Step.PUT_UNDER_WEIGHT: ("put under weight", "put under weight"),
    Step.TAKE_OUT: ("take out", "taken out"),
    Step.FOUND_OUT: ("found out of its stack", "found out of its stack"),
    Step.GOES_UNMOUNTED: ("keep unmounted", "kept unmounted"),
    Step.RE_GLUE: ("re-glue", "re-glued"),
    Step.BACK_TO_TABLE: ("send back to the table", "sent back to the table"),
    Step.INSPECT: ("inspect", "inspected"),
    Step.FILE: ("file", "filed"),
    Step.BRING_BACK: ("bring back", "brought back"),
    Step.ARRIVE_DRY: ("arrives dry", "arrived dry"),
    Step.ARRIVE_MOUNTED: ("arrives mounted", "arrived mounted"),
    Step.ANOTHER_SHEET: ("make another sheet", "another sheet made"),
    Step.PUT_TOGETHER: ("put together", "put together with another number"),
    Step.RENUMBER: ("renumber", "given a new number"),
    Step.RESTATE: ("put its gluing right", "gluing put right"),
    Step.SHELVE: ("put on a shelf", "put on a shelf"),
    Step.WITHDRAW: ("withdraw", "withdrawn"),
    Step.PUT_HOLD: ("hold", "held"),
    Step.LIFT_HOLD: ("lift the hold", "hold lifted"),
    Step.WEIGHTS_ON: ("weights on", "weights put on"),
    Step.WEIGHTS_OFF: ("weights off", "weights taken off"),
    Step.COUNT: ("count", "counted"),
    Step.CORRECT: ("correct", "corrected"),
    Step.FREEZE: ("put into a load for the freezer", "put into a load"),
    Step.UNBAG: ("take out of its freezer bag", "taken out of its freezer bag"),
    Step.TREATMENT: ("say how its treatment stands", "treatment told anew"),
    Step.LOAD_IN: ("put into the freezer", "put into the freezer"),
    Step.LOAD_COLD: ("read that it is cold", "read as cold"),
    Step.LOAD_OUT: ("take out of the freezer", "taken out of the freezer"),
    Step.LOAD_OPENED: ("open the bag", "opened"),
    Step.FREEZER_OPENED: ("open the freezer", "opened"),
    Step.DEFROSTED: ("defrost", "defrosted"),
    Step.POWER_CUT: ("say that it has no power", "found without power"),
    Step.FREEZER_RUNS: ("say that it runs again", "runs again"),
    Step.STAYED_COLD: ("say that it stayed cold", "stayed cold by its logger"),
    Step.QUARANTINE: ("put in quarantine", "put in quarantine"),
    Step.BEGIN_CHECK: ("begin a cabinet check", "cabinet check begun"),
    Step.END_CHECK: ("end a cabinet check", "cabinet check ended"),
    Step.CLOSE_CHECK: ("close a cabinet check", "cabinet check closed"),
    Step.TELL_APART: ("tell apart two with one number", "told apart from another with its number"),
    Step.DIVIDE: ("part two plants in one fold", "parted from another plant in its fold"),
    Step.SAME_SPECIMEN: ("join to its specimen", "joined to its specimen"),
    Step.COME_AGAIN: ("take in again", "taken in again"),
    Step.TIE: ("tie into another bundle", "tied into another bundle"),
}

# The log of a cabinet, not of a sheet; what was counted stays counted.
OF_CHECKS = frozenset({Step.BEGIN_CHECK, Step.END_CHECK, Step.CLOSE_CHECK})
# What is done with a stack, a load, a freezer or a cabinet, and with no sheet.
OF_THINGS = OF_CHECKS | {
    Step.WEIGHTS_ON, Step.WEIGHTS_OFF, Step.COUNT, Step.LOAD_IN, Step.LOAD_COLD, Step.LOAD_OUT, Step.LOAD_OPENED,
    Step.FREEZER_OPENED, Step.DEFROSTED, Step.POWER_CUT, Step.FREEZER_RUNS, Step.STAYED_COLD,
}  # fmt: skip
