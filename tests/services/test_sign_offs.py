"""Sign-offs at the stations: alone, together, beside, by difficulty, on the day of a late entry; giving and ending them."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Change, SignOff, table_of
from app.domain.stages import Step
from app.services import sign_offs
from app.services.audit import audit
from app.services.people import retire_worker
from app.services.room import add_hazard, set_house_rule
from app.services.suspected import name_for
from tests.room import Room

SIGN_OFF = table_of(SignOff)


@pytest.fixture(autouse=True)
def asked(room: Room) -> None:
    """The house keeps the rule from the beginning."""
    with transaction(room.database) as session:
        set_house_rule(session, "sign_offs", 1, "we teach by steps", room.now - timedelta(days=100))


def signs(room: Room, who: str, difficulty: str = "ordinary", step: Step = Step.TAKE_UP) -> bool:
    """The trainer signs somebody off."""
    with transaction(room.database) as session:
        return sign_offs.sign_off(session, room.worker[who], step, difficulty, room.now, room.worker["rosamund"])


def ends(room: Room, who: str, difficulty: str = "ordinary", why: str = "too much glue") -> tuple[str, ...]:
    """The trainer ends a sign-off."""
    with transaction(room.database) as session:
        mine = (SIGN_OFF.c.worker_id == room.worker[who], SIGN_OFF.c.difficulty == difficulty)
        found = session.execute(select(SIGN_OFF.c.id).where(*mine).order_by(SIGN_OFF.c.id.desc())).scalars().first()
        assert found is not None
        return sign_offs.end(session, found, why, room.now, room.worker["hedda"])


def taken_up(room: Room, number: str, **more: Any) -> list[str]:
    """Why a sheet may not be taken up at table 1, by code; empty when it was taken up."""
    answer = room.scans(number, "table-1", step=Step.TAKE_UP, **more)
    return [] if answer.kind == "done" else [refusal["code"] for refusal in answer.refusals]


def hazard(room: Room, number: str, kind: str) -> None:
    with transaction(room.database) as session:
        add_hazard(session, kind, room.now, sheet_id=room.row(number)["id"])


def test_alone_is_refused_until_signed_off_and_after_it_has_ended(room: Room) -> None:
    first, second, third = (room.sheet_ready() for _ in range(3))
    assert taken_up(room, first) == ["not-signed-off"] and room.row(first)["table_id"] is None
    assert signs(room, "olwen")
    assert taken_up(room, second) == []
    room.wait(minutes=5)
    assert ends(room, "olwen") == ("take up ordinary sheets",)
    assert taken_up(room, third) == ["not-signed-off"]


def test_where_the_house_does_not_ask_everybody_may(room: Room) -> None:
    with transaction(room.database) as session:
        set_house_rule(session, "sign_offs", 0, "we are few", room.now)
    assert taken_up(room, room.sheet_ready()) == []


def test_a_sign_off_for_another_step_does_not_count(room: Room) -> None:
    signs(room, "olwen", step=Step.INSPECT)
    assert taken_up(room, room.sheet_ready()) == ["not-signed-off"]


def test_two_together_need_one_sign_off_between_them(room: Room) -> None:
    first, second = room.sheet_ready(), room.sheet_ready()
    room.signs_in("piet", "table-1", "together")
    assert taken_up(room, first) == ["not-signed-off"]
    signs(room, "piet")
    assert taken_up(room, second) == []


def test_a_learner_beside_somebody_signed_off_may(room: Room) -> None:
    first, second, third = (room.sheet_ready() for _ in range(3))
    room.signs_in("piet", "table-1", "beside")
    assert taken_up(room, first) == ["not-signed-off"]
    signs(room, "olwen")
    assert taken_up(room, second) == []
    room.signs_in("piet", "table-1")
    assert taken_up(room, third) == ["not-signed-off"], "the one beside has gone"


def test_a_script_is_asked_like_a_station(room: Room) -> None:
    first, second = room.sheet_ready(), room.sheet_ready()
    signs(room, "rosamund")
    assert taken_up(room, first, who="piet") == ["not-signed-off"]
    assert taken_up(room, second, who="piet", beside_ids=(room.worker["rosamund"],)) == []


@pytest.mark.parametrize(
    ("said", "kind", "difficulty"),
    [({"bulk": "bulky"}, "", "bulky"), ({}, "spines", "bulky"), ({}, "historic", "historic"), ({"hazards": ["spines"]}, "", "bulky"),
     ({"hazards": "historic"}, "", "historic")],
)  # fmt: skip
def test_a_hard_sheet_asks_for_its_own_sign_off(room: Room, said: dict[str, Any], kind: str, difficulty: str) -> None:
    first, second, plain = (room.sheet_ready() for _ in range(3))
    for number in (first, second):
        if kind:
            hazard(room, number, kind)
    with transaction(room.database) as session:
        # So that nothing else is asked of who takes up a suspected one.
        name_for(session, room.now, None, worker_id=room.worker["olwen"])
        name_for(session, room.now, None, station_id=room.station["table-1"])
    signs(room, "olwen")
    assert taken_up(room, first, facts=said) == ["not-signed-off"]
    signs(room, "olwen", difficulty)
    assert taken_up(room, second, facts=said) == []
    assert taken_up(room, plain) == []


def test_a_sheet_that_is_known_to_be_bulky_need_not_be_said_to_be(room: Room) -> None:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN, facts={"bulk": "bulky"})
    room.scans(number, "intake", step=Step.ARRIVE_DRY, facts={"dryness": True, "label": True}, cabinet="M1", shelf="1")
    signs(room, "olwen")
    assert taken_up(room, number) == ["not-signed-off"]


def test_the_refusal_names_who_is_at_work_and_never_one_who_left(room: Room) -> None:
    number = room.sheet_ready()

    def said() -> str:
        room.wait(minutes=1)
        return room.scans(number, "table-1").next

    assert said() == "Put it back in M1, shelf 1. Nobody in this room is signed off for that yet: tell the trainer."
    signs(room, "hedda")
    assert said() == "Put it back in M1, shelf 1. Ask Hedda Brackwater, who is not signed in now, to sit beside you."
    signs(room, "piet")
    assert "Ask Piet Lindqvist (" in said()
    with transaction(room.database) as session:
        retire_worker(session, room.worker["piet"], room.now, by=room.worker["hedda"])
    assert "Piet" not in said()


def test_whoever_may_only_ordinary_sheets_is_not_named_for_a_spiny_one(room: Room) -> None:
    number = room.sheet_ready()
    hazard(room, number, "spines")
    signs(room, "piet")
    signs(room, "rosamund")
    signs(room, "rosamund", "bulky")
    answer = room.scans(number, "table-1")
    assert answer.lines[0].startswith(
        "It is bulky or spiny. Nobody signed in here is signed off to take up such sheets"
    )
    assert "Rosamund Ashgill (" in answer.next and "Piet" not in answer.next


def test_a_late_entry_is_judged_by_what_held_when_it_happened(room: Room) -> None:
    before, after = room.sheet_ready(), room.sheet_ready()
    room.wait(hours=1)
    signs(room, "olwen")
    room.wait(hours=1)
    ends(room, "olwen")
    room.wait(hours=1)
    told = {"who": "olwen", "manages": True, "at": "table-1", "step": Step.TAKE_UP, "reason": "from the paper list"}
    assert room.scans(before, happened_at=room.now - timedelta(hours=2, minutes=30), **told).kind == "stop"
    assert room.scans(before, happened_at=room.now - timedelta(hours=1, minutes=30), **told).kind == "done"
    assert room.scans(after, happened_at=room.now - timedelta(minutes=30), **told).kind == "stop"


def test_glue_of_somebody_not_signed_off_is_written_and_held_for_the_manager(room: Room) -> None:
    number = room.sheet_ready()
    answer = room.scans(
        number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1", already_done=True, facts={"glued_by": "W03"}
    )
    assert answer.kind == "done"
    assert "not-signed-off" in room.log(number)[-2]["facts"]["broke"]
    assert "against-a-rule" in room.row(number)["holds"]
    with reading(room.database) as session:
        assert not list(audit(session, room.zone))


@pytest.mark.parametrize("difficulties", [("ordinary",), ("ordinary", "bulky")])
def test_glue_on_a_spiny_sheet_is_asked_for_its_own_sign_off(room: Room, difficulties: tuple[str, ...]) -> None:
    number = room.sheet_ready()
    hazard(room, number, "spines")
    for difficulty in difficulties:
        signs(room, "piet", difficulty)
    told = {"already_done": True, "facts": {"glued_by": "W03"}}
    assert room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1", **told).kind == "done"
    assert ("not-signed-off" in room.log(number)[-2]["facts"]["broke"]) is ("bulky" not in difficulties)


@pytest.mark.parametrize("step", [Step.PASS_AS_DRY, Step.INSPECT])
def test_other_steps_that_are_taught_ask_too(room: Room, step: Step) -> None:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    room.scans(
        number,
        "intake",
        step=Step.LAY_TO_DRY if step is Step.PASS_AS_DRY else Step.ARRIVE_MOUNTED,
        facts={"dryness": True},
    )
    at = "drying" if step is Step.PASS_AS_DRY else "inspection"
    facts = {"dryness": True, "label": True, "felt_again": True, "outcome": "passed"}
    told = {"step": step, "facts": facts, "cabinet": "M1" if at == "drying" else "D1", "shelf": "1"}
    assert [each["code"] for each in room.scans(number, at, **told).refusals] == ["not-signed-off"]
    signs(room, "rosamund", step=step)
    assert room.scans(number, at, **told).kind == "done"


# -- giving and ending ----------------------------------------------------------------------------------------------
def test_signing_off_twice_changes_nothing(room: Room) -> None:
    assert signs(room, "olwen") is True
    assert signs(room, "olwen") is False
    with reading(room.database) as session:
        assert len(session.execute(select(SIGN_OFF)).all()) == 1


def test_ordinary_sheets_come_first_and_take_the_harder_ones_with_them(room: Room) -> None:
    with pytest.raises(ValueError, match="Ordinary sheets come first"):
        signs(room, "olwen", "bulky")
    for difficulty in ("ordinary", "bulky", "type"):
        signs(room, "olwen", difficulty)
    signs(room, "olwen", step=Step.INSPECT)
    assert ends(room, "olwen", "bulky") == ("take up bulky or spiny sheets",)
    with transaction(room.database) as session:
        first = session.execute(select(SIGN_OFF.c.id).order_by(SIGN_OFF.c.id)).scalars().first()
        ended = sign_offs.end(session, first or 0, "begins anew", room.now, None)
    assert ended == ("take up ordinary sheets", "take up types")
    with reading(room.database) as session:
        left = session.execute(select(SIGN_OFF.c.step).where(SIGN_OFF.c.ended_at.is_(None))).scalars().all()
    assert left == ["inspect"]


def test_ending_needs_a_reason_and_happens_once(room: Room) -> None:
    signs(room, "olwen")
    with pytest.raises(ValueError, match="Say why"):
        ends(room, "olwen", why="  ")
    assert ends(room, "olwen") and ends(room, "olwen") == ()
    with transaction(room.database) as session, pytest.raises(ValueError, match="no such sign-off"):
        sign_offs.end(session, 999, "why", room.now, None)


def test_nobody_who_left_or_only_reads_is_signed_off_and_no_step_that_is_not_taught(room: Room) -> None:
    with pytest.raises(ValueError, match="only finds and reads"):
        signs(room, "ines")
    with pytest.raises(ValueError, match="Choose a step"):
        signs(room, "olwen", step=Step.MOUNT)
    with pytest.raises(ValueError, match="Choose a step"):
        signs(room, "olwen", "enormous")
    with transaction(room.database) as session:
        retire_worker(session, room.worker["piet"], room.now, by=room.worker["hedda"])
    with pytest.raises(ValueError, match="Nobody who works here"):
        signs(room, "piet")


def test_each_change_is_written_down_with_who_and_why(room: Room) -> None:
    signs(room, "olwen")
    room.wait(minutes=1)
    ends(room, "olwen", why="too much glue")
    with reading(room.database) as session:
        change = table_of(Change)
        found = session.execute(
            select(change)
            .where(change.c.subject_id == room.worker["olwen"], change.c.what.like("sign%"))
            .order_by(change.c.id)
        )
        lines = [(row.changed_by, row.what, row.old, row.new, row.why) for row in found]
    words = "take up ordinary sheets"
    assert lines == [(room.worker["rosamund"], "signed off", None, words, None),
                     (room.worker["hedda"], "sign-off ended", words, None, "too much glue")]  # fmt: skip
