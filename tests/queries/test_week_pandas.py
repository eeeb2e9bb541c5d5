"""The week's sums against pandas on raw rows: the demo's log, and histories by chance with corrections and late entries."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.db.engine import Database, reading
from app.db.models import Base
from app.domain.calendar import week_bounds
from app.domain.stages import Stage, Step
from app.queries.week import ROOM_STEPS, Week, week
from seed_demo import fill
from tests.databases import Rooms, as_in_a_file
from tests.queries.looking import board_of
from tests.queries.weeks import week_of
from tests.room import LONDON, Room
from tests.services.days import done, new_room

NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
NO_WORK = ["correct", "treatment"]
HISTORIES = max(settings().max_examples // 5, 15)


@dataclass(frozen=True)
class Raw:
    """The tables of a room as they lie in its file, and the ISO weeks of London that pandas finds for them."""

    entries: pd.DataFrame
    workers: pd.DataFrame
    attendance: pd.DataFrame


def raw_of(database: Database) -> Raw:
    entries, workers, attendance = (
        pd.DataFrame(as_in_a_file(database, name), columns=list(Base.metadata.tables[name].columns.keys()))
        for name in ("entry", "entry_worker", "attendance")
    )
    for column in ("happened_at", "recorded_at"):
        entries[column] = pd.to_datetime(entries[column], format="ISO8601", utc=True)
    for column in ("signed_in_at", "signed_out_at"):
        attendance[column] = pd.to_datetime(attendance[column], format="ISO8601", utc=True)
    iso = entries["happened_at"].dt.tz_convert("Europe/London").dt.isocalendar()
    entries["year"], entries["week"] = iso["year"], iso["week"]
    return Raw(entries, workers, attendance)


def standing(raw: Raw, year: int, number: int) -> pd.DataFrame:
    """The standing entries of sheets in one week, in the order in which they happened."""
    every = raw.entries
    stands = every[~every["id"].isin(every["corrects"].dropna())]
    mine = stands[
        (stands["year"] == year)
        & (stands["week"] == number)
        & (stands["subject_kind"] == "sheet")
        & ~stands["step"].isin(NO_WORK)
    ]
    return mine.sort_values(["happened_at", "id"])


def credited(raw: Raw, year: int, number: int) -> dict[tuple[int, str], tuple[int, Fraction]]:
    """Sheets and credit by worker and step: the last standing entry of each sheet and step, its workers in equal shares."""
    last = standing(raw, year, number).drop_duplicates(["step", "subject_id"], keep="last")
    did = raw.workers[raw.workers["role"] == "did"]
    joined = last.merge(did, left_on="id", right_on="entry_id")
    hands = joined.groupby("entry_id")["worker_id"].transform("count")
    shares = joined.assign(hands=hands).groupby(["worker_id", "step"])["hands"].agg(list)
    return {(int(worker), str(step)): (len(many), sum((Fraction(1, int(one)) for one in many), Fraction(0)))
            for (worker, step), many in shares.items()}  # fmt: skip


def agrees(found: Week, raw: Raw) -> None:
    """Hold every sum of a week against the raw rows."""
    year, number = found.year, found.week
    mine = {
        (each.worker_id, line.step.value): (line.sheets, line.credit) for each in found.workers for line in each.steps
    }
    assert mine == credited(raw, year, number)
    rows = standing(raw, year, number)
    sheets = rows.groupby("step")["subject_id"].nunique()
    assert {line.step: line.value for line in found.room if line.step} == {
        step: sheets.get(step.value, 0) for step in ROOM_STEPS
    }
    moved = rows[rows["from_stage"].fillna("") != rows["to_stage"].fillna("")]
    came, left = moved["to_stage"].value_counts(), moved["from_stage"].value_counts()
    closed = rows[rows["step"] == "withdraw"]["from_stage"].value_counts()
    for stage in found.stages:
        name = stage.stage.value
        assert (stage.came, stage.left) == (came.get(name, 0), left.get(name, 0) + closed.get(name, 0)), name
    assert seconds(found) == worked(raw, found)


def seconds(found: Week) -> dict[int, int]:
    return {each.worker_id: each.hours.total_s for each in found.workers if each.hours.total_s}


def worked(raw: Raw, found: Week) -> dict[int, int]:
    """The seconds of each worker, by the rows of who signed in and out, cut to the week and to now."""
    starts_at, ends_at = week_bounds(found.year, found.week, LONDON)
    until = pd.Timestamp(min(ends_at, found.read_at))
    begins = raw.attendance["signed_in_at"].clip(lower=pd.Timestamp(starts_at))
    ends = raw.attendance["signed_out_at"].fillna(until).clip(upper=until)
    lasted = (ends - begins).dt.total_seconds().clip(lower=0)
    sums = lasted.apply(int).groupby(raw.attendance["worker_id"]).sum()
    return {int(worker): int(total) for worker, total in sums.items() if total}


@pytest.fixture(scope="module")
def demo(rooms: Rooms, tmp_path_factory: pytest.TempPathFactory) -> Database:
    """The small demo room, fourteen weeks old."""
    database = rooms.open(tmp_path_factory.mktemp("weeks") / "demo.sqlite3")
    fill(database, LONDON, NOW, small=True)
    return database


def test_every_week_of_the_demo_is_what_pandas_counts(demo: Database) -> None:
    raw = raw_of(demo)
    every = raw.entries
    assert every["corrects"].notna().any() and every["is_late"].any(), "nothing was undone, or nothing written late"
    weeks = sorted({(int(year), int(number)) for year, number in zip(every["year"], every["week"], strict=True)})
    assert len(weeks) >= 14
    for year, number in weeks:
        with reading(demo) as session:
            agrees(week(session, year, number, NOW, LONDON), raw)


def test_every_exception_of_the_demo_is_told_in_its_week(demo: Database) -> None:
    every = raw_of(demo).entries
    stands = every[~every["id"].isin(every["corrects"].dropna())]
    expected = {
        "early-release": set(stands[stands["early_by_s"].notna()]["id"]),
        "out-early": set(stands[stands["step"] == "found-out"]["id"]),
        "correction": set(every[every["step"] == "correct"]["id"]),
        "late": set(stands[(stands["is_late"] == 1) & (stands["step"] != "correct")]["id"]),
        "after-the-fact": set(stands[stands["after_the_fact"] == 1]["id"]),
        "new-number": set(stands[stands["step"] == "renumber"]["id"]),
    }
    found: dict[str, set[int]] = {kind: set() for kind in expected}
    for year, number in {(int(year), int(number)) for year, number in zip(every["year"], every["week"], strict=True)}:
        with reading(demo) as session:
            for each in week(session, year, number, NOW, LONDON).exceptions:
                if each.kind in found:
                    found[each.kind].add(each.entry_id)
    assert found == expected


def test_the_interval_of_a_rate_and_its_hours_are_of_the_same_eight_weeks(demo: Database) -> None:
    raw = raw_of(demo)
    with reading(demo) as session:
        found = week(session, 2026, 47, NOW, LONDON)
    rated = 0
    for each in found.workers:
        for line in each.steps:
            counts = [credited(raw, 2026, number).get((each.worker_id, line.step.value), (0, Fraction(0)))
                      for number in range(40, 48)]  # fmt: skip
            if line.rate is not None and not line.learning:
                rated += 1
                assert (line.rate.sheets, line.rate.credit) == (
                    sum(count for count, _ in counts),
                    sum(share for _, share in counts),
                )
                assert line.rate.per_hour == pytest.approx(float(line.rate.credit) / (line.rate.hours_s / 3600))
    assert rated > 1


# -- histories by chance --------------------------------------------------------------------------------------------
@dataclass
class History:
    """A few sheets on their way through some weeks, with things taken back, written late and withdrawn; and what the board
    said as each week ended.
    """

    room: Room
    sheets: list[str] = field(default_factory=list)
    ended: dict[tuple[int, int], dict[str, tuple[int, datetime | None]]] = field(default_factory=dict)

    def take_in(self, _: int) -> None:
        self.sheets.append(self.room.sheet_ready())

    def onward(self, which: int) -> None:
        """The next step of a sheet's way, whichever that is."""
        row = self.room.row(self.sheets[which % len(self.sheets)])
        stage = "on-a-table" if row["table_id"] and row["stage"] == Stage.READY else row["stage"]
        if row["outcome"] == "passed" and stage == Stage.DRY:
            self._scan(which, "filing", step=Step.FILE, cabinet="F1", shelf="1")
        elif stage in WAY:
            at, more = WAY[stage]
            self._scan(which, at, **more)

    def put_back(self, which: int) -> None:
        self._scan(which, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="1")

    def found_out(self, which: int) -> None:
        self._scan(which, "press", step=Step.FOUND_OUT)

    def withdraw(self, which: int) -> None:
        self._scan(which, None, step=Step.WITHDRAW, who="hedda", manages=True, reason="sent back")

    def late(self, which: int) -> None:
        """A sheet was taken up while nobody could scan; the manager writes it up some days after."""
        self.take_in(0)
        at = self.room.now + timedelta(minutes=5)
        self.room.wait(days=which)
        done(
            self.room.scans(self.sheets[-1], "table-2", step=Step.TAKE_UP, happened_at=at, manages=True, who="hedda")
            if which
            else self.room.scans(self.sheets[-1], "table-2", step=Step.TAKE_UP)
        )

    def take_back(self, which: int) -> None:
        """The manager takes back the last thing, or the last but one and it, of a sheet."""
        stands = [
            entry["id"] for entry in self.room.log(self.sheets[which % len(self.sheets)]) if entry["step"] != "correct"
        ]
        self.room.takes_back(stands[-1 - which % 2], "not so")

    def together(self, which: int) -> None:
        self.room.signs_in("hedda", "table-1", ("together", "beside")[which % 2])

    def alone(self, _: int) -> None:
        self.room.signs_in("hedda", "filing")

    def wait(self, which: int) -> None:
        self.room.wait(hours=7 * (which + 1))

    def week_ends(self, _: int) -> None:
        local = self.room.now.astimezone(LONDON).date()
        year, number, day = local.isocalendar()
        monday = datetime.combine(local + timedelta(days=8 - day), datetime.min.time(), LONDON).astimezone(UTC)
        self.room.now = monday - timedelta(seconds=1)
        self.ended[year, number] = {
            stage.slug: (stage.count, stage.oldest_since) for stage in board_of(self.room).stages[:-1]
        }
        self.room.now = monday + timedelta(hours=9)

    def _scan(self, which: int, at: str | None, **more: Any) -> None:
        self.room.scans(self.sheets[which % len(self.sheets)], at, **more)


