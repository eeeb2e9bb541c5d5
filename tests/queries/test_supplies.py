"""What the log used up, beside a count by hand over every entry; what is on hand, how long it lasts, and when it needs a person."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime, timedelta
from fractions import Fraction
from typing import Any

import pytest
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Entry, table_of
from app.domain.stages import Step
from app.queries.need import Need
from app.queries.supplies_page import SupplyPage, supply_page
from app.queries.supplies_used import lying_at, uses_between
from app.services.desk import ScanRequest
from app.services.regluing import put_gluing_right
from app.services.room import set_at_station, set_house_rule
from app.services.scanning import once
from tests.queries.looking import board_of
from tests.room import Room
from tests.services.days import busy_days, done
from tests.services.supplied import PASTE, PVA, came, counted, kept, line, on_hand, taken

ENTRY = table_of(Entry)


def used(room: Room, after: datetime, until: datetime) -> dict[str, int]:
    with reading(room.database) as session:
        return {key: many for key, many in uses_between(session, after, until).items() if many}


def by_hand(room: Room, after: datetime, until: datetime) -> dict[str, int]:
    """The same, by walking over every entry that there is; adhesives as they were put right."""
    with reading(room.database) as session:
        rows = [
            dict(row) for row in session.execute(select(ENTRY).order_by(ENTRY.c.happened_at, ENTRY.c.id)).mappings()
        ]
    gone, counts, last = {row["corrects"] for row in rows}, Counter[str](), dict[int, str]()
    for row in rows:
        if row["id"] in gone or row["subject_kind"] != "sheet":
            continue
        within, sets = after < row["happened_at"] <= until, row["facts"].get("sets", {})
        took = "adhesive" if row["step"] in ("mount", "re-glue", "restate") and "adhesive_id" in sets else ""
        if took and row["step"] == "restate":
            # The gluing before took another adhesive than was said then.
            within = bool(last.get(row["subject_id"]))
            counts[last.get(row["subject_id"], "")] -= within
        if took:
            last[row["subject_id"]] = f"adhesive {sets['adhesive_id']}" if within else ""
            counts[last[row["subject_id"]]] += within
        for kind in taken_with(row):
            counts[kind] += within
    return {key: many for key, many in counts.items() if many and key}


def taken_with(row: dict[str, Any]) -> list[str]:
    """What one entry took besides its adhesive."""
    step, used_up = row["step"], row["facts"].get("used", {})
    kinds = {"small": ["packet-small"], "large": ["packet-large"], "straps": ["straps"], "thread": ["thread"],
             "both": ["straps", "thread"], "none": []}  # fmt: skip
    found = [kind for what in used_up.values() for kind in kinds[what]]
    found += ["mounting-sheet"] * (step == "mount")
    found += ["release-paper"] * (step == "put-under-weight" and row["from_stage"] != "under-press")
    return found + ([f"kept-{row['facts']['sets']['unmounted']}"] if step == "goes-unmounted" else [])


def page(room: Room, supply_id: int) -> SupplyPage:
    with reading(room.database) as session:
        found = supply_page(session, supply_id, room.now, room.zone)
    assert found is not None
    return found


def put_right(room: Room, number: str, adhesive: str) -> None:
    asked = ScanRequest(room.next_id(), number, worker_ids=(room.worker["hedda"],), reason="seen", manages=True)
    with transaction(room.database) as session:
        assert (
            once(
                session, asked, room.occasion, lambda desk: put_gluing_right(desk, adhesive, "ordinary"), adhesive
            ).kind
            == "done"
        )


def test_what_the_log_used_up_is_what_a_walk_over_every_entry_finds(room: Room) -> None:
    began = room.now - timedelta(hours=1)
    with transaction(room.database) as session:
        set_at_station(session, room.station["table-1"], uses={"packet": "small", "straps": "both"})
    sheets = busy_days(room)
    room.wait(minutes=5)
    for nickname, adhesive in (("glued-again", "paste"), ("straight", "mc"), ("straight", ""), ("moved", "paste")):
        put_right(room, sheets[nickname], adhesive)
        room.wait(minutes=1)
    number = room.sheet_ready()
    done(room.scans(number, "table-1", step=Step.TAKE_UP))
    done(room.scans(number, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="1"))
    done(room.scans(number, "table-1", step=Step.GOES_UNMOUNTED, facts={"unmounted": "box"}))
    later = room.sheet_mounted("table-2", packet="large")
    room.wait(minutes=1)
    done(room.undoes(room.log(later)[-1]["id"], "table-2"))
    done(room.scans(later, "table-2", step=Step.MOUNT, facts={"packet": "none"}))
    for hours in (0, 1, 2, 20, 30, 60):
        for span in ((began, began + timedelta(hours=hours)), (began + timedelta(hours=hours), room.now)):
            assert used(room, *span) == by_hand(room, *span), (hours, span)
    whole = used(room, began, room.now)
    assert (
        whole["mounting-sheet"] == 7
        and whole["kept-box"] == 1
        and whole["packet-small"] == 6
        and "packet-large" not in whole
    )
    assert whole[f"adhesive {PASTE}"] == 2 and whole["adhesive None"] == 1


def test_a_sheet_moved_to_another_stack_takes_its_paper_along(room: Room) -> None:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.wait(minutes=2)
    done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P2"))
    assert used(room, room.now - timedelta(hours=1), room.now)["release-paper"] == 1
    with reading(room.database) as session:
        assert [lying_at(session, room.now - timedelta(minutes=ago)) for ago in (3, 2, 1, 0)] == [0, 1, 1, 1]


def test_only_what_happened_after_the_count_is_used_since(room: Room) -> None:
    sheets = kept(room)
    room.sheet_mounted()
    counted(room, sheets, 100)
    assert on_hand(room, sheets) == 100
    room.wait(seconds=1)
    number = room.sheet_mounted()
    assert on_hand(room, sheets) == 99 and page(room, sheets).uses == 1
    room.wait(seconds=1)
    done(room.undoes(room.log(number)[-1]["id"]))
    assert on_hand(room, sheets) == 100


def test_adhesive_is_an_estimate_that_every_count_puts_right(room: Room) -> None:
    pva = kept(room, "adhesive", "PVA", adhesive_id=PVA, holds=100)
    with transaction(room.database) as session:
        set_house_rule(session, "adhesive_g_100", 400, "weighed", room.now, by=room.worker["hedda"])
    counted(room, pva, 3)
    room.wait(minutes=1)
    for _ in range(25):
        room.sheet_mounted()
    room.sheet_mounted(adhesive="paste")
    room.wait(minutes=1)
    # 25 gluings at 4 g are 100 g: one pot.
    assert on_hand(room, pva) == 2
    counted(room, pva, "2.2")
    (beside,) = page(room, pva).counts
    assert (beside.found.counted, beside.found.reckoned, beside.uses) == (Fraction("2.2"), 2, 25)
    # 0.8 pots of 100 g for 25 gluings are 320 g a hundred.
    assert beside.a_hundred == "320 g" and on_hand(room, pva) == Fraction("2.2")


def test_a_few_gluings_say_nothing_of_what_one_takes(room: Room) -> None:
    pva = kept(room, "adhesive", "PVA", adhesive_id=PVA, holds=100)
    counted(room, pva, 3)
    room.wait(minutes=1)
    for _ in range(19):
        room.sheet_mounted()
    room.wait(minutes=1)
    counted(room, pva, 2)
    assert page(room, pva).counts[0].a_hundred == ""


def test_release_paper_is_used_up_or_comes_back_as_the_house_says(room: Room) -> None:
    paper, foam = kept(room, "release-paper"), kept(room, "foam")
    room.weights("off", "P1")
    room.sheet_in("P1")
    for each in (paper, foam):
        counted(room, each, 50)
    room.wait(minutes=1)
    room.sheet_in("P1")
    for each in (paper, foam):
        found = line(room, each)
        assert found.is_lent and found.now is not None
        assert (found.now.on_hand, found.now.in_stacks, found.now.cupboard) == (51, 2, 49)
    with transaction(room.database) as session:
        set_house_rule(session, "release_again", 0, "it sticks", room.now, by=room.worker["hedda"])
    found = line(room, paper)
    assert found.now is not None and not found.is_lent and (found.now.on_hand, found.now.in_stacks) == (49, 0)
    assert line(room, foam).is_lent


def test_how_long_it_lasts_at_the_pace_of_the_last_eight_weeks(room: Room) -> None:
    sheets = kept(room, lead_weeks=2, pack=50, order_below=5)
    counted(room, sheets, 100)
    room.sheet_ready()
    for _ in range(8):
        room.wait(days=7)
        room.sheet_mounted()
    # Eight in eight weeks, one a week: 92 left last 644 days.
    found = line(room, sheets)
    assert found.now is not None and found.now.on_hand == 92 and found.outlook.per_week == 1
    today = room.now.astimezone(room.zone).date()
    assert found.outlook.lasts_until == today + timedelta(days=644) == date(2028, 10, 25)
    assert found.outlook.order_by == date(2028, 10, 11) and found.packs == 0
    assert page(room, sheets).recent == 8


def test_a_young_room_says_nothing_of_how_long(room: Room) -> None:
    sheets = kept(room)
    counted(room, sheets, 100)
    assert line(room, sheets).outlook.per_week is None
    room.sheet_ready()
    room.wait(minutes=1)
    room.sheet_mounted()
    room.wait(days=14, minutes=-2)
    assert line(room, sheets).outlook.per_week is None
    room.wait(minutes=1)
    assert line(room, sheets).outlook.per_week == Fraction(1, 2)


def low(room: Room, after: timedelta = timedelta(0)) -> list[Need]:
    return [need for need in board_of(room, room.now + after).needs if need.kind == "supply-low"]


def test_what_is_below_its_line_needs_a_person_and_not_before(room: Room) -> None:
    sheets = kept(room, name="Mounting sheets", order_below=10)
    assert low(room) == []
    counted(room, sheets, 10)
    assert low(room) == []
    room.wait(minutes=11)
    room.sheet_mounted()
    (need,) = low(room)
    assert (need.subject, need.what, need.do) == ("Mounting sheets", "9 sheets on hand, ordered below 10", "order it")
    assert (need.href_kind, need.href_id, need.key) == ("supply", str(sheets), f"supply-low supply {sheets}")
    came(room, sheets, 1, room.now)
    assert low(room) == [], "what is written of a supply is known at once"


def test_the_log_is_read_for_it_every_ten_minutes(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    from app.queries import needs_supplies

    counted(room, kept(room, order_below=10), 5)
    asked: list[datetime] = []
    real = needs_supplies.supplies
    monkeypatch.setattr(
        needs_supplies, "supplies", lambda session, now, zone: asked.append(now) or real(session, now, zone)
    )
    for minutes in (0, 1, 9, 10, 19, 21):
        assert len(low(room, timedelta(minutes=minutes))) == 1
    assert [(at - room.now) // timedelta(minutes=1) for at in asked] == [0, 10, 21]
    with transaction(room.database) as session:
        set_house_rule(session, "adhesive_g_100", 400, "weighed", room.now, by=room.worker["hedda"])
    assert low(room, timedelta(minutes=22)) and len(asked) == 4


def test_the_history_names_every_line_and_which_still_stands(room: Room) -> None:
    sheets = kept(room)
    counted(room, sheets, 10)
    room.wait(minutes=1)
    taken(room, sheets, 2, "a child's drawing")
    told = page(room, sheets)
    assert [(each.words, each.amount, each.by, each.why, each.stands) for each in told.history] == [
        ("taken", 2, "Hedda Brackwater", "a child's drawing", True), ("counted", 10, "Hedda Brackwater", "", True)]  # fmt: skip
    assert told.counted_by == "Hedda Brackwater" and [each.words for each in told.changes] == ["added"]


def test_there_is_no_page_of_what_is_not_there(room: Room) -> None:
    with reading(room.database) as session:
        assert supply_page(session, 99, room.now, room.zone) is None
