"""Signed off: what makes a sheet hard, who counts as not alone, and the words of the refusal."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from app.domain.attempt import SignedOff, WorkerFacts
from app.domain.house import House
from app.domain.moves import WORKFLOW, refusals
from app.domain.sign_off_rules import TAUGHT, difficulties_of, is_signed_off, sheets_words
from app.domain.stages import Stage, Step
from tests.domain.test_moves import HEDDA, NOON, OLWEN, attempt, codes

ASKS = replace(House(), sign_offs=True)
FROM = {Step.PASS_AS_DRY: Stage.DRYING, Step.TAKE_UP: Stage.READY, Step.INSPECT: Stage.DRY, Step.FILE: Stage.DRY}


def signed(worker: WorkerFacts, *difficulties: str, step: str = "take-up", **more: object) -> WorkerFacts:
    values = {"since": NOON - timedelta(days=30), **more}
    return replace(worker, signed_off=tuple(SignedOff(step, each, **values) for each in difficulties))  # type: ignore[arg-type]


# Written out by hand from what the room calls bulky, spiny and suspect.
@pytest.mark.parametrize(
    ("bulk", "hazards", "found"),
    [("thin", (), ("ordinary",)), ("ordinary", ("pins", "irritant"), ("ordinary",)), ("bulky", (), ("bulky",)),
     ("thin", ("spines",), ("bulky",)), ("ordinary", ("historic",), ("historic",)), ("bulky", ("historic", "spines"), ("bulky", "historic"))],
)  # fmt: skip
def test_bulk_spines_and_old_poison_make_a_sheet_hard(
    bulk: str, hazards: tuple[str, ...], found: tuple[str, ...]
) -> None:
    assert difficulties_of(bulk, hazards) == found


@pytest.mark.parametrize("step", list(FROM))
def test_every_step_that_is_taught_asks_only_where_the_house_does(step: Step) -> None:
    assert set(FROM) == set(TAUGHT)
    tried = attempt(FROM[step], step)
    assert codes(tried) == []
    assert codes(replace(tried, house=ASKS)) == ["not-signed-off"]
    assert codes(replace(tried, house=ASKS, by=(signed(OLWEN, "ordinary", step=step.value),))) == []
    other = "inspect" if step is not Step.INSPECT else "file"
    assert codes(replace(tried, house=ASKS, by=(signed(OLWEN, "ordinary", step=other),))) == ["not-signed-off"]


def test_glue_that_is_on_and_a_damp_plant_ask_for_nobodys_leave() -> None:
    asked = {step for step, move in WORKFLOW.items() if is_signed_off in move.rules}
    assert asked == set(TAUGHT)
    for stage, step in (
        (Stage.READY, Step.MOUNT),
        (Stage.DRY, Step.RE_GLUE),
        (Stage.INTAKE, Step.LAY_TO_DRY),
        (Stage.MOUNTED, Step.PUT_UNDER_WEIGHT),
    ):
        assert "not-signed-off" not in codes(attempt(stage, step, house=ASKS))


def test_one_of_two_together_is_enough_and_so_is_the_one_beside() -> None:
    up = attempt(Stage.READY, Step.TAKE_UP, house=ASKS)
    able = signed(HEDDA, "ordinary")
    assert codes(replace(up, by=(OLWEN, able))) == []
    assert codes(replace(up, by=(OLWEN,), beside=(able,))) == []
    assert codes(replace(up, by=(OLWEN, HEDDA))) == ["not-signed-off"]
    assert codes(replace(up, by=(OLWEN,), beside=(HEDDA,))) == ["not-signed-off"]


def test_a_hard_sheet_asks_for_every_thing_that_makes_it_hard() -> None:
    up = attempt(Stage.READY, Step.TAKE_UP, house=ASKS, difficulties=("bulky", "historic"))
    assert codes(replace(up, by=(signed(OLWEN, "ordinary"),))) == ["not-signed-off"]
    assert codes(replace(up, by=(signed(OLWEN, "ordinary", "bulky"),))) == ["not-signed-off"]
    assert codes(replace(up, by=(signed(OLWEN, "ordinary", "bulky"), signed(HEDDA, "historic")))) == []


@pytest.mark.parametrize(
    ("since", "until", "may"),
    [(0, None, True), (1, None, False), (-60, 0, False), (-60, 1, True), (-60, -1, False)],
)
def test_a_sign_off_holds_from_its_moment_up_to_its_end(since: int, until: int | None, may: bool) -> None:
    end = None if until is None else NOON + timedelta(seconds=until)
    worker = signed(OLWEN, "ordinary", since=NOON + timedelta(seconds=since), until=end)
    assert codes(attempt(Stage.READY, Step.TAKE_UP, house=ASKS, by=(worker,))) == ([] if may else ["not-signed-off"])


def test_the_refusal_says_why_where_to_and_whom_to_ask() -> None:
    up = attempt(Stage.READY, Step.TAKE_UP, house=ASKS, where="M1, shelf 1")
    plain = refusals(up)[0]
    assert plain.words == "Nobody signed in here is signed off to take up sheets alone."
    assert plain.next == "Put it back in M1, shelf 1. Nobody in this room is signed off for that yet: tell the trainer."
    helped = refusals(replace(up, difficulties=("historic",), might_help=("Rosamund Ashgill (Inspection)",)))[0]
    assert helped.words == (
        "It may have been treated with mercury or arsenic. Nobody signed in here is signed off to take up such sheets alone."
    )
    assert helped.next == "Put it back in M1, shelf 1. Ask Rosamund Ashgill (Inspection) to sit beside you."
    damp = refusals(attempt(Stage.DRYING, Step.PASS_AS_DRY, house=ASKS))[0]
    assert "pass sheets as dry alone" in damp.words and damp.next.startswith("Lay it back to dry.")


def test_each_step_is_said_with_its_sheets() -> None:
    assert sheets_words(Step.TAKE_UP, "bulky") == "take up bulky or spiny sheets"
    assert sheets_words(Step.PASS_AS_DRY, "ordinary") == "pass ordinary sheets as dry"