EARLY = {"early": True, "reason": "asked for", "who": "hedda", "manages": True}
WAY: dict[str, tuple[str, dict[str, Any]]] = {
    Stage.READY: ("table-1", {"step": Step.TAKE_UP}),
    "on-a-table": ("table-1", {"step": Step.MOUNT}),
    Stage.MOUNTED: ("press", {"step": Step.PUT_UNDER_WEIGHT, "stack": "P1"}),
    Stage.UNDER_PRESS: ("press", {"step": Step.TAKE_OUT, **EARLY}),
    Stage.DRY: ("inspection", {"step": Step.INSPECT, "facts": {"outcome": "passed"}}),
}
DEEDS: dict[str, Callable[[History, int], None]] = {
    name: getattr(History, name)
    for name in ("take_in", "onward", "put_back", "found_out", "withdraw", "late", "take_back", "together", "alone", "wait",
                 "week_ends")
}  # fmt: skip
LIKELY = ["onward"] * 12 + list(DEEDS)


def lived(room: Room, seed: int, never: tuple[str, ...] = ()) -> History:
    """Some weeks by chance; the week is looked at whenever one ends, so that what is kept of it in memory has to follow."""
    history, chance = History(room), random.Random(seed)
    for _ in range(3):
        history.take_in(0)
    for name in chance.choices([name for name in LIKELY if name not in never], k=60):
        DEEDS[name](history, chance.randrange(6))
        if name == "week_ends":
            week_of(room, *_week(room))
    return history


