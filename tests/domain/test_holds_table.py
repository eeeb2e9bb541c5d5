"""The table of holds, cell by cell: each kind against each step, written by hand from the design of the room."""

from __future__ import annotations

import pytest

from app.domain.holds import AWAY, HOLDS
from app.domain.moves import WORKFLOW, refusals
from app.domain.stages import Stage, Step
from tests.domain.test_moves import attempt

# Design, part 7: "label to come, label query, number query — take up, file"; "name query — file"; "to be repaired,
# mounted against a rule — file"; "not found — nothing: the next scan lifts it".
LABELS = {Step.TAKE_UP, Step.FILE}
STOPS: dict[str, set[Step]] = {
    "label-to-come": LABELS, "label-query": LABELS, "number-query": LABELS,
    "name-query": {Step.FILE}, "to-be-repaired": {Step.FILE}, "against-a-rule": {Step.FILE},
    "not-found": set(), "out": set(),
}  # fmt: skip
# "quarantine — everything except drying apart from others, freezer treatment, and coming out of a stack into a bag". What is
# already done (glue that is on, weights, what is found) no hold stops; and log-keeping is no work with the sheet.
SPARED = {
    Step.TAKE_IN, Step.LAY_TO_DRY, Step.PAPERS_CHANGED, Step.FREEZE, Step.UNBAG, Step.TREATMENT, Step.TAKE_OUT,
    Step.MOUNT, Step.RE_GLUE, Step.PUT_UNDER_WEIGHT, Step.FOUND_OUT,
    Step.PUT_TOGETHER, Step.RENUMBER, Step.RESTATE, Step.TELL_APART, Step.SAME_SPECIMEN, Step.WITHDRAW, Step.COME_AGAIN,
    Step.PUT_HOLD, Step.LIFT_HOLD, Step.QUARANTINE,
}  # fmt: skip
STOPS["quarantine"] = set(WORKFLOW) - SPARED


def test_every_kind_stands_in_the_table() -> None:
    assert set(STOPS) == set(HOLDS)


@pytest.mark.parametrize("kind", list(STOPS))
@pytest.mark.parametrize("step", list(WORKFLOW))
def test_each_cell(kind: str, step: Step) -> None:
    start = next(stage for stage in WORKFLOW[step].starts)
    tried = attempt(start, step)
    held = attempt(start, step, sheet=_held(tried, kind))
    assert ("on-hold" in {each.code for each in refusals(held)} - _own(step)) is (step in STOPS[kind])


def test_the_next_scan_of_what_was_not_found_lifts_it_and_it_stops_nothing() -> None:
    assert {"not-found", "out"} == AWAY and not HOLDS["not-found"].stops


def test_no_hold_stops_the_dryer_the_weights_their_end_or_the_freezer() -> None:
    # Design, part 7: "No hold stops lay to dry, put under weight, take out when its time has come, or freezer treatment".
    for row in HOLDS.values():
        assert not row.stops & {Step.LAY_TO_DRY, Step.PUT_UNDER_WEIGHT, Step.TAKE_OUT, Step.FREEZE}
    assert Stage.READY in WORKFLOW[Step.LAY_TO_DRY].starts


def _held(tried, kind):  # type: ignore[no-untyped-def]
    from dataclasses import replace

    return replace(tried.sheet, holds=frozenset({kind}))


def _own(step: Step) -> set[str]:
    """What putting and lifting a hold says of the hold itself is no hold that stops it."""
    return {"on-hold"} if step in (Step.PUT_HOLD, Step.LIFT_HOLD) else set()
