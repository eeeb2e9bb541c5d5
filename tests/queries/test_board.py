"""The board: the flow, the places and the press room, counted."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from sqlalchemy import update

from app.db.engine import reading, transaction
from app.db.models import Cabinet
from app.domain.stages import Stage, Step
from app.queries.board import board_json, board_version
from app.services.room import set_house_rule
from tests.queries.looking import board_of, brought_dry, filed, own_limit, stage_of
from tests.room import Room


def test_an_empty_room_has_seven_stages_and_needs_nobody(room: Room) -> None:
    found = board_of(room)
    assert [stage.slug for stage in found.stages] == [stage.value for stage in Stage]
    assert all(stage.count == 0 for stage in found.stages) and found.needs == ()


def test_the_flow_says_how_many_may_be_taken_up_and_how_many_are_held(room: Room) -> None:
    for _ in range(3):
        room.sheet_ready()
    room.sheet_ready(label=False)
    stage = stage_of(room, "ready-for-mounting", room.now + timedelta(days=6))
    assert (stage.count, stage.may_go_on, stage.held, stage.oldest_age) == (4, 3, 1, "6 days")
    assert [line.words for line in stage.lines] == ["3 may be taken up, 1 held"]


def test_intake_tells_fresh_from_dry(room: Room) -> None:
    for fresh in (True, False, False):
        room.scans(room.new_number(), "intake", step=Step.TAKE_IN, facts={"fresh": fresh})
    assert stage_of(room, "intake", room.now + timedelta(hours=5)).lines[0].words == "1 fresh, 2 dry, oldest 5 h"


def test_drying_says_how_many_may_be_felt_today(room: Room) -> None:
    for _ in range(2):
        number = room.new_number()
        room.scans(number, "intake", step=Step.TAKE_IN)
        room.scans(number, "drying", step=Step.LAY_TO_DRY, facts={"drying": "heated"})
        room.wait(days=1)
    # Laid on Wednesday and on Thursday, 3 days with heat: on Saturday one may be felt, on Sunday both.
    saturday = datetime(2026, 11, 28, 0, 30, tzinfo=UTC)
    assert "1 may be checked today" in [line.words for line in stage_of(room, "drying", saturday).lines]
    assert "2 may be checked today" in [
        line.words for line in stage_of(room, "drying", saturday + timedelta(days=1)).lines
    ]
    friday = stage_of(room, "drying", saturday - timedelta(days=1))
    assert not any("checked" in line.words for line in friday.lines)


def test_a_plant_laid_at_midnight_may_be_felt_from_that_midnight(room: Room) -> None:
    room.now = datetime(2026, 11, 26, tzinfo=UTC)
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    room.scans(number, "drying", step=Step.LAY_TO_DRY, facts={"drying": "heated"})
    said = [
        [line.words for line in stage_of(room, "drying", datetime(2026, 11, day, 12, tzinfo=UTC)).lines]
        for day in (28, 29)
    ]
    assert "1 may be checked today" not in said[0] and "1 may be checked today" in said[1]


def test_one_mounted_sheet_over_an_hour_is_said_in_red(room: Room) -> None:
    room.sheet_mounted()
    lines = stage_of(room, "mounted", room.now + timedelta(hours=2)).lines
    assert [(line.words, line.is_bad) for line in lines] == [("1 over an hour", True), ("not yet under weight", False)]


def test_under_press_counts_stacks_and_what_may_come_out(room: Room) -> None:
    for stack in ("P1", "P2"):
        room.weights("off", stack)
        room.sheet_in(stack)
        room.sheet_in(stack, adhesive="paste")
        room.weights("on", stack)
    stage = stage_of(room, "under-press", room.now + timedelta(hours=25))
    assert (stage.count, stage.stacks) == (4, 2)
    assert [line.words for line in stage.lines] == ["2 stacks", "2 may come out now"]


def test_dry_is_told_by_what_it_waits_for(room: Room) -> None:
    for outcome in (None, "passed", "to-be-mended", "passed"):
        number = brought_dry(room)
        if outcome:
            room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": outcome})
    stage = stage_of(room, "dry")
    assert (stage.count, stage.to_inspect, stage.to_mend, stage.to_file, stage.held) == (4, 1, 1, 2, 0)
    assert stage.lines[0].words == "1 to inspect, 1 to mend, 2 to file"


def test_ages_are_thirds_of_the_limit(room: Room) -> None:
    with transaction(room.database) as session:
        set_house_rule(session, "limit_intake_fresh_h", 3, "summer", room.now)
    for _ in range(4):
        room.scans(room.new_number(), "intake", step=Step.TAKE_IN, facts={"fresh": True})
        room.wait(hours=1)
    # Taken in 4, 3, 2 and 1 hours ago, of 3: exactly a third, two thirds and the whole are not over it.
    ages = stage_of(room, "intake").ages
    assert ages is not None
    assert (ages.fresh, ages.fair, ages.old, ages.stalled) == (1, 1, 1, 1)
    just_after = stage_of(room, "intake", room.now + timedelta(seconds=1)).ages
    assert just_after is not None
    assert (just_after.fresh, just_after.fair, just_after.old, just_after.stalled) == (0, 1, 1, 2)


def test_cabinets_count_what_waits_in_them(room: Room) -> None:
    for _ in range(3):
        room.sheet_ready()
    own_limit(room, "M1", 1)
    with transaction(room.database) as session:
        session.execute(update(Cabinet).where(Cabinet.name == "M1").values(capacity=480))
    lines = {line.name: line for line in board_of(room, room.now + timedelta(days=3)).cabinets}
    assert "F1" not in lines
    m1 = lines["M1"]
    assert (m1.count, m1.capacity, m1.stalled, m1.oldest_age, m1.stage_words) == (
        3,
        480,
        3,
        "3 days",
        "Ready for mounting",
    )
    assert lines["A1"].count == 0 and lines["A1"].oldest_since is None


def test_stacks_stand_on_the_board_as_they_lie(room: Room) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    room.sheet_in("P1", adhesive="paste")
    room.weights("on", "P1")
    line = next(each for each in board_of(room, room.now + timedelta(hours=25)).stacks if each.name == "P1")
    assert (line.sheets, line.weights_on, line.ready_now, line.states) == (2, True, 1, ("ready", "not-yet"))
    assert line.words == "1 now, last Friday 09:00" and not line.is_bad


def _filed(room: Room, now: datetime | None = None) -> tuple[int, str]:
    """What the board says is filed: in this week, and in words, of all."""
    stage = stage_of(room, "filed", now)
    this_week, in_all = stage.lines
    assert this_week.words == "this week"
    return stage.count, in_all.words


def test_filed_counts_this_week_and_all(room: Room) -> None:
    number = filed(room)
    filed(room)
    assert _filed(room) == (2, "2 in all")
    sunday, monday = datetime(2026, 11, 29, 23, 59, 59, tzinfo=UTC), datetime(2026, 11, 30, tzinfo=UTC)
    assert (_filed(room, sunday), _filed(room, monday)) == ((2, "2 in all"), (0, "2 in all"))
    room.scans(number, "filing", step=Step.BRING_BACK, reason="borrowed")
    assert _filed(room)[1] == "1 in all"


def test_the_count_that_is_moved_along_agrees_with_the_sums_beside_the_log(room: Room) -> None:
    kept = room.database.kept
    assert _filed(room)[1] == "0 in all"
    first, _ = filed(room), filed(room)
    room.scans(first, "filing", step=Step.BRING_BACK, reason="borrowed")
    moved_along = _filed(room)
    kept.pop("filed")
    assert moved_along == _filed(room) and moved_along[1] == "1 in all"


def test_what_two_file_together_is_one_sheet(room: Room) -> None:
    number = brought_dry(room)
    room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"})
    room.scans(number, step=Step.FILE, who=("olwen", "piet"), cabinet="F1", shelf="1")
    assert _filed(room) == (1, "1 in all")


def test_a_filing_taken_back_is_not_counted(room: Room) -> None:
    number = brought_dry(room)
    room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"})
    entry = room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="1").entry
    assert entry is not None and _filed(room) == (1, "1 in all")
    room.undoes(entry, at="filing")
    assert _filed(room) == (0, "0 in all")


def test_the_version_changes_with_every_entry_and_every_change(room: Room) -> None:
    seen = [_version(room)]
    number = room.sheet_ready()
    seen.append(_version(room))
    room.wait(hours=2)
    assert _version(room) == seen[-1]
    with transaction(room.database) as session:
        set_house_rule(session, "run_sheets", 5, "small trolley", room.now)
    seen.append(_version(room))
    entry = room.log(number)[-1]["id"]
    room.takes_back(entry, "wrong shelf")
    seen.append(_version(room))
    assert len(set(seen)) == len(seen)


def test_the_json_of_the_board_has_the_names_of_the_contract(room: Room) -> None:
    room.sheet_mounted()
    found = board_json(board_of(room, room.now + timedelta(hours=2)))
    assert {"stages", "cabinets", "stacks", "needs_a_person"} <= set(found)
    assert found["stages"][3] == {
        "stage": "mounted", "count": 1, "oldest_since": "2026-11-25T09:00:00+00:00", "stalled": 1, "left_behind": 0, "held": 0,
        "out": 0, "in_freezer": 0, "may_go_on": 1,
    }  # fmt: skip
    assert found["needs_a_person"][0]["kind"] == "mounted-too-long"


def _version(room: Room) -> str:
    with reading(room.database) as session:
        return board_version(session)