@settings(max_examples=HISTORIES)
@given(seed=st.integers(0, 1_000_000))
def test_any_history_is_what_pandas_counts(rooms: Rooms, tmp_path_factory: pytest.TempPathFactory, seed: int) -> None:
    room = new_room(rooms, tmp_path_factory.mktemp("history"))
    history = lived(room, seed)
    raw = raw_of(room.database)
    for year, number in {*history.ended, _week(room)[::-1]}:
        agrees(week_of(room, number, year), raw)
    room.database.engine.dispose()


# What is taken back or written late changes what had waited, and the board of then did not know it.
@settings(max_examples=HISTORIES)
@given(seed=st.integers(0, 1_000_000))
def test_what_waited_at_the_end_of_a_week_is_what_the_board_said_then(
    rooms: Rooms, tmp_path_factory: pytest.TempPathFactory, seed: int
) -> None:
    room = new_room(rooms, tmp_path_factory.mktemp("history"))
    history = lived(room, seed, never=("take_back", "late"))
    history.week_ends(0)
    for (year, number), said in history.ended.items():
        stages = [stage for stage in week_of(room, number, year).stages if stage.stage is not Stage.FILED]
        assert {each.stage.value: (each.waiting, each.oldest_since) for each in stages} == said
    room.database.engine.dispose()


def _week(room: Room) -> tuple[int, int]:
    year, number, _ = room.now.astimezone(LONDON).isocalendar()
    return number, year
