"""The command that writes what goes out of the room: sheets as a table or an archive, the log, and hand-overs."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from app.clock import utc_now
from app.config import Config
from app.serving import Failed, progress

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from app.db.engine import Database
    from app.queries.out_sheets import Asked

KINDS = ("sheets", "archive", "log", "hand-over")
TITLE, LOG = "Sheets of a preparation room", "The log of a preparation room"
Heard = Callable[[int, int], None]
Pieces = Iterable[bytes]


def export(asked: argparse.Namespace, config: Config, database: Database,
           manager_id: Callable[[Session, str], int]) -> None:  # fmt: skip
    """Write what is asked for to a file. Failed, in a sentence, for what is not there; then there is no file."""
    from app.db.engine import reading

    if asked.new is not None:
        _make(asked, config, database, manager_id)
    write = {"sheets": _sheets, "archive": _archive, "log": _log, "hand-over": _hand_over}[asked.what]
    try:
        with reading(database) as session, _bar() as heard:
            many = _write(asked.file, write(session, asked, config, heard))
    except ValueError as error:
        raise Failed(str(error)) from error
    print(f"Written to {asked.file}: {many:,} bytes.")


def _asked(asked: argparse.Namespace, heard: Heard) -> Asked:
    from app.queries.out_sheets import Asked
    from app.queries.sieve import Sieve

    sieve = Sieve(stage=asked.stage, cabinet=asked.cabinet, shelf=asked.shelf)
    return Asked(asked.consignment, sieve, asked.withdrawn, asked.exact_places, heard)


def _sheets(session: Session, asked: argparse.Namespace, config: Config, heard: Heard) -> Pieces:
    from app.domain.zip_out import in_pieces
    from app.queries.out_sheets import outgoing, table_out

    found = outgoing(session, _asked(asked, heard), utc_now(), config.zone)
    return in_pieces(table_out(found, bom=not asked.no_mark))


def _archive(session: Session, asked: argparse.Namespace, config: Config, heard: Heard) -> Pieces:
    from app.domain.zip_out import zipped
    from app.queries.out_sheets import archive_out, outgoing

    now: datetime = utc_now()
    found = outgoing(session, _asked(asked, heard), now, config.zone)
    return zipped(archive_out(found, asked.title or TITLE, now))


def _log(session: Session, asked: argparse.Namespace, config: Config, heard: Heard) -> Pieces:
    from app.domain.zip_out import in_pieces
    from app.queries.out_log import LogAsked, log_out

    wanted = LogAsked(asked.since, asked.until, asked.consignment, asked.workers, asked.everything, heard)
    return in_pieces(log_out(session, wanted, asked.title or LOG, config.zone))


def _hand_over(session: Session, asked: argparse.Namespace, config: Config, _heard: Heard) -> Pieces:
    from app.domain.zip_out import in_pieces, zipped
    from app.queries.out_hand_overs import hand_over, hand_over_archive, hand_over_table, hand_overs, no_such

    if not asked.number and not (made := hand_overs(session)):
        raise Failed("Nothing was handed over yet. Make a hand-over with --new, or on the page Hand on.")
    number = asked.number or made[0].number
    line = hand_over(session, number)
    if line is None:
        raise Failed(no_such(number))
    if asked.file.suffix.lower() == ".zip":
        return zipped(hand_over_archive(session, line, asked.title or TITLE, config.zone), packed=False)
    return in_pieces(hand_over_table(session, line))


def _make(asked: argparse.Namespace, config: Config, database: Database,
          manager_id: Callable[[Session, str], int]) -> None:  # fmt: skip
    from app.db.engine import reading, transaction
    from app.services.hand_over import make_hand_over

    if asked.what != "hand-over":
        raise Failed("With --new a hand-over is made: write it with export hand-over.")
    with reading(database) as session:
        by = manager_id(session, asked.by)
    try:
        with transaction(database) as session:
            number = make_hand_over(session, asked.new, utc_now(), config.zone, by, exact_places=asked.exact_places)
    except ValueError as error:
        raise Failed(str(error)) from error
    asked.number = number
    print(f"Hand-over {number} is made.", file=sys.stderr)


def _write(file: Path, pieces: Pieces) -> int:
    """Write all or nothing: what is cut short never bears the name of the file. Returns the bytes."""
    part, many = file.with_name(f"{file.name}.part"), 0
    try:
        try:
            with part.open("wb") as written:
                for piece in pieces:
                    many += written.write(piece)
            part.replace(file)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise Failed(f"The file {file} cannot be written: {error.strerror}.") from error
    return many


@contextmanager
def _bar() -> Iterator[Heard]:
    """A bar on standard error that says how far it is, where somebody looks on."""
    if not sys.stderr.isatty():
        yield lambda _done, _of: None
        return
    with progress("Handing on") as heard:
        yield heard
