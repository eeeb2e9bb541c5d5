"""Putting a room back from a backup: looked through, upgraded and told what it missed, before it takes the place of the other.

Until the last step everything happens to a copy; the last step is one (`db/swapping.py`).
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TypeVar

from sqlalchemy.orm import Session

from app.backing_up import FOLDER
from app.config import Config
from app.db.copies import copy_whole, fits_its_sum, missing_guards
from app.db.engine import Database, open_database, reading, sqlite_url, transaction
from app.db.fitness import Unfit, file_of, state_of
from app.db.lock import alone_with
from app.db.models import Entry, table_of
from app.db.swapping import BESIDE, is_half_way, put_in_place
from app.db.upgrade import upgrade
from app.holdings import Holding, given_in, held_now, holding, lines_in
from app.queries.named_texts import named_texts
from app.room_files import Failed, make_sums
from app.services.audit import audit
from app.services.backup import NOT_ONE_FILE
from app.services.backup_list import FILE_NAME, Line, bring_list_up, read_list, still_to_apply
from app.services.backup_places import place_of
from app.services.codes_given import never_make_again, never_mint_again, never_number_again
from app.services.forgetting_names import replace_name
from app.services.given_list import FILE_NAME as GIVEN
from app.services.given_list import furthest, read_given
from app.services.people import has_manager
from app.services.practice_room import FILE_NAME as PRACTICE
from app.services.restoring import (
    apply_again,
    count_of,
    end_sessions,
    names_to_go,
    tell_restored,
    texts_again,
)

ENTRY = table_of(Entry)
T = TypeVar("T")
NO_BACKUP = "is no backup of a room, so nothing was changed. Backups are called blotter-…Z.sqlite3."


@dataclass(frozen=True, slots=True)
class Passed:
    """How many numbers of sheets, and codes of cards, are passed over, because they were given out since."""

    numbers: int
    cards: int


@dataclass(frozen=True, slots=True)
class PutBack:
    """A room that was put back: what it holds, what was taken away again by kind, what is passed over and whether that is
    known at all, where the room as it was is kept, if there was one, how many differences the audit found, and whether a
    manager can sign in.
    """

    holds: Holding
    again: Counter[str]
    passed: Passed
    is_known: bool
    kept: Path | None
    differences: int
    is_managed: bool


# Asks whether to go on: what the backup holds, and what the room holds now, if that can be read.
Ask = Callable[[Holding, Holding | None], bool]


def put_back(config: Config, backup: Path, now: datetime, ask: Ask, *, differing: bool = False) -> PutBack:
    """Put the room back from a backup. Failed or Unfit with a sentence where that cannot be: then the room is as it was.

    One whose log and room differ is put back only where it is asked for (`differing`).
    """
    room = file_of(config.database_url)
    if room is None:
        raise Failed(NOT_ONE_FILE)
    if backup.resolve() == room.resolve():
        raise Failed(f"{backup} is the room's own database, and no backup of it.")
    with alone_with(config.database_url), _beside(room) as new:
        _bring_up(backup, new)
        database = open_database(sqlite_url(new))
        try:
            make_sums(database, config.zone)
            holds = holding(database)
            if not ask(holds, held_now(room)):
                raise Failed("Nothing was changed.")
            again, passed, known = _tell(database, config, backup, room, now)
            differences = _proved(database, config, differing=differing)
            is_managed = _is_managed(database)
        finally:
            database.engine.dispose()
        kept = (
            room.with_name(f"{room.stem}-before-restore-{now:%Y%m%dT%H%M%SZ}{room.suffix}") if room.exists() else None
        )
        put_in_place(new, room, kept)
    _afterwards(config, room)
    return PutBack(holds, again, passed, known, kept, differences, is_managed)


@contextmanager
def _beside(room: Path) -> Iterator[Path]:
    """A name beside the room for the copy that is worked on; whatever of it is left is thrown away, but when it was being
    put in place: then the next command goes on with that. Failed for a disk that does not take it.
    """
    new = room.with_name(f"{room.name}.restoring")
    _throw_away(new)
    try:
        yield new
    except OSError as error:
        after = "The next command goes on with it." if is_half_way(room) else "Nothing was changed."
        raise Failed(f"The folder {room.parent} cannot be written in: {error.strerror}. {after}") from error
    finally:
        if not is_half_way(room):
            _throw_away(new)


def _bring_up(backup: Path, new: Path) -> None:
    """A whole copy of the backup, of this program's revision, with every guard of the log."""
    if not _fits(backup):
        raise Failed(f"{backup} is not what its checksum says: it was changed since it was made. Nothing was changed.")
    _copy(backup, new)
    state = state_of(sqlite_url(new))
    if state == "newer":
        raise Failed(f"{backup} was made by a newer Blotter than this. Use that one. Nothing was changed.")
    if state not in ("older", "newest"):
        raise Failed(f"{backup} {NO_BACKUP}")
    if state == "older":
        upgrade(sqlite_url(new))
    missing = missing_guards(new)
    if missing:
        raise Failed(f"The log in {backup} lacks its guards ({', '.join(missing)}), so nothing was changed.")


