"""A check of 400 sheets with every kind of wrong one planted, while the other stations scan on: exactly those are named."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from random import Random

import pytest

from app.db.engine import reading, transaction
from app.domain.checking import Fate
from app.domain.stages import Stage, Step
from app.services.audit import audit
from app.services.room import add_cabinet
from tests.room import Room
from tests.services.counted import begins, card, closes, fates, kinds_seen

MANY = 400
SHELVES = ("1", "2", "3", "4")


@dataclass
class Planted:
    """A full cabinet, and what is wrong with it by the hand that made it so."""

    on_shelf: dict[str, list[str]] = field(default_factory=dict)
    wrong: dict[str, Fate] = field(default_factory=dict)
    unknown: list[str] = field(default_factory=list)
    unreadable: int = 0


def filled(room: Room) -> Planted:
    """M1 with 400 sheets by the log, on four shelves, and as it truly is."""
    with transaction(room.database) as session:
        add_cabinet(session, "M2", Stage.READY, room.now, shelves=2)
    planted, dice = Planted(), Random(1927)
    for shelf in SHELVES:
        planted.on_shelf[shelf] = [arrived(room, "M1", shelf) for _ in range(MANY // 4)]
    for shelf, numbers in planted.on_shelf.items():
        for number in dice.sample(numbers, 2):
            numbers.remove(number)
            planted.wrong[number] = Fate.MISSING
        moved = dice.choice(numbers)
        numbers.remove(moved)
        planted.on_shelf["1" if shelf == "4" else str(int(shelf) + 1)].append(moved)
        planted.wrong[moved] = Fate.WRONG_SHELF
    _strays(room, planted)
    return planted


def arrived(room: Room, cabinet: str, shelf: str) -> str:
    """A sheet that came dry, and was put on this shelf."""
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    facts = {"dryness": True, "label": True}
    room.scans(number, "intake", step=Step.ARRIVE_DRY, facts=facts, cabinet=cabinet, shelf=shelf)
    return number


def _strays(room: Room, planted: Planted) -> None:
    for shelf in ("1", "3"):
        stray = arrived(room, "M2", "2")
        planted.on_shelf[shelf].insert(7, stray)
        planted.wrong[stray] = Fate.ELSEWHERE
    filed = arrived(room, "M2", "1")
    # By the log it is on a table; it lies in the cabinet.
    room.scans(filed, "table-2", step=Step.TAKE_UP)
    withdrawn = arrived(room, "M1", "2")
    room.scans(withdrawn, who="hedda", step=Step.WITHDRAW, reason="sent in exchange", manages=True)
    planted.on_shelf["2"].insert(40, withdrawn)
    planted.on_shelf["4"].append(filed)
    planted.wrong |= {filed: Fate.ELSEWHERE, withdrawn: Fate.CLOSED}
    planted.unknown = [room.new_number(), room.new_number()]
    planted.unreadable = 3


def taken_to_tables(room: Room, planted: Planted, dice: Random) -> list[str]:
    """Sheets that the tables fetch from the cabinet while it is checked."""
    rightly = [number for numbers in planted.on_shelf.values() for number in numbers if number not in planted.wrong]
    return dice.sample(rightly, 20)


def walk(
    room: Room, planted: Planted, gone: set[str], at: str = "filing", shelves: tuple[str, ...] = SHELVES
) -> Iterator[None]:
    """The checker goes along the shelves, and scans what lies there when they come to it."""
    for shelf in shelves:
        answer = room.scans(room.code("shelf", f"M1/{shelf}"), at)
        assert answer.kind == "done", answer
        for number in list(planted.on_shelf[shelf]):
            if number not in gone and number in planted.on_shelf[shelf]:
                answer = room.scans(number, at)
                assert answer.status == 200, answer
                yield
    for number in planted.unknown:
        room.scans(number, at)
    for _ in range(planted.unreadable):
        room.wait(seconds=5)
        card(room, "cannot-be-read", at)


def named(room: Room) -> dict[str, Fate]:
    fine = (Fate.FOUND, Fate.LEFT, Fate.CAME)
    return {number: each for number, each in fates(room).items() if each not in fine}


def check_the_names(room: Room, planted: Planted) -> None:
    assert named(room) == planted.wrong, "exactly the planted ones, whatever else went on"
    assert kinds_seen(room).count("unknown") == 2 and kinds_seen(room).count("unreadable") == 3


@pytest.fixture
def planted(room: Room) -> Planted:
    return filled(room)


def test_exactly_the_planted_ones_are_named_while_other_stations_scan_on(room: Room, planted: Planted) -> None:
    assert begins(room, "M1").lines[0] == f"M1: {MANY} sheets are there by the log."
    others = Others(room, planted, Random(11))
    for nth, _ in enumerate(walk(room, planted, others.gone)):
        room.wait(seconds=4)
        others.work(nth)
    assert len(others.gone) >= 10 and len(others.came) >= 9
    check_the_names(room, planted)
    found = fates(room)
    assert {found[number] for number in others.came} == {Fate.CAME}
    assert {found[number] for number in others.gone} == {Fate.LEFT, Fate.FOUND}, (
        "fetched before or after they were seen"
    )
    _closing_holds_the_missing(room, planted)


class Others:
    """The other stations, while the checker walks: they fetch, bring, and put back."""

    def __init__(self, room: Room, planted: Planted, dice: Random) -> None:
        self.room, self.planted, self.dice = room, planted, dice
        self.to_fetch = taken_to_tables(room, planted, dice)
        self.gone, self.came, self.on_table = set[str](), list[str](), list[str]()

    def work(self, nth: int) -> None:
        if nth % 19 == 3 and self.to_fetch:
            self._fetch(self.to_fetch.pop())
        if nth % 40 == 9:
            # Laid on a shelf that is still to be checked, or is checked already; nobody is sent to look for it again.
            self.came.append(arrived(self.room, "M1", self.dice.choice(SHELVES)))
        if nth % 90 == 50:
            self._put_back(self.on_table.pop(0))

    def _fetch(self, number: str) -> None:
        assert self.room.scans(number, "table-2", step=Step.TAKE_UP).kind == "done"
        self.gone.add(number)
        self.on_table.append(number)

    def _put_back(self, number: str) -> None:
        self.room.scans(number, "table-2", step=Step.PUT_BACK, cabinet="M1", shelf="1")
        for numbers in self.planted.on_shelf.values():
            numbers[:] = [each for each in numbers if each != number]
        self.planted.on_shelf["1"].append(number)
        self.gone.discard(number)


def _closing_holds_the_missing(room: Room, planted: Planted) -> None:
    card(room, "check", "filing", facts={"check": "all"})
    missing = {number for number, each in planted.wrong.items() if each is Fate.MISSING}
    assert closes(room).lines == ("8 sheets not found, and held so until somebody scans them.",)
    assert {number for number in fates(room) if room.row(number)["holds"] == "not-found"} == missing
    with reading(room.database) as session:
        assert [each.sentence for each in audit(session, room.zone)] == []


def test_the_same_with_two_checkers_and_two_tables_truly_at_once(room: Room, planted: Planted) -> None:
    assert begins(room, "M1").kind == "done" and begins(room, "M1", "intake").word == "Going on."
    fetched = taken_to_tables(room, planted, Random(12))
    gone = set(fetched)
    first, second = Planted(planted.on_shelf, {}, planted.unknown, planted.unreadable), Planted(planted.on_shelf)
    at_once(
        walk(room, first, gone, "filing", ("1", "2")), walk(room, second, gone, "intake", ("3", "4")),
        fetches(room, fetched[:10], "table-1"), fetches(room, fetched[10:], "table-2"),
    )  # fmt: skip
    check_the_names(room, planted)
    found = fates(room)
    assert {found[number] for number in fetched} == {Fate.LEFT}
    assert card(room, "done", "intake").word == "Done here."
    _closing_holds_the_missing(room, planted)


def fetches(room: Room, numbers: list[str], at: str) -> Iterator[None]:
    for number in numbers:
        assert room.scans(number, at, step=Step.TAKE_UP).kind == "done"
        yield


def at_once(*works: Iterator[None]) -> None:
    """All of these at the same time, each in a thread of its own; whatever goes wrong in one fails the test."""
    gate, faults = threading.Barrier(len(works)), list[BaseException]()

    def run(work: Iterator[None]) -> None:
        gate.wait()
        try:
            list(work)
        except BaseException as error:
            faults.append(error)

    threads = [threading.Thread(target=run, args=(work,)) for work in works]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    assert faults == []
