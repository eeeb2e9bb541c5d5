"""Two at once, fifty times each: exactly one wins, the rest get a reason, and nobody an exception."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest

from app.db.engine import reading
from app.domain.answer import Answer
from app.domain.stages import Step
from app.services.audit import audit
from tests.room import Room

ROUNDS = 50


def at_once(deeds: list[Callable[[], Answer]]) -> list[Answer]:
    """Do all of these at the same moment, each in a thread of its own; an exception fails the test."""
    gate, answers, faults = threading.Barrier(len(deeds)), [], []

    def run(deed: Callable[[], Answer]) -> None:
        gate.wait()
        try:
            answers.append(deed())
        except Exception as error:
            faults.append(error)

    threads = [threading.Thread(target=run, args=(deed,)) for deed in deeds]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert faults == []
    return answers


def clean(room: Room) -> None:
    with reading(room.database) as session:
        assert [difference.sentence for difference in audit(session, room.zone)] == []


def test_eight_scans_of_one_sheet(room: Room) -> None:
    for _ in range(ROUNDS):
        number = room.sheet_ready()
        who = ["olwen", "piet", "rosamund", "hedda"]
        answers = at_once(
            [
                lambda n=n: room.scans(number, "table-1" if n % 2 else "table-2", step=Step.TAKE_UP, who=who[n % 4])
                for n in range(8)
            ]
        )  # type: ignore[misc]
        assert sorted(answer.kind == "done" for answer in answers) == [False] * 7 + [True]
        codes = {answer.refusals[0]["code"] for answer in answers if answer.kind != "done"}
        assert codes <= {"wrong-stage", "on-another-table"}
        assert room.steps(number).count("take-up") == 1
        mounted = at_once([lambda n=n: room.scans(number, who=who[n % 4], step=Step.FOUND_OUT) for n in range(8)])  # type: ignore[misc]
        assert all(answer.refusals for answer in mounted)
    clean(room)


def test_eight_ways_to_mount_one_sheet(room: Room) -> None:
    for _ in range(ROUNDS):
        number = room.sheet_ready()
        room.scans(number, "table-1", step=Step.TAKE_UP)
        answers = at_once([lambda: room.scans(number, "table-1", step=Step.MOUNT) for _ in range(8)])
        assert sorted(answer.kind == "done" for answer in answers) == [False] * 7 + [True]
        assert all(answer.refusals[0]["code"] == "wrong-stage" for answer in answers if answer.kind != "done")
        assert room.steps(number).count("mount") == 1
    clean(room)


def test_eight_sheets_for_one_free_place(room: Room) -> None:
    lying = [room.sheet_in("P1") for _ in range(7)]
    sheets = [room.sheet_mounted() for _ in range(8)]
    for _ in range(ROUNDS):
        answers = at_once([lambda n=n: room.scans(n, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1") for n in sheets])  # type: ignore[misc]
        assert sorted(answer.kind == "done" for answer in answers) == [False] * 7 + [True]
        assert {answer.refusals[0]["code"] for answer in answers if answer.kind != "done"} == {"stack-full"}
        (winner,) = [answer for answer in answers if answer.kind == "done"]
        assert winner.entry is not None
        assert room.undoes(winner.entry, "press").kind == "done"
    assert len(lying) == 7
    clean(room)


@pytest.mark.parametrize("other", ["on", "off"])
def test_taking_out_against_the_weights(room: Room, other: str) -> None:
    for _ in range(ROUNDS // 2):
        number = room.sheet_in("P2")
        room.weights("on", "P2")
        room.wait(hours=25)
        if other == "on":
            room.weights("off", "P2")
            room.wait(minutes=3)
        answers = at_once([lambda: room.takes_out(number), lambda: room.weights(other, "P2")])
        out = next(answer for answer in answers if answer.step == "take-out")
        if out.kind == "done":
            assert room.stage(number) == "dry"
        else:
            assert out.refusals[0]["code"] == "weights-on" and room.stage(number) == "under-press"
        room.wait(minutes=3)
        room.weights("off", "P2")
        room.takes_out(number)
        room.wait(minutes=3)
    clean(room)


def test_undo_against_a_move(room: Room) -> None:
    for _ in range(ROUNDS):
        number = room.sheet_ready()
        entry = room.scans(number, "table-1", step=Step.TAKE_UP).entry
        assert entry is not None
        undone, mounted = None, None
        for answer in at_once([lambda: room.undoes(entry), lambda: room.scans(number, "table-1", step=Step.MOUNT)]):
            if answer.word in ("Undone.", "Stop.") and (
                answer.word == "Undone." or answer.refusals[0]["code"] == "not-last"
            ):
                undone = answer
            else:
                mounted = answer
        assert undone is not None and mounted is not None
        assert (undone.kind == "done") is not (mounted.kind == "done")
        assert room.stage(number) == ("mounted" if mounted.kind == "done" else "ready-for-mounting")
    clean(room)


def test_one_scan_sent_twice_at_once(room: Room) -> None:
    for turn in range(ROUNDS):
        number = room.sheet_ready()
        answers = at_once(
            [lambda: room.scans(number, "table-1", step=Step.TAKE_UP, scan_id=f"twice-{turn}") for _ in range(4)]
        )
        assert len({repr(answer) for answer in answers}) == 1 and answers[0].kind == "done"
        assert room.steps(number).count("take-up") == 1
    clean(room)
