"""The command that takes in a file: what it would do, then doing it, with a bar that says how far it is."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from app.clock import utc_now
from app.config import Config
from app.serving import Failed, progress

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from app.db.engine import Database
    from app.domain.mapping import Ways
    from app.domain.source import Data
    from app.domain.table import BadRow
    from app.domain.table_letters import Letters


def import_list(asked: argparse.Namespace, config: Config, database: Database, data: Data,
                manager_id: Callable[[Session, str], int]) -> None:  # fmt: skip
    """Take a file in, or with --dry-run only say what that would do. Failed, after every bad row on standard error."""
    from app.bringing_in import BadList, Bringer
    from app.db.engine import reading
    from app.services.files import Sent
    from app.services.intake import digest

    ways = _ways(asked, database, data)
    if asked.dry_run:
        _say_plan(asked, config, database, data, ways)
        return
    with reading(database) as session:
        by = manager_id(session, asked.by)
    sent = Sent(asked.file.name, digest(data), asked.consignment, ways, by)
    try:
        with _bar() as heard:
            done = Bringer(database, utc_now, config.zone, heard=heard).bring(sent, data)
    except BadList as fault:
        _say_bad(fault.bad)
        raise Failed(
            f"Nothing is imported: 0 new, {len(fault.bad):,} that cannot be imported. "
            "Put them right in the file, then import it again."
        ) from fault
    _remember(asked, database, data, ways, by)
    print(done.said)


@contextmanager
def _bar() -> Iterator[Callable[[int, int], None]]:
    """A bar that says how far it is; where nobody looks on, only once there is something to say."""
    with ExitStack() as stack:
        shown: list[Callable[[int, int], None]] = []

        def begin() -> None:
            if not shown:
                shown.append(stack.enter_context(progress("Taking in")))

        def hears(done: int, total: int) -> None:
            begin()
            shown[0](done, total)

        if sys.stderr.isatty():
            begin()
        yield hears


def _ways(asked: argparse.Namespace, database: Database, data: Data) -> Ways | None:
    """What the columns are: by the map that is named, else as they were read before, else by their headings."""
    from app.db.engine import reading
    from app.domain.listing import open_headings
    from app.domain.mapping import read_map, ways_told
    from app.domain.table import BadTable
    from app.queries.files import remembered_ways

    try:
        found = open_headings(data)
        headings = found.headings
        if found.letters.look:
            _say_look(found.letters)
        if asked.map is not None:
            return ways_told(headings, read_map(_text(asked.map)))
    except BadTable as fault:
        if asked.map is None:
            # What is wrong with the file is told with all else that is.
            return None
        raise Failed(f"Nothing is imported. {fault.bad.said}") from fault
    with reading(database) as session:
        ways = remembered_ways(session, asked.consignment, headings)
    if ways is not None:
        print("The columns are read as they were the last time; name others with --map.", file=sys.stderr)
    return ways


def _remember(asked: argparse.Namespace, database: Database, data: Data, ways: Ways | None, by: int) -> None:
    from app.db.engine import transaction
    from app.domain.listing import open_headings
    from app.services.column_maps import remember_ways

    if ways is None or asked.map is None:
        return
    with transaction(database) as session:
        remember_ways(session, asked.consignment, open_headings(data).headings, ways, utc_now(), by)


def _say_plan(asked: argparse.Namespace, config: Config, database: Database, data: Data, ways: Ways | None) -> None:
    from app.db.engine import reading
    from app.services.desk import Occasion
    from app.services.intake import plan_import

    with reading(database) as session:
        plan = plan_import(session, data, asked.consignment, Occasion(utc_now(), config.zone), ways)
    _say_bad(plan.bad)
    if plan.bad:
        raise Failed(f"Nothing is imported: {plan.said} Put them right in the file, then import it again.")
    print(f"{plan.said} Nothing is written yet.")


def _say_look(letters: Letters) -> None:
    words = f"Read as {letters.encoding}. Look whether line {letters.look_line} is right: {letters.look}"
    print(words, file=sys.stderr)


def _say_bad(bad: Sequence[BadRow]) -> None:
    for each in bad:
        print(each.said, file=sys.stderr)


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise Failed(f"The map {file} cannot be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        raise Failed(f"The map {file} is not text in UTF-8: save it so.") from error
