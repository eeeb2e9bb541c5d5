"""The workflow as one table: every step from every stage, and every rule at its edge."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.domain.attempt import Attempt, PressClock, ShelfFacts, SignedOff, StackFacts, WorkerFacts
from app.domain.calendar import Calendar
from app.domain.holds import HOLDS
from app.domain.house import House
from app.domain.moves import WORKFLOW, can_be_already_done, fits, lands_in, refusals
from app.domain.sheet import Place, Standing
from app.domain.stages import Stage, Step

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
WEEK = Calendar(ZoneInfo("Europe/London"), frozenset(range(5)))
OLWEN = WorkerFacts(2, "W02", "Olwen Tarrant", frozenset({"volunteer"}))
HEDDA = WorkerFacts(1, "W01", "Hedda Brackwater", frozenset({"manager", "trainer", "volunteer"}))
OPEN_STACK = StackFacts(1, "P3", False, 3, 20)
SHUT_STACK = replace(OPEN_STACK, weights_on=True)

# Each step from where to where, written out by hand from the trade's own order of work (common practice, no source),
# so that the table in the program is held against something that is not itself.
BY_HAND: dict[Step, tuple[str, str]] = {
    Step.TAKE_IN: ("-", "intake"),
    Step.LAY_TO_DRY: ("intake ready-for-mounting", "drying"),
    Step.PAPERS_CHANGED: ("drying", "stays"),
    Step.PASS_AS_DRY: ("drying", "ready-for-mounting"),
    Step.TAKE_UP: ("ready-for-mounting", "stays"),
    Step.PUT_BACK: ("ready-for-mounting", "stays"),
    Step.MOUNT: ("ready-for-mounting", "mounted"),
    Step.PUT_UNDER_WEIGHT: ("mounted under-press", "under-press"),
    Step.TAKE_OUT: ("under-press", "dry"),
    Step.FOUND_OUT: ("under-press", "mounted"),
    Step.GOES_UNMOUNTED: ("ready-for-mounting", "dry"),
    Step.RE_GLUE: ("dry", "mounted"),
    Step.BACK_TO_TABLE: ("dry", "ready-for-mounting"),
    Step.INSPECT: ("dry", "stays"),
    Step.FILE: ("dry", "filed"),
    Step.BRING_BACK: ("filed", "dry"),
    Step.ARRIVE_DRY: ("intake", "ready-for-mounting"),
    Step.ARRIVE_MOUNTED: ("intake", "dry"),
    Step.ANOTHER_SHEET: ("intake ready-for-mounting", "stays"),
    Step.DIVIDE: ("intake drying ready-for-mounting", "stays"),
    Step.SHELVE: ("intake ready-for-mounting dry filed", "stays"),
}


def attempt(stage: Stage | None, step: Step, **more: object) -> Attempt:
    """An attempt that nothing speaks against, unless `more` says otherwise."""
    sheet = Standing(stage=stage, came_at=NOON - timedelta(days=1), outcome="passed")
    if step in (Step.MOUNT, Step.ANOTHER_SHEET):
        sheet = replace(sheet, place=Place(table_id=1))
    values: dict[str, object] = {
        "by": (OLWEN,), "table_id": 1, "facts": {"dryness": True, "outcome": "passed", "label": True}, "stack": OPEN_STACK,
        "own_stack": OPEN_STACK, "clock": PressClock(timedelta(hours=24), timedelta(hours=24), NOON), "treated": True,
        "reason": "because", "shelf": _shelf(lands_in(step, stage)),
    }  # fmt: skip
    return Attempt(
        **{"sheet": sheet, "step": step, "happened_at": NOON, "house": House(), "calendar": WEEK, **values, **more}
    )  # type: ignore[arg-type]


def _shelf(stage: Stage | None) -> ShelfFacts:
    return ShelfFacts(1, 1, "F1, shelf 2", stage, False, 0, None)


def codes(attempted: Attempt) -> list[str]:
    return [refusal.code for refusal in refusals(attempted)]


@pytest.mark.parametrize("stage", [None, *Stage])
@pytest.mark.parametrize("step", list(BY_HAND))
def test_every_step_leads_only_from_where_the_work_allows(step: Step, stage: Stage | None) -> None:
    starts, to = BY_HAND[step]
    allowed = (stage.value if stage else "-") in starts.split()
    assert fits(step, stage) is allowed
    found = codes(attempt(stage, step))
    assert found == [] if allowed else found and found[0] in ("wrong-stage", "unknown-number", "number-taken")
    if allowed:
        landed = lands_in(step, stage)
        assert landed is stage if to == "stays" else landed is not None and landed.value == to


def test_the_table_names_every_step_of_a_sheet() -> None:
    others = {Step.PUT_TOGETHER, Step.RENUMBER, Step.WITHDRAW, Step.PUT_HOLD, Step.LIFT_HOLD, Step.QUARANTINE}
    others |= {Step.FREEZE, Step.UNBAG, Step.TREATMENT, Step.TELL_APART, Step.SAME_SPECIMEN, Step.COME_AGAIN, Step.TIE}
    extra = {step for step in WORKFLOW if step.value == "restate"}
    assert set(WORKFLOW) == set(BY_HAND) | others | extra


@pytest.mark.parametrize("short_s", [-1, 0, 1])
def test_a_sheet_comes_out_exactly_at_its_minimum_and_not_a_second_before(short_s: int) -> None:
    lain = timedelta(hours=24, seconds=-short_s)
    clock = PressClock(lain, timedelta(hours=24), NOON + timedelta(seconds=short_s))
    assert codes(attempt(Stage.UNDER_PRESS, Step.TAKE_OUT, clock=clock)) == (["too-early"] if short_s > 0 else [])


def test_every_reason_is_given_at_once() -> None:
    clock = PressClock(timedelta(hours=20), timedelta(hours=24), None)
    tried = attempt(Stage.UNDER_PRESS, Step.TAKE_OUT, clock=clock, own_stack=SHUT_STACK, clock_doubtful=True)
    assert codes(tried) == ["too-early", "weights-on", "clock-doubtful"]


def test_a_ready_sheet_under_its_weights_says_so_and_nobody_lifts_them_to_find_out() -> None:
    refusal = refusals(attempt(Stage.UNDER_PRESS, Step.TAKE_OUT, own_stack=SHUT_STACK))[0]
    assert refusal.words.startswith("Ready.") and "Lift the weights" in refusal.next
    clock = PressClock(timedelta(hours=1), timedelta(hours=24), NOON + timedelta(hours=23))
    early = refusals(attempt(Stage.UNDER_PRESS, Step.TAKE_OUT, own_stack=SHUT_STACK, clock=clock))
    assert early and not any("Lift" in refusal.next for refusal in early)


def test_only_the_manager_lets_a_sheet_out_early_and_says_why() -> None:
    clock = PressClock(timedelta(hours=1), timedelta(hours=24), NOON + timedelta(hours=23))
    early = {"clock": clock, "early": True}
    assert codes(attempt(Stage.UNDER_PRESS, Step.TAKE_OUT, **early)) == ["manager-only"]
    assert codes(attempt(Stage.UNDER_PRESS, Step.TAKE_OUT, **early, by=(HEDDA,), reason=" ")) == ["reason-needed"]
    assert codes(attempt(Stage.UNDER_PRESS, Step.TAKE_OUT, **early, by=(HEDDA,))) == []


def test_a_time_on_a_closed_day_also_says_the_next_open_one() -> None:
    saturday = datetime(2026, 11, 28, 14, 5, tzinfo=UTC)
    clock = PressClock(timedelta(hours=1), timedelta(hours=24), saturday)
    refusal = refusals(attempt(Stage.UNDER_PRESS, Step.TAKE_OUT, clock=clock))[0]
    assert "open again Monday 30 Nov" in refusal.words
    closed_monday = replace(WEEK, closed=frozenset({date(2026, 11, 30)}))
    refusal = refusals(attempt(Stage.UNDER_PRESS, Step.TAKE_OUT, clock=clock, calendar=closed_monday))[0]
    assert "open again Tuesday 1 Dec" in refusal.words


@pytest.mark.parametrize("kind", list(HOLDS))
def test_no_hold_keeps_a_damp_plant_from_the_dryer_or_a_glued_sheet_from_the_weights(kind: str) -> None:
    held = frozenset({kind})
    for stage, step in ((Stage.INTAKE, Step.LAY_TO_DRY), (Stage.READY, Step.LAY_TO_DRY), (Stage.MOUNTED, Step.PUT_UNDER_WEIGHT),
                        (Stage.UNDER_PRESS, Step.TAKE_OUT), (Stage.DRY, Step.RE_GLUE), (Stage.READY, Step.MOUNT)):  # fmt: skip
        tried = attempt(stage, step)
        assert codes(replace(tried, sheet=replace(tried.sheet, holds=held))) == []


# The table of design: which hold stops taking up, and which filing.
STOPS = {"label-to-come": (True, True), "label-query": (True, True), "number-query": (True, True), "name-query": (False, True),
         "to-be-repaired": (False, True), "against-a-rule": (False, True), "quarantine": (True, True), "not-found": (False, False), "out": (False, False)}  # fmt: skip


@pytest.mark.parametrize("kind", list(HOLDS))
def test_each_hold_stops_what_the_table_says(kind: str) -> None:
    held = frozenset({kind})
    for step, stage, stops in ((Step.TAKE_UP, Stage.READY, STOPS[kind][0]), (Step.FILE, Stage.DRY, STOPS[kind][1])):
        tried = attempt(stage, step)
        found = codes(replace(tried, sheet=replace(tried.sheet, holds=held)))
        assert ("on-hold" in found) is stops


def test_a_full_stack_and_one_under_weight_take_no_sheet() -> None:
    full = replace(OPEN_STACK, sheets=20)
    assert codes(attempt(Stage.MOUNTED, Step.PUT_UNDER_WEIGHT, stack=full)) == ["stack-full"]
    assert codes(attempt(Stage.MOUNTED, Step.PUT_UNDER_WEIGHT, stack=replace(full, sheets=19))) == []
    assert codes(attempt(Stage.MOUNTED, Step.PUT_UNDER_WEIGHT, stack=SHUT_STACK)) == ["weights-on"]
    assert codes(attempt(Stage.MOUNTED, Step.PUT_UNDER_WEIGHT, stack=None)) == ["no-stack"]


def test_nobody_passes_a_sheet_they_mounted_or_mended() -> None:
    for hands in ({"mounted_by": (OLWEN.worker_id,)}, {"mended_by": (OLWEN.worker_id,)}):
        tried = attempt(Stage.DRY, Step.INSPECT)
        own = replace(tried, sheet=replace(tried.sheet, **hands))
        assert codes(own) == ["own-work"]
        assert codes(replace(own, by=(HEDDA,))) == []
        assert codes(replace(own, house=replace(House(), not_own_work=False))) == []
        assert codes(replace(own, facts={"outcome": "to-be-mended"})) == []


def test_filing_asks_for_a_pass_a_shelf_of_its_kind_and_the_whole_specimen() -> None:
    tried = attempt(Stage.DRY, Step.FILE)
    assert codes(replace(tried, sheet=replace(tried.sheet, outcome=None))) == ["not-inspected"]
    assert codes(replace(tried, shelf=None)) == ["no-cabinet"]
    assert codes(replace(tried, shelf=_shelf(Stage.READY))) == ["wrong-cabinet"]
    assert codes(replace(tried, shelf=replace(_shelf(Stage.FILED), sheets=70, capacity=70))) == ["cabinet-full"]
    assert codes(replace(tried, specimen_complete=False)) == ["specimen-incomplete"]
    assert codes(replace(tried, specimen_complete=False, by=(HEDDA,), reason="the other is on loan")) == []


def test_treatment_and_sign_offs_are_asked_for_only_where_the_house_asks() -> None:
    up = attempt(Stage.READY, Step.TAKE_UP, treated=False)
    assert codes(up) == []
    assert codes(replace(up, house=replace(House(), treat_before_mounting=True))) == ["not-treated"]
    assert codes(replace(up, house=replace(House(), sign_offs=True))) == ["not-signed-off"]
    signed = replace(OLWEN, signed_off=(SignedOff("take-up", "ordinary", NOON),))
    assert codes(replace(up, house=replace(House(), sign_offs=True), by=(signed,))) == []
    clean = replace(attempt(Stage.DRY, Step.FILE, treated=False), shelf=replace(_shelf(Stage.FILED), is_clean=True))
    assert codes(replace(clean, house=replace(House(), treat_before_filing=True))) == ["not-treated", "not-clean"]


def test_a_closed_sheet_takes_no_more_steps() -> None:
    for step in (Step.TAKE_UP, Step.SHELVE, Step.PUT_HOLD):
        tried = attempt(Stage.READY, step)
        assert codes(replace(tried, sheet=replace(tried.sheet, closed_as="sent in exchange"))) == ["withdrawn"]


def test_glue_that_is_on_is_written_from_wherever_the_log_left_the_sheet() -> None:
    assert {stage for stage in Stage if can_be_already_done(Step.MOUNT, stage)} == {
        Stage.INTAKE,
        Stage.DRYING,
        Stage.READY,
    }
    assert not any(can_be_already_done(Step.TAKE_OUT, stage) for stage in Stage)
    assert not any(can_be_already_done(Step.FILE, stage) for stage in Stage)


@pytest.mark.parametrize("step", list(WORKFLOW))
@pytest.mark.parametrize("stage", list(Stage))
def test_every_refusal_says_what_is_true_and_what_to_do(step: Step, stage: Stage) -> None:
    clock = PressClock(timedelta(hours=1), timedelta(hours=24), None)
    tried = attempt(stage, step, facts={"label": False}, stack=SHUT_STACK, own_stack=SHUT_STACK, clock=clock, treated=False, reason="",
                    shelf=None, other_table="Mounting table 1", specimen_complete=False)  # fmt: skip
    tried = replace(tried, sheet=replace(tried.sheet, holds=frozenset(HOLDS), outcome=None))
    for refusal in refusals(tried):
        assert refusal.words.endswith((".", "?")), refusal
        assert "{" not in refusal.said(str) and "{" not in refusal.next_said(str)
