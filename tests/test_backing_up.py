"""What the served room does by itself: one backup a day in a quiet moment, after the hour or when it is started next."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from freezegun import freeze_time
from sqlalchemy import text

from app.backing_up import AGAIN_AFTER, LONGEST_WAIT, QUIET, Keeper, keep_backups, run_apart
from app.config import Config
from app.db.engine import reading, sqlite_url, transaction
from app.domain.numbers import COMMANDS
from app.queries.backups import backups_kept
from app.services.backup import Backup, back_up, keep_backup
from app.services.backup_list import FILE_NAME, read_list
from app.services.backup_places import name_place
from app.services.given_list import FILE_NAME as GIVEN
from app.services.given_list import read_given
from app.services.people import new_badge
from app.services.room import add_bundle, set_house_rule
from tests.room import LONDON, TQX, WEDNESDAY, Room

pytestmark = pytest.mark.sqlite_only("a room on a server is backed up by the server's own tools")

MINUTE = timedelta(minutes=1)
AT_FOUR = WEDNESDAY.replace(hour=16)


class Kept:
    """A keeper of the room's backups in a room whose clock the test turns; what it made, and with which wish."""

    def __init__(self, room: Room, data: Path, why: str = "") -> None:
        self.room, self.data, self.why = room, data, why
        self.made: list[datetime] = []
        self.wishes: list[bool] = []
        self.now = room.now
        self.keeper = Keeper(room.database, data, LONDON, self._run)

    def _run(self, keep_all: bool) -> str:
        self.wishes.append(keep_all)
        if self.why:
            return self.why
        with reading(self.room.database) as session:
            found: Backup = back_up(session, self.data / "backups", self.now, LONDON, keep_all=keep_all)
        with transaction(self.room.database) as session:
            keep_backup(session, found, self.now)
        self.made.append(self.now)
        return ""

    def until(
        self, end: datetime, step: timedelta = MINUTE, busy: Callable[[datetime], bool] = lambda _: False
    ) -> None:
        """Time goes by; the keeper looks every minute, and somebody scans whenever it is busy."""
        while self.now < end:
            self.now += step
            if busy(self.now):
                self.room.now = self.now
                self.room.sheet_ready()
            self.keeper.look(self.now)

    def off_until(self, moment: datetime) -> None:
        """The program is off until then."""
        self.now = moment
        self.keeper = Keeper(self.room.database, self.data, LONDON, self._run)


@pytest.fixture
def kept(room: Room, tmp_path: Path) -> Kept:
    found = Kept(room, tmp_path / "data")
    found.data.mkdir()
    # One of this morning, so that the next is due at four.
    found._run(False)
    found.made.clear()
    found.wishes.clear()
    return found


def test_once_a_day_after_the_hour_when_nobody_has_scanned_for_two_minutes(kept: Kept) -> None:
    kept.until(AT_FOUR + timedelta(days=3, hours=1))
    assert kept.made == [AT_FOUR + timedelta(days=day) for day in range(4)]


def test_while_somebody_scans_it_waits_for_a_quiet_moment_and_no_longer_than_an_hour(kept: Kept) -> None:
    last_scan = AT_FOUR + 20 * MINUTE
    kept.until(AT_FOUR + timedelta(hours=2), busy=lambda now: AT_FOUR - 5 * MINUTE <= now <= last_scan)
    assert kept.made == [last_scan + QUIET]
    kept.made.clear()
    next_day = AT_FOUR + timedelta(days=1)
    kept.until(next_day + timedelta(hours=2), busy=lambda now: next_day - 5 * MINUTE <= now)
    assert kept.made == [next_day + LONGEST_WAIT]


def test_a_computer_that_was_off_at_the_hour_backs_up_at_the_first_quiet_moment_after(kept: Kept) -> None:
    kept.until(AT_FOUR - timedelta(hours=1))
    monday = AT_FOUR + timedelta(days=5, hours=-8)
    kept.off_until(monday)
    kept.until(monday + timedelta(hours=1))
    # The first look is a minute later; then it is quiet for two.
    assert kept.made == [monday + MINUTE + QUIET]
    kept.until(monday + timedelta(hours=7))
    assert len(kept.made) == 1


def test_the_hour_is_the_room_s_rule_and_follows_summer_time(kept: Kept) -> None:
    with transaction(kept.room.database) as session:
        set_house_rule(session, "backup_hour", 19, "we close at seven", kept.room.now)
    # 28 March 2027: the clocks go forward, and 19:00 in London is 18:00 in UTC.
    kept.off_until(datetime.fromisoformat("2027-03-27T12:00Z"))
    kept.until(datetime.fromisoformat("2027-03-28T23:00Z"), step=5 * MINUTE)
    first, *rest = kept.made
    assert first < datetime.fromisoformat("2027-03-27T13:00Z")
    assert rest == [datetime.fromisoformat("2027-03-27T19:00Z"), datetime.fromisoformat("2027-03-28T18:00Z")]


def test_while_the_clock_is_in_doubt_nothing_is_thrown_away(kept: Kept) -> None:
    kept.keeper.doubtful = lambda: True
    kept.until(AT_FOUR + timedelta(minutes=30))
    assert kept.wishes == [True] and len(kept.made) == 1


