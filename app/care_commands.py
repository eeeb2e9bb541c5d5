"""What the commands do that look after a room: backup, restore, upgrade, doctor, and starting with the computer."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from app.clock import utc_now
from app.config import Config
from app.room_files import STATES, Failed, refuse_share, room_config, room_database

if TYPE_CHECKING:
    from app.holdings import Holding
    from app.restoring import PutBack
    from app.services.backup import Backup


# What may have been taken away since a backup, one and several.
AGAIN = {
    "left": ("worker who left", "workers who left"), "badges": ("badge", "badges"), "passwords": ("password", "passwords"),
    "PINs": ("PIN", "PINs"), "rights": ("worker's rights", "workers' rights"), "keys": ("key", "keys"),
    "browsers": ("station's browser", "stations' browsers"), "names": ("name", "names"), "sign-offs": ("sign-off", "sign-offs"),
    "names for suspected sheets": ("name for suspected sheets", "names for suspected sheets"),
}  # fmt: skip


def backup(asked: argparse.Namespace) -> None:
    """Copy the room's database while it is in use, and look whether the copy is whole."""
    from app.db.engine import transaction
    from app.services.backup import keep_backup

    if asked.by_itself and hasattr(os, "nice"):
        # Nobody waits for it.
        os.nice(10)
    config = room_config(asked.data)
    now, database = utc_now(), room_database(config)
    try:
        made = _made(asked, config)
    except ValueError as error:
        raise Failed(str(error)) from error
    with transaction(database) as session:
        keep_backup(session, made, now)
    print(f"Backed up to {made.path}: {made.size / 1e6:,.1f} MB, {made.found}.")
    _say_second(made, is_own=asked.file is not None)


def restore(asked: argparse.Namespace) -> None:
    """Put the room back from a backup; the room as it was is kept beside it."""
    from app.restoring import put_back

    config = room_config(asked.data, may_be_new=True)
    done = put_back(config, asked.file, utc_now(), lambda *told: asked.yes or _is_meant(config, *told),
                    differing=asked.differing)  # fmt: skip
    print(f"Put back: {_held(done.holds)}, as they stood {_when(done.holds, config)}.")
    for line in _told(done):
        print(line)


def upgrade(asked: argparse.Namespace) -> None:
    """Copy the database, then migrate it; where that fails, the copy is put back."""
    from app.db.fitness import file_of, state_of
    from app.db.upgrade import upgrade as migrate

    config = room_config(asked.data)
    state, file = state_of(config.database_url), file_of(config.database_url)
    if state in ("foreign", "newer"):
        raise Failed(STATES[state])
    if state == "newest":
        print("The database is of the newest revision already. Nothing is to be done.")
        return
    if state == "older" and file is not None:
        print(f"Migrated to revision {_with_copy(config, file)}.")
        return
    if state == "older":
        print("This database is copied by its own tools (pg_dump); Blotter has made no copy of it.")
    print(f"Migrated to revision {migrate(config.database_url)}.")


def doctor(asked: argparse.Namespace) -> None:
    """Look the room and its computer over, and say what is to be done."""
    from app.doctor import Looked, look_over

    tls = (Path(asked.tls[0]), Path(asked.tls[1])) if asked.tls else None
    found = look_over(room_config(asked.data), utc_now(), Looked(asked.host, asked.port, tls))
    for each in found:
        print(f"{each.mark:10}  {each.what}: {each.words}")
    bad = sum(each.mark == "bad" for each in found)
    if bad:
        raise Failed(f"{bad} of {len(found)} {'is' if bad == 1 else 'are'} bad.")


def service(asked: argparse.Namespace) -> None:
    """Show, or set up, what starts the room with the computer."""
    from app.starting import Started, install, shown

    config = room_config(asked.data, may_be_new=asked.install)
    if not asked.on_share:
        refuse_share(config)
    tls = tuple(Path(each).resolve() for each in asked.tls or ())
    started = Started(config.data, asked.host, asked.port, tls, asked.system, asked.on_share)
    if asked.install:
        for line in install(started):
            print(line)
        return
    print(shown(started), end="")


