"""What each command does: starting the room, and what is done to it from outside the browser."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from app.clock import utc_now
from app.room_files import refuse_share
from app.serving import Failed, room_config, room_database, run_demo, run_room

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from app.domain.source import Source


def demo(asked: argparse.Namespace) -> None:
    """A fresh, filled room in a folder of its own."""
    run_demo(asked.data, asked.port, browser=not asked.no_browser, keep=asked.keep)


def serve(asked: argparse.Namespace) -> None:
    """Open the room's doors."""
    tls = (Path(asked.tls[0]), Path(asked.tls[1])) if asked.tls else None
    config = room_config(asked.data, may_be_new=True)
    if not asked.on_share:
        refuse_share(config)
    run_room(config, asked.host, asked.port, tls)


def token(asked: argparse.Namespace) -> None:
    """Make a key for a script or a scanner, and show it once."""
    from app.db.engine import transaction
    from app.services.people import make_token
    from app.services.scripts import station_named

    scope = "scan" if asked.station else "manage" if asked.manager else "read"
    name = asked.name or asked.station or scope
    with transaction(room_database(room_config(asked.data))) as session:
        station_id = station_named(session, asked.station) if asked.station else None
        worker_id = _manager_id(session, asked.by) if asked.manager else None
        key = make_token(
            session, scope, name, utc_now(), days=asked.days, station_id=station_id, worker_id=worker_id
        )  # fmt: skip
    print(f"A key to {scope}, called “{name}”; it runs out in {asked.days} days. It is shown only now:\n{key}")


def import_file(asked: argparse.Namespace) -> None:
    """Take in the sheets of a CSV file or a Darwin Core archive, all or none."""
    from app.file_commands import import_list

    config, data = room_config(asked.data), _source(asked.file)
    import_list(asked, config, room_database(config), data, _manager_id)


def export(asked: argparse.Namespace) -> None:
    """Write sheets, the log or a hand-over to a file, for other programs."""
    from app.export_commands import export as write_out

    config = room_config(asked.data)
    write_out(asked, config, room_database(config), _manager_id)


def report(asked: argparse.Namespace) -> None:
    """Show the report of one week, or write it as a table or a workbook."""
    from app.db.engine import reading
    from app.queries.week import week
    from app.web.week_tables import csv_file, label_of, leaves, spreadsheet

    config = room_config(asked.data)
    year, number = asked.week
    try:
        with reading(room_database(config)) as session:
            found = week(session, year, number, utc_now(), config.zone)
    except ValueError as error:
        raise Failed(str(error)) from error
    if asked.csv is not None:
        _write(asked.csv, csv_file(found, config.zone).encode())
    elif asked.xlsx is not None:
        _write(asked.xlsx, spreadsheet(found, config.zone))
    else:
        print(f"Week {label_of(found)}, {found.first_day} to {found.last_day}")
        for leaf in leaves(found, config.zone):
            _show(leaf.name, leaf.head, leaf.rows)


def slips(asked: argparse.Namespace) -> None:
    """Write a page of slips, labels, stack cards, badges or command cards, ready to be printed and cut up."""
    from app.db.engine import reading
    from app.queries.printed import ALL_THAT_WAIT, SlipsAsked
    from app.web.card_file import card_file
    from app.web.card_pages import CardsAsked, card_pages

    config = room_config(asked.data)
    which = SlipsAsked(asked.consignment) if asked.consignment else ALL_THAT_WAIT
    try:
        with reading(room_database(config)) as session:
            wanted = CardsAsked(asked.kind, asked.paper, asked.code, which)
            pages = card_pages(session, wanted, utc_now(), config.zone)
    except ValueError as error:
        raise Failed(str(error)) from error
    if not pages.count:
        raise Failed("There is nothing of this kind to print. No file is written.")
    if pages.matching > pages.count:
        print(f"These are the first {pages.count:,} of {pages.matching:,}, by number.", file=sys.stderr)
    _write(asked.file, card_file(pages).encode())


def audit(asked: argparse.Namespace) -> None:
    """Replay the log and name every difference; what is only in question stands apart."""
    from app.db.engine import reading
    from app.services.audit import audit as differences
    from app.services.audit import dated_ahead, in_question

    config, count = room_config(asked.data), 0
    with reading(room_database(config)) as session:
        for difference in differences(session, config.zone):
            print(difference.sentence)
            count += 1
        _apart("Called in question, no difference", [each.sentence for each in in_question(session)])
        _apart("Dated after now", [each.sentence for each in dated_ahead(session, utc_now())])
    if count:
        raise Failed(f"The log and the room differ in {count:,} place{'s' * (count > 1)}.")
    print("The log and the room agree.")


def _write(file: Path, body: bytes) -> None:
    try:
        file.write_bytes(body)
    except OSError as error:
        raise Failed(f"The file {file} cannot be written: {error.strerror}.") from error
    print(f"Written to {file}.")


def _show(name: str, head: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    if not rows:
        print(f"{name}: nothing.")
        return
    table = Table(*head, title=name, title_justify="left")
    for row in rows:
        table.add_row(*(Text("" if cell is None else str(cell)) for cell in row))
    Console().print(table)


def _manager_id(session: Session, number: str) -> int:
    """The manager in whose name it is done: the one who is named, or the only one there is."""
    from app.queries.people import workers

    managers = {
        each.number: each.worker_id for each in workers(session) if "manager" in each.rights and not each.retired_at
    }
    if number in managers:
        return managers[number]
    if number or not managers:
        raise Failed(
            f"There is no manager {number} here.".replace("  ", " ") + " The first one is made in the browser."
        )
    if len(managers) > 1:
        raise Failed(
            f"There are several managers: say in whose name, with --by and one of {', '.join(sorted(managers))}."
        )
    return next(iter(managers.values()))


def _source(file: Path) -> Source:
    """A file to be read piece by piece, as often as need be; what can be read only once, such as a pipe, is held."""
    from app.domain.source import InMemory, OnDisk

    try:
        with file.open("rb") as opened:
            return OnDisk(file) if file.is_file() else InMemory(opened.read())
    except OSError as error:
        raise Failed(f"The file {file} cannot be read: {error.strerror}.") from error


def _apart(title: str, sentences: Sequence[str]) -> None:
    if sentences:
        print(f"{title}: {len(sentences):,}.")
    for sentence in sentences:
        print(f"  {sentence}")
