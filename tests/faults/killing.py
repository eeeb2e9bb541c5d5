"""Killing the server again and again while five work at it: what was answered is there, once, and what was not is there once or not."""

from __future__ import annotations

import random
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import func, select

from app.db.engine import reading
from app.db.models import Entry, Scan, Sheet
from tests.faults.load import Numbers, Sender, Sent, staff
from tests.faults.served import Nursery, Served, differences, furnished, opened, serving

# After so many kills a new room is begun, so that the log that is read again after every kill stays short.
KILLS_A_ROOM = 40
LONGEST_S = 5.0
# So many of the last answers of everybody are looked for after each kill; all of them at the end of a room.
LAST = 50


@dataclass
class Kills:
    """What came of all the kills: scans acknowledged and lost, written twice or in part, answered otherwise, and what else was wrong."""

    runs: int = 0
    acknowledged: int = 0
    lost: int = 0
    twice: int = 0
    otherwise: int = 0
    unanswered_but_written: int = 0
    wrong: list[str] = field(default_factory=list)

    @property
    def is_well(self) -> bool:
        return not (self.lost or self.twice or self.otherwise or self.wrong)

    def __str__(self) -> str:
        return (
            f"{self.runs:,} kills; scans acknowledged {self.acknowledged:,}, lost {self.lost}, written twice or in part {self.twice}, "
            f"answered otherwise when sent again {self.otherwise}; written but not yet answered at a kill "
            f"{self.unanswered_but_written:,}; other {len(self.wrong)} {self.wrong[:3]}"
        )


def kill_often(migrated: Path, runs: int, seed: int, *, told: bool = False, until_s: float = 1e9) -> Kills:
    """Kill so many times, or until so many seconds have passed, in as many rooms as that takes."""
    chance, kills, nursery, begun = random.Random(seed), Kills(), Nursery(), time.monotonic()
    try:
        while kills.runs < runs and time.monotonic() - begun < until_s:
            with tempfile.TemporaryDirectory(prefix="blotter-kill-") as name:
                folder = Path(name)
                keys = furnished(migrated, folder)
                senders = staff(keys, f"k{kills.runs}", Numbers())
                with serving(folder, nursery) as served:
                    for _ in range(min(KILLS_A_ROOM, runs - kills.runs)):
                        _one_kill(served, senders, kills, chance)
                    served.up()
                    kills.otherwise += sum(sender.again(served.port) for sender in senders)
                _look(folder, senders, kills, whole=True)
                kills.acknowledged += _answers(senders)
            if told:
                print(f"{time.monotonic() - begun:6.0f} s  {kills}", flush=True)
    finally:
        nursery.close()
    return kills


def _one_kill(served: Served, senders: list[Sender], kills: Kills, chance: random.Random) -> None:
    if chance.random() < 0.05:
        # Before it has opened its doors, too.
        served.begin()
        time.sleep(chance.random() * 0.2)
    else:
        served.up()
    stop = threading.Event()
    threads = [threading.Thread(target=sender.run, args=(served.port, stop)) for sender in senders]
    for thread in threads:
        thread.start()
    # At no particular point of the work: after some answers, or after none.
    until, patience = _answers(senders) + chance.choice((0, 1, 3, 8, 20, 40)), time.monotonic() + LONGEST_S
    while _answers(senders) < until and time.monotonic() < patience:
        time.sleep(0.001)
    time.sleep(chance.random() * 0.03)
    served.kill()
    stop.set()
    for thread in threads:
        thread.join()
    kills.runs += 1
    for sender in senders:
        kills.wrong += sender.wrong
        sender.wrong.clear()
    _look(served.folder, senders, kills, whole=False)


def _answers(senders: list[Sender]) -> int:
    return sum(len(sender.answered) for sender in senders)


def _look(folder: Path, senders: list[Sender], kills: Kills, *, whole: bool) -> None:
    """Hold the room against what was answered: after a kill the last of everybody, at the end all."""
    kills.wrong += differences(folder)
    room = _Written(folder)
    kills.twice += room.twice
    for sender in senders:
        for sent, _ in list(sender.answered.values())[0 if whole else -LAST :]:
            kills.lost += sent.scan_id not in room.scans or room.entries(sent) == 0
            kills.twice += room.entries(sent) not in (0, sent.entries)
        if sender.held is not None:
            was_written = sender.held.scan_id in room.scans
            kills.unanswered_but_written += was_written and not whole
            kills.twice += room.entries(sender.held) != (sender.held.entries if was_written else 0)


class _Written:
    """What stands in a room that was killed, by scan; of a list by its sheets, for those are no scans of their own."""

    def __init__(self, folder: Path) -> None:
        taken_in = select(Sheet.number, func.count()).join(
            Entry, (Entry.subject_id == Sheet.id) & (Entry.step == "take-in")
        )
        with opened(folder) as database, reading(database) as session:
            self.scans = set(session.execute(select(Scan.scan_id)).scalars())
            found = select(Entry.scan_id, func.count()).where(Entry.scan_id.is_not(None)).group_by(Entry.scan_id)
            self._by_scan = {row[0]: row[1] for row in session.execute(found)}
            self._sheets = {row[0]: row[1] for row in session.execute(taken_in.group_by(Sheet.number))}

    @property
    def twice(self) -> int:
        """Sheets that were taken in more than once."""
        return sum(count > 1 for count in self._sheets.values())

    def entries(self, sent: Sent) -> int:
        """How many entries there are of what was sent."""
        if "sheets" in sent.body:
            return sum(each["catalogNumber"] in self._sheets for each in sent.body["sheets"])
        return self._by_scan.get(sent.scan_id or "", 0)
