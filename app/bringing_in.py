"""Bringing files in: checked, then taken in some sheets at a time with a pause after each, so that scanning goes on.

Whatever stops the program in between, a file goes on from where it was, here or in the next program that serves the room.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlalchemy.exc import SQLAlchemyError

from app.db.engine import Database, reading, transaction
from app.domain.errors import Refused
from app.domain.parcel import ListedSheet, listed_sheet
from app.domain.table import BadRow, BadTable, Row
from app.queries.files import Moving, files_moving
from app.services.desk import Occasion
from app.services.files import (
    IN,
    Sent,
    Staged,
    begin_file,
    file_row,
    forget_file,
    give_up,
    let_go,
    sent_again,
    stage,
    sweep,
)
from app.services.files_in import CHUNK, take_back_some, take_in_some
from app.services.intake import ImportDone, bad_rows
from app.services.naming import Names
from app.services.parcels import in_chunks, open_consignment, open_parcel

Heard = Callable[[int, int], None]
# After each chunk, twice as long as it held the others up: so they have the room to themselves two thirds of the time.
PAUSE = 2.0
LONGEST_PAUSE_S = 1.0
# Nobody who scans is to wait longer than this for one turn; on a slow machine a turn takes fewer sheets.
LONGEST_TURN_S = 0.010
FEWEST = 50
LOOK_EVERY_S = 1.0
INTERRUPTED = "The program was stopped while it was checked. Nothing of it was taken in: choose it again."


def rest(seconds: float) -> None:
    """Let the others have their turn, after a turn that took so long."""
    time.sleep(min(seconds * PAUSE, LONGEST_PAUSE_S))


@dataclass(slots=True)
class Bringer:
    """Who brings files into a room: its database, its clock and zone, and how it rests between two turns."""

    database: Database
    clock: Callable[[], datetime]
    zone: ZoneInfo
    rest: Callable[[float], None] = rest
    heard: Heard = lambda done, total: None
    longest_turn_s: float = LONGEST_TURN_S
    seen: dict[int, Moving] = field(default_factory=dict)

    @property
    def occasion(self) -> Occasion:
        """This moment."""
        return Occasion(self.clock(), self.zone)

    def bring(self, sent: Sent, data: bytes) -> ImportDone:
        """Check a file and take it in, whole or not at all.

        Refused: what `run_import` refuses, with all bad rows in `bad_of`; nothing is taken in then.
        """
        with transaction(self.database) as session:
            file_id = begin_file(session, sent, self.occasion)
        try:
            staged = self._check(file_id, sent, data)
        except Refused:
            # Whoever sent it is told at once; nothing of it is kept.
            with transaction(self.database) as session:
                forget_file(session, file_id)
            raise
        self.take_in(file_id)
        with reading(self.database) as session:
            row = file_row(session, file_id)
        if row is None or row["state"] != IN:
            raise BadList((BadRow(0, "", "The file was withdrawn while it was taken in."),))
        return ImportDone(sent.consignment, staged.new, staged.unchanged)

    def check_again(self, file_id: int, data: bytes) -> None:
        """Check a file once more whose checking was interrupted, from its beginning."""
        with reading(self.database) as session:
            row = file_row(session, file_id)
            sent = sent_again(session, row) if row is not None else None
        if sent is not None:
            self._sweep(file_id)
            with suppress(Refused):
                self._check(file_id, sent, data)

    def take_in(self, file_id: int) -> None:
        """Take the sheets of a checked file in, from where it was; then throw away what it needs no more."""
        names, many = Names(), CHUNK
        for _ in self._turns():
            with transaction(self.database) as session:
                begun = time.perf_counter()
                reached = take_in_some(session, file_id, self.occasion, names, many)
            many = self._fitting(many, time.perf_counter() - begun)
            if reached.rows:
                self.heard(reached.done, reached.rows)
            if reached.is_over:
                break
        self._sweep(file_id)

    def take_back(self, file_id: int) -> None:
        """Take back what came in of a file that was withdrawn."""
        for _ in self._turns():
            with transaction(self.database) as session:
                reached = take_back_some(session, file_id, self.occasion)
            if reached.is_over:
                break
        self._sweep(file_id)

    def go_on(self, uploads: Path) -> None:
        """Go on with every file that nobody has moved since the last look: one look is no reason yet, another program may
        have it in hand. `uploads` is where files are held until they are checked.
        """
        with reading(self.database) as session:
            moving = {each.file_id: each for each in files_moving(session)}
        stuck = [each for file_id, each in moving.items() if self.seen.get(file_id) == each]
        self.seen = moving
        for each in stuck:
            self._go_on(each, uploads)
            self.seen.pop(each.file_id, None)

    def _go_on(self, file: Moving, uploads: Path) -> None:
        held = uploads / file.digest
        if file.state == "checked" and not held.is_file():
            with transaction(self.database) as session:
                give_up(session, file.file_id, self.occasion, INTERRUPTED)
        elif file.state == "checked":
            self.check_again(file.file_id, held.read_bytes())
            held.unlink(missing_ok=True)
        if file.state in ("checked", "going"):
            self.take_in(file.file_id)
        else:
            self.take_back(file.file_id)

    def _check(self, file_id: int, sent: Sent, data: bytes) -> Staged:
        try:
            staged = self._staged(file_id, sent, data)
            if staged.bad:
                raise BadList(tuple(sorted(staged.bad, key=lambda each: (each.file, each.line))))
        except Refused as refused:
            with transaction(self.database) as session:
                give_up(session, file_id, self.occasion, refused.refusals[0].words)
            self._sweep(file_id)
            raise
        with transaction(self.database) as session:
            let_go(session, file_id, staged.new, self.occasion)
        return staged

    def _staged(self, file_id: int, sent: Sent, data: bytes) -> Staged:
        with reading(self.database) as session:
            consignment = open_consignment(session, sent.consignment)
            try:
                listing, parcel = open_parcel(session, data, self.occasion, sent.ways)
            except BadTable as fault:
                raise BadList((fault.bad,)) from fault
        staged, turns = Staged(file_id, consignment["id"], parcel, 0, 0, []), self._turns()
        rows = (listed_sheet(row, parcel) if isinstance(row, Row) else row for row in listing.rows())
        try:
            for chunk in in_chunks(_right(rows, staged.bad)):
                next(turns)
                with transaction(self.database) as session:
                    if not stage(session, staged, chunk):
                        raise BadList((BadRow(0, "", "The file was withdrawn while it was checked."),))
        except BadTable as fault:
            staged.bad.append(fault.bad)
        return staged

    def _fitting(self, many: int, took: float) -> int:
        """How many sheets the next turn takes, when so many took so long."""
        return max(FEWEST, min(CHUNK, int(many * self.longest_turn_s / max(took, 1e-6))))

    def _turns(self) -> Iterator[None]:
        """Turn after turn, with a rest between two of them."""
        while True:
            begun = time.perf_counter()
            yield
            self.rest(time.perf_counter() - begun)

    def _sweep(self, file_id: int) -> None:
        for _ in self._turns():
            with transaction(self.database) as session:
                if not sweep(session, file_id):
                    return


class BadList(Refused):
    """A file that cannot be imported; `bad` are all its bad rows."""

    def __init__(self, bad: tuple[BadRow, ...]) -> None:
        self.bad = bad
        super().__init__(bad_rows(bad))


def _right(rows: Iterator[ListedSheet | BadRow], bad: list[BadRow]) -> Iterator[ListedSheet]:
    for row in rows:
        if isinstance(row, BadRow):
            bad.append(row)
        else:
            yield row


def keep_bringing(bringer: Bringer, uploads: Path, stopped: Callable[[float], bool]) -> None:
    """Look every second whether a file waits to go on, until `stopped` says so after waiting that long."""
    while not stopped(LOOK_EVERY_S):
        # What cannot be done now is done at the next look.
        with suppress(SQLAlchemyError, Refused):
            bringer.go_on(uploads)
