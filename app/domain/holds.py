"""Holds: why certain steps of a sheet must wait until somebody lifts the hold."""

from __future__ import annotations

from dataclasses import dataclass

from app.domain.language import mark
from app.domain.stages import Step

BEFORE_GLUE = frozenset({Step.TAKE_UP, Step.FILE})
BEFORE_FILING = frozenset({Step.FILE})
# Quarantine stops all but drying apart from others; a glued sheet still goes under its weights.
QUARANTINED = frozenset(
    {
        Step.PASS_AS_DRY,
        Step.TAKE_UP,
        Step.ARRIVE_DRY,
        Step.ARRIVE_MOUNTED,
        Step.FILE,
        Step.INSPECT,
        Step.BACK_TO_TABLE,
        Step.BRING_BACK,
        Step.SHELVE,
        Step.TIE,
        Step.GOES_UNMOUNTED,
        Step.PUT_BACK,
        Step.ANOTHER_SHEET,
        Step.DIVIDE,
    }  # fmt: skip
)

# The holds of which the table says that the manager settles, decides or looks.
SETTLED_BY_MANAGER = frozenset({"label-query", "number-query", "against-a-rule", "quarantine"})


@dataclass(frozen=True, slots=True)
class HoldRow:
    """A kind of hold: how it is said, which steps it stops, and what to do about it. `away`: the sheet is not here.
    `ages_by` is the house rule for the open days that it may stand.
    """

    words: str
    stops: frozenset[Step]
    do: str
    ages_by: str
    away: bool = False


HOLDS: dict[str, HoldRow] = {
    "label-to-come": HoldRow(mark("label to come"), BEFORE_GLUE, mark("Lift the hold when the final label lies with the plant."),
                             "hold_label_days"),
    "label-query": HoldRow(mark("label query"), BEFORE_GLUE, mark("The manager settles what the label should say."),
                           "hold_label_query_days"),
    "number-query": HoldRow(mark("number query"), BEFORE_GLUE, mark("The manager settles which number is right."),
                            "hold_number_query_days"),
    "name-query": HoldRow(mark("name query"), BEFORE_FILING, mark("Somebody has to settle the name."), "hold_name_days"),
    "to-be-repaired": HoldRow(mark("to be repaired"), BEFORE_FILING, mark("It is mended first."), "hold_repair_days"),
    "against-a-rule": HoldRow(mark("mounted against a rule"), BEFORE_FILING, mark("The manager looks at it and lifts the hold."),
                              "hold_rule_days"),
    "quarantine": HoldRow(mark("quarantine"), QUARANTINED, mark("Keep it closed in its bag. The manager decides."),
                          "hold_quarantine_days"),
    "not-found": HoldRow(mark("not found"), frozenset(), mark("The next scan lifts it."), "hold_missing_days", away=True),
    "out": HoldRow(mark("out"), frozenset(), mark("The next scan of it here lifts it."), "out_days", away=True),
}  # fmt: skip
OUT = "out"
# A sheet that is not here waits for nobody, whatever its stage.
AWAY = frozenset(kind for kind, row in HOLDS.items() if row.away)


def stopping(holds: frozenset[str], step: Step) -> list[str]:
    """The kinds of hold, among these, that stop this step; in the order of the table."""
    return [kind for kind, row in HOLDS.items() if kind in holds and step in row.stops]


def keeping(step: Step | None) -> list[str]:
    """The kinds of hold that keep a sheet from this step: those that stop it, and those of what is not here.

    With no step only what is not here is kept from anything.
    """
    return [kind for kind, row in HOLDS.items() if row.away or (step is not None and step in row.stops)]
