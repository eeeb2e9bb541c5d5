"""Bringing files in: checked, then taken in some sheets at a time with a pause after each, so that scanning goes on.

Whatever stops the program in between, a file goes on from where it was, here or in the next program that serves the room.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from app.db.engine import Database, apart, checkpoint, others_mark, reading, transaction
from app.domain.errors import Refused
from app.domain.source import Data, OnDisk
from app.domain.table import BadRow, BadTable
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
from app.services.files_in import take_back_some, take_in_some
from app.services.intake import ImportDone, bad_rows
from app.services.list_rows import in_chunks, right_rows
from app.services.naming import Names
from app.services.pace import LONGEST_TURN_S, Pace, rest
from app.services.parcels import open_consignment, open_parcel
from app.services.staged_rows import said

Heard = Callable[[int, int], None]
LOOK_EVERY_S = 1.0
# So many rows are written before they are carried over into the database's file.
TIDY_AFTER = 1000
INTERRUPTED = "The program was stopped while it was checked. Nothing of it was taken in: choose it again."


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
    pace: Pace = field(init=False)
    line: Database | None = None
    untidy: int = 0

    def __post_init__(self) -> None:
        self.pace = Pace(self.rest, self.longest_turn_s)

    @property
    def occasion(self) -> Occasion:
        """This moment."""
        return Occasion(self.clock(), self.zone)

    def bring(self, sent: Sent, data: Data) -> ImportDone:
        """Check a file and take it in, whole or not at all.

        Refused: what `run_import` refuses, with all bad rows in a BadList; nothing is taken in then.
        """
        with self._writes() as session:
            file_id = begin_file(session, sent, self.occasion)
        with self._apart():
            try:
                staged = self._check(file_id, sent, data)
            except Refused:
                # Whoever sent it is told at once; nothing of it is kept.
                with self._writes() as session:
                    forget_file(session, file_id)
                raise
            self.take_in(file_id)
        with reading(self.database) as session:
            row = file_row(session, file_id)
        if row is None or row["state"] != IN:
            raise BadList((BadRow(0, "", "The file was withdrawn while it was taken in."),))
        return ImportDone(sent.consignment, staged.new, staged.unchanged)

    def check_again(self, file_id: int, data: Data) -> None:
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
        names, pace = Names(), self.pace
        for _ in pace.turns():
            with self._writes() as session:
                begun = time.perf_counter()
                pace.looks(others_mark(session))
                reached = take_in_some(session, file_id, self.occasion, names, pace.many)
                pace.took(pace.many, time.perf_counter() - begun)
            self._tidy(pace.many)
            if reached.rows:
                self.heard(reached.done, reached.rows)
            if reached.is_over:
                break
        self._sweep(file_id)

    def take_back(self, file_id: int) -> None:
        """Take back what came in of a file that was withdrawn."""
        for _ in self.pace.turns():
            with self._writes() as session:
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
            with self._apart():
                self._go_on(each, uploads)
            self.seen.pop(each.file_id, None)

    def _go_on(self, file: Moving, uploads: Path) -> None:
        held = uploads / file.digest
        if file.state == "checked" and not held.is_file():
            with self._writes() as session:
                give_up(session, file.file_id, self.occasion, INTERRUPTED)
        elif file.state == "checked":
            self.check_again(file.file_id, OnDisk(held))
            held.unlink(missing_ok=True)
        if file.state in ("checked", "going"):
            self.take_in(file.file_id)
        else:
            self.take_back(file.file_id)

    def _check(self, file_id: int, sent: Sent, data: Data) -> Staged:
        try:
            staged = self._staged(file_id, sent, data)
            if staged.bad:
                raise BadList(tuple(sorted(staged.bad, key=lambda each: (each.file, each.line))))
        except Refused as refused:
            with self._writes() as session:
                give_up(session, file_id, self.occasion, refused.refusals[0].words)
            self._sweep(file_id)
            raise
        with self._writes() as session:
            let_go(session, file_id, staged.new, self.occasion)
        return staged

    def _staged(self, file_id: int, sent: Sent, data: Data) -> Staged:
        with reading(self.database) as session:
            consignment = open_consignment(session, sent.consignment)
            try:
                listing, parcel = open_parcel(session, data, self.occasion, sent.ways)
            except BadTable as fault:
                raise BadList((fault.bad,)) from fault
        staged, pace = Staged(file_id, consignment["id"], parcel, 0, 0, []), self.pace
        try:
            for chunk in pace.each(in_chunks(right_rows(listing, parcel, staged.bad), lambda: pace.many)):
                told = [said(sheet) for sheet in chunk]
                with self._writes() as session:
                    pace.looks(others_mark(session))
                    if not stage(session, staged, chunk, told):
                        raise BadList((BadRow(0, "", "The file was withdrawn while it was checked."),))
                self._tidy(len(chunk))
        except BadTable as fault:
            staged.bad.append(fault.bad)
        return staged

    @contextmanager
    def _apart(self) -> Iterator[None]:
        """What is done meanwhile is done beside the others, by a line of its own."""
        self.pace = Pace(self.rest, self.longest_turn_s)
        with apart(self.database) as self.line:
            try:
                yield
            finally:
                self.line = None

    @contextmanager
    def _writes(self) -> Iterator[Session]:
        with transaction(self.line or self.database) as session:
            yield session
        if self.line is not None and self.line is not self.database:
            self.database.writes += 1

    def _tidy(self, written: int) -> None:
        """What was written is carried over between two turns, now and then, so that no scan has to do it."""
        self.untidy += written
        if self.line is not None and self.untidy >= TIDY_AFTER:
            self.untidy = 0
            checkpoint(self.line)

    def _sweep(self, file_id: int) -> None:
        for _ in self.pace.turns():
            with self._writes() as session:
                left = sweep(session, file_id)
            self._tidy(left)
            if not left:
                return


class BadList(Refused):
    """A file that cannot be imported; `bad` are all its bad rows."""

    def __init__(self, bad: tuple[BadRow, ...]) -> None:
        self.bad = bad
        super().__init__(bad_rows(bad))


def keep_bringing(bringer: Bringer, uploads: Path, stopped: Callable[[float], bool]) -> None:
    """Look every second whether a file waits to go on, until `stopped` says so after waiting that long."""
    while not stopped(LOOK_EVERY_S):
        # What cannot be done now is done at the next look.
        with suppress(SQLAlchemyError, Refused):
            bringer.go_on(uploads)
