"""The server is killed in the middle of the work, again and again, and its files are copied while it stands still."""

from __future__ import annotations

import shutil
import signal
import threading
import time
from pathlib import Path

from sqlalchemy import func, select

from app.db.engine import reading
from app.db.models import Scan
from tests.faults.conftest import Place
from tests.faults.killing import kill_often
from tests.faults.load import staff
from tests.faults.served import FILES, differences, opened

KILLS = 4


def test_no_answered_scan_is_lost_and_none_is_written_twice_however_often_the_server_is_killed(migrated: Path) -> None:
    kills = kill_often(migrated, KILLS, seed=time.time_ns())
    assert kills.is_well and kills.runs == KILLS, kills
    # The comparison is worth nothing if nobody was answered.
    assert kills.acknowledged > 0, kills


def test_a_copy_of_the_three_files_taken_while_the_program_stands_still_opens_whole(
    place: Place, tmp_path: Path
) -> None:
    senders, stop = staff(place.keys, "copy"), threading.Event()
    threads = [threading.Thread(target=sender.run, args=(place.served.port, stop)) for sender in senders]
    for thread in threads:
        thread.start()
    copies = []
    for turn in range(3):
        until = sum(len(each.answered) for each in senders) + 6
        while sum(len(each.answered) for each in senders) < until and any(each.is_alive() for each in threads):
            time.sleep(0.002)
        place.served.signal(signal.SIGSTOP)
        # What was answered by now has come, or comes within a moment: nobody writes any more.
        answered = {scan_id for each in senders for scan_id in list(each.answered)}
        copies.append((_copied(place.folder, tmp_path / f"copy-{turn}"), answered))
        place.served.signal(signal.SIGCONT)
    stop.set()
    for thread in threads:
        thread.join()
    for folder, answered in copies:
        assert differences(folder) == []
        with opened(folder) as database, reading(database) as session:
            assert answered <= set(session.execute(select(Scan.scan_id)).scalars())
    assert len(copies[0][1]) < len(copies[-1][1]) and not any(each.wrong for each in senders)


def test_a_copy_without_its_journal_is_no_copy_which_is_why_all_three_files_are_named(
    place: Place, tmp_path: Path
) -> None:
    """The check above is worth nothing if the file alone held everything."""
    sender, stop = staff(place.keys, "half")[0], threading.Event()
    thread = threading.Thread(target=sender.run, args=(place.served.port, stop))
    thread.start()
    while len(sender.answered) < 5 and thread.is_alive():
        time.sleep(0.002)
    place.served.signal(signal.SIGSTOP)
    alone = _copied(place.folder, tmp_path / "alone", FILES[:1])
    place.served.signal(signal.SIGCONT)
    stop.set()
    thread.join()
    with opened(alone) as database, reading(database) as session:
        there = session.execute(
            select(func.count()).select_from(Scan).where(Scan.scan_id.startswith("half"))
        ).scalar_one()
    assert there < len(sender.answered)


def _copied(folder: Path, to: Path, files: tuple[str, ...] = FILES) -> Path:
    to.mkdir()
    for name in files:
        if (folder / name).exists():
            shutil.copy(folder / name, to / name)
    return to