def _made(asked: argparse.Namespace, config: Config) -> Backup:
    from app.backing_up import FOLDER
    from app.db.engine import reading
    from app.services.backup import back_up, make_backup
    from app.services.backup_list import bring_list_up

    with reading(room_database(config)) as session:
        if asked.file is not None:
            return make_backup(session, asked.file, config.zone)
        made = back_up(session, config.data / FOLDER, utc_now(), config.zone, keep_all=asked.keep_all)
        bring_list_up(session, config.data / FOLDER)
        return made


def _say_second(made: Backup, *, is_own: bool) -> None:
    from app.domain.backups import PLACE_WORDS

    if is_own:
        return
    words = PLACE_WORDS[made.second]
    told = (
        f"The backups {words}. {made.why}".strip()
        if words
        else "A copy of it lies in the second place, read there again."
    )
    print(told, file=sys.stderr if words else sys.stdout)


def _is_meant(config: Config, backup: Holding, now: Holding | None) -> bool:
    """Ask whoever types the command, by the name of the room's folder; Failed where nobody can be asked."""
    print(f"The backup holds {_held(backup)}; its last entry was written {_when(backup, config)}.")
    if now is not None:
        print(
            f"The room now holds {_held(now)}. What was written since the backup will not be in it; it is kept beside it."
        )
    print("Everybody is signed out by it.")
    if not sys.stdin.isatty():
        raise Failed("Nobody is there to be asked. To put it back without being asked, add --yes. Nothing was changed.")
    return input(f"To put the room back, type the name of its folder, {config.data.name}: ").strip() == config.data.name


def _told(done: PutBack) -> list[str]:
    found = "no difference" if not done.differences else f"{done.differences:,} differences, as was asked for"
    lines = [f"The whole log was read again: the audit finds {found}."]
    again = [f"{count:,} {AGAIN[kind][count != 1]}" for kind, count in sorted(done.again.items()) if count]
    lines.append(f"Taken away once more: {', '.join(again)}." if again else "Nothing had been taken away since.")
    lines += _passed(done)
    lines.append("Everybody is signed out, in browsers and at stations.")
    if not done.is_managed:
        lines.append("No manager has a password any more: blotter serve shows a code for the first one.")
    if done.kept is not None:
        lines.append(f"The room as it was lies in {done.kept}.")
    return lines


def _passed(done: PutBack) -> list[str]:
    if not done.is_known:
        words = "How many numbers and cards were given out since is not known: no list of them and no room as it was is here."
        return [f"{words} Give the next slips a prefix of their own."]
    found = [
        f"{many:,} {what} given out since are passed over, so that none is given twice."
        for many, what in ((done.passed.numbers, "sheet numbers"), (done.passed.cards, "cards"))
        if many
    ]
    return found


def _held(holds: Holding) -> str:
    return f"{holds.sheets:,} sheet{'s' * (holds.sheets != 1)} and {holds.entries:,} entr{'ies' if holds.entries != 1 else 'y'}"


def _when(holds: Holding, config: Config) -> str:
    return f"on {holds.last_at.astimezone(config.zone):%Y-%m-%d at %H:%M}" if holds.last_at is not None else "never"


def _with_copy(config: Config, file: Path) -> str:
    from app.db.lock import alone_with
    from app.db.safe_upgrade import upgrade_with_copy
    from app.db.upgrade import revision_of

    was, when = revision_of(config.database_url), f"{utc_now():%Y%m%dT%H%M%SZ}"
    copy = file.with_name(f"{file.stem}-before-upgrade-{was}-{when}{file.suffix}")
    with alone_with(config.database_url):
        revision = upgrade_with_copy(file, copy)
    print(f"Copied to {copy}.")
    return revision