def test_a_backup_that_fails_is_tried_again_after_an_hour_and_said_until_there_is_one(kept: Kept) -> None:
    kept.why = "The disk is full. Make room on it, then try again."
    kept.until(AT_FOUR + timedelta(minutes=90))
    assert len(kept.wishes) == 2
    with reading(kept.room.database) as session:
        assert backups_kept(session).failed == kept.why
    kept.why = ""
    kept.until(AT_FOUR + 3 * AGAIN_AFTER)
    assert len(kept.made) == 1
    with reading(kept.room.database) as session:
        assert backups_kept(session).failed == ""


def test_a_room_in_which_nothing_was_ever_written_is_not_backed_up(
    database: object, room: Room, tmp_path: Path, kept: Kept
) -> None:
    with room.database.engine.begin() as connection:
        connection.execute(text("DELETE FROM change"))
        connection.execute(text("DELETE FROM setting"))
    kept.off_until(AT_FOUR)
    kept.until(AT_FOUR + timedelta(hours=3))
    assert kept.made == []


def test_the_list_follows_every_change_and_catches_up_where_a_place_was_out_of_reach(
    kept: Kept, tmp_path: Path
) -> None:
    room, there = kept.room, tmp_path / "other"
    there.mkdir()
    with transaction(room.database) as session:
        name_place(session, str(there), kept.data, room.now, by=None)
    (folder,) = there.iterdir()
    kept.until(kept.now + MINUTE)
    there.rename(tmp_path / "carried-off")
    kept.until(kept.now + 11 * MINUTE)
    with transaction(room.database) as session:
        new_badge(session, room.worker["olwen"], kept.now, by=None)
    kept.until(kept.now + MINUTE)
    here = read_list(kept.data / "backups" / FILE_NAME)
    assert [(each.subject, each.id, each.what) for each in here] == [("worker", room.worker["olwen"], "new badge")]
    with reading(room.database) as session:
        assert backups_kept(session).state == "gone"
    (tmp_path / "carried-off").rename(there)
    kept.until(kept.now + 11 * MINUTE)
    assert read_list(folder / FILE_NAME) == here
    with reading(room.database) as session:
        assert backups_kept(session).state == "same-disk"


def test_how_far_the_numbers_and_cards_have_come_is_written_within_a_look_and_only_then(kept: Kept) -> None:
    room, path = kept.room, kept.data / "backups" / GIVEN
    kept.until(kept.now + MINUTE)
    first = read_given(path)
    assert ("KB", 6) not in first and ("TQX", 6) not in first and first["KS", 4] >= 16
    written = path.stat().st_mtime_ns
    room.sheet_ready()
    kept.until(kept.now + MINUTE)
    assert path.stat().st_mtime_ns == written, "A scan that gives nothing out writes no list."
    answer = room.scans(COMMANDS["no-number"], "intake", facts={"on_label": "Geum urbanum", "is": "new"})
    with transaction(room.database) as session:
        add_bundle(session, "tray 1")
    kept.until(kept.now + MINUTE)
    assert TQX.spell(read_given(path)["TQX", 6]) == answer.slip and read_given(path)["KB", 6] > 0


def test_a_copy_that_failed_is_not_forgotten_because_the_place_is_there(kept: Kept, tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    with transaction(kept.room.database) as session:
        name_place(session, str(tmp_path / "other"), kept.data, kept.now, by=None)
        keep_backup(session, Backup(tmp_path / "x", 1, 0, "failed", "No space left."), kept.now)
    kept.until(kept.now + timedelta(minutes=30))
    with reading(kept.room.database) as session:
        assert backups_kept(session).state == "failed"
    kept.until(AT_FOUR + timedelta(hours=1))
    with reading(kept.room.database) as session:
        assert backups_kept(session).state == "same-disk"


def test_it_is_made_by_a_program_of_its_own_that_finds_the_room_and_says_why_it_cannot(
    room: Room, tmp_path: Path
) -> None:
    room.sheet_ready()
    config = Config(tmp_path, sqlite_url(tmp_path / "blotter.sqlite3"), LONDON, "a key for the tests only")
    assert run_apart(config)(False) == ""
    (copy,) = (tmp_path / "backups").glob("*.sqlite3")
    with reading(room.database) as session:
        assert backups_kept(session).last_at is not None
    for path in (tmp_path / "backups").iterdir():
        path.unlink()
    (tmp_path / "backups").rmdir()
    (tmp_path / "backups").write_text("a file is in the way")
    why = run_apart(config)(False)
    assert "cannot be written" in why and "\n" not in why


def test_the_thread_looks_by_the_computer_s_clock_until_it_is_told_to_stop(kept: Kept) -> None:
    class Turns:
        def __init__(self) -> None:
            self.left = 4

        def wait(self, _: float) -> bool:
            self.left -= 1
            return self.left == 0

    kept.why = "not now"
    with freeze_time(AT_FOUR, auto_tick_seconds=180):
        keep_backups(kept.keeper, Turns())  # type: ignore[arg-type]
    assert len(kept.wishes) == 1