def _fits(backup: Path) -> bool:
    try:
        return fits_its_sum(backup) is not False
    except OSError as error:
        raise Failed(f"{backup} cannot be read: {error.strerror}. Nothing was changed.") from error


def _copy(backup: Path, new: Path) -> None:
    try:
        copy_whole(backup, new, lies_still=True)
    except Unfit as unfit:
        why = str(unfit).replace(new.name, str(backup))
        raise Failed(f"{why} Nothing was changed.") from unfit
    except sqlite3.OperationalError as error:
        if "full" in str(error):
            raise
        raise Failed(f"{backup} cannot be read. Nothing was changed.") from error
    except sqlite3.DatabaseError as error:
        raise Failed(f"{backup} {NO_BACKUP}") from error


def _tell(database: Database, config: Config, backup: Path, room: Path, now: datetime
          ) -> tuple[Counter[str], Passed, bool]:  # fmt: skip
    """Tell the room what it missed, as one transaction: what was taken away again, how many numbers and cards are passed over,
    and whether anything tells how many those are.
    """
    with transaction(database) as session:
        entries = count_of(session, Entry)
        folders = _folders(session, config, backup)
        lines = still_to_apply(session, [lines_in(room), *_read(folders, FILE_NAME, read_list)])
        again = apply_again(session, lines, now)
        again["names"] = _names(session, lines, now)
        end_sessions(session, now)
        given = furthest(given_in(room), *_read(folders, GIVEN, read_given))
        passed = Passed(never_mint_again(session, given, now), never_make_again(session, given, now))
        never_number_again(session, given, now)
        tell_restored(session, now, backup.name, entries)
    return again, passed, bool(given)


def _folders(session: Session, config: Config, backup: Path) -> list[Path]:
    """Where lists lie: beside the room's backups, in its second place, and beside the backup that is put back."""
    place = place_of(session, config.data)
    folders = [config.data / FOLDER, backup.resolve().parent, *([place.folder] if place is not None else [])]
    return list(dict.fromkeys(folders))


def _read(folders: Sequence[Path], name: str, read: Callable[[Path], T]) -> list[T]:
    found = []
    for folder in folders:
        # A place that is out of reach; what is in the others is applied.
        with suppress(OSError):
            found.append(read(folder / name))
    return found


def _names(session: Session, lines: list[Line], now: datetime) -> int:
    going = names_to_go(session, lines)
    for line in going:
        assert line.id is not None
        replace_name(session, line.id, now, None, texts_again(named_texts(session, line.id), line), line.left)
    return len(going)


def _proved(database: Database, config: Config, *, differing: bool) -> int:
    with reading(database) as session:
        found = [each.sentence for each in audit(session, config.zone)]
    if found and not differing:
        words = f"The log and the room of this backup differ in {len(found):,} place{'s' * (len(found) > 1)}"
        raise Failed(f"{words}, so nothing was changed. {found[0]} To put it back all the same, add --differing.")
    return len(found)


def _is_managed(database: Database) -> bool:
    with reading(database) as session:
        return has_manager(session)


def _afterwards(config: Config, room: Path) -> None:
    # Made anew at the next practice, from the people of the room that is here now.
    for ending in ("", *BESIDE):
        with suppress(OSError):
            (config.data / f"{PRACTICE}{ending}").unlink(missing_ok=True)
    database = open_database(sqlite_url(room))
    try:
        # The served room does it too; here it is done at once.
        with suppress(OSError), reading(database) as session:
            bring_list_up(session, config.data / FOLDER)
    finally:
        database.engine.dispose()


def _throw_away(path: Path) -> None:
    for ending in ("", *BESIDE):
        path.with_name(path.name + ending).unlink(missing_ok=True)
