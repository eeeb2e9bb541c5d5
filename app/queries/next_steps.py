"""What comes next for a sheet: the steps of the work that lead on from where it stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from app.domain.holds import HOLDS, stopping
from app.domain.language import say
from app.domain.moves import WORKFLOW
from app.domain.stages import STEP_WORDS, Stage, Step

# Deeds of the log-keeping, not of the work: they are offered where they belong, not as what comes next.
NOT_NEXT = frozenset(
    {
        Step.PUT_TOGETHER,
        Step.RENUMBER,
        Step.WITHDRAW,
        Step.PUT_HOLD,
        Step.LIFT_HOLD,
        Step.FOUND_OUT,
        Step.SHELVE,
        Step.RESTATE,
        Step.TELL_APART,
        Step.DIVIDE,
        Step.SAME_SPECIMEN,
        Step.COME_AGAIN,
        Step.QUARANTINE,
        Step.TIE,
        Step.FREEZE,
        Step.UNBAG,
        Step.TREATMENT,
    }
)
ON_A_TABLE = frozenset({Step.MOUNT, Step.PUT_BACK, Step.ANOTHER_SHEET})


@dataclass(frozen=True, slots=True)
class NextStep:
    """A step that leads on from where the sheet stands, and the holds that stop it, in words."""

    step: str
    words: str
    stopped_by: tuple[str, ...]


def next_steps(row: Any) -> tuple[NextStep, ...]:
    """The steps of the work that lead on from where a sheet stands; none for one that was closed."""
    if row.closed_as is not None:
        return ()
    stage, holds = Stage(row.stage) if row.stage else None, frozenset(row.holds.split())
    steps = [step for step, move in WORKFLOW.items() if stage in move.starts and step not in NOT_NEXT]
    return tuple(
        NextStep(step.value, say(STEP_WORDS[step][0]), tuple(say(HOLDS[kind].words) for kind in stopping(holds, step)))
        for step in steps if _is_next(step, stage, row.table_id is not None)
    )  # fmt: skip


def _is_next(step: Step, stage: Stage | None, on_a_table: bool) -> bool:
    if stage is Stage.READY:
        return on_a_table if step in ON_A_TABLE else not on_a_table
    return not (stage is Stage.UNDER_PRESS and step is Step.PUT_UNDER_WEIGHT)
