"""The command line: starting the room, and what is done to it from outside the browser."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.clock import utc_now
from app.config import Config
from app.serving import STATES, Failed, progress, room_config, room_database, run_demo, run_room

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from app.services.intake import ImportPlan

DONE, FAILED = 0, 1
Argument = tuple[str, dict[str, Any]]


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status: 0 done, 1 refused or failed, 2 wrong use."""
    asked = _parser().parse_args(argv)
    try:
        with _in_one_sentence():
            asked.command(asked)
        return DONE
    except Failed as failed:
        print(failed, file=sys.stderr)
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
    return FAILED


def demo(asked: argparse.Namespace) -> None:
    """A fresh, filled room in a folder of its own."""
    run_demo(asked.data, asked.port, browser=not asked.no_browser, keep=asked.keep)


def serve(asked: argparse.Namespace) -> None:
    """Open the room's doors."""
    tls = (Path(asked.tls[0]), Path(asked.tls[1])) if asked.tls else None
    run_room(room_config(asked.data, may_be_new=True), asked.host, asked.port, tls)


def upgrade(asked: argparse.Namespace) -> None:
    """Copy the database, then migrate it."""
    from app.db.fitness import state_of
    from app.db.upgrade import upgrade as migrate

    config = room_config(asked.data)
    state = state_of(config.database_url)
    if state in ("foreign", "newer"):
        raise Failed(STATES[state])
    if state == "newest":
        print("The database is of the newest revision already. Nothing is to be done.")
        return
    if state == "older":
        _copy_aside(config)
    print(f"Migrated to revision {migrate(config.database_url)}.")


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
    """Take in the sheets of a CSV file, all or none."""
    from app.db.engine import reading, transaction
    from app.services.desk import Occasion
    from app.services.intake import plan_import, run_import

    data, config = _read(asked.file), room_config(asked.data)
    database, occasion = room_database(config), Occasion(utc_now(), config.zone)
    with reading(database) as session:
        plan = plan_import(session, data, asked.consignment, occasion)
    _all_good(plan)
    if asked.dry_run:
        print(f"{plan.said} Nothing is written yet.")
        return
    with progress("Taking in") as heard, transaction(database) as session:
        by = (_manager_id(session, asked.by),)
        done = run_import(session, data, asked.consignment, occasion, by, progress=heard)
    print(done.said)


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


@contextmanager
def _in_one_sentence() -> Iterator[None]:
    """What a person can cause is told in one sentence; anything else is a fault of the program and keeps its traceback."""
    from app.db.fitness import Unfit, in_plain_words
    from app.domain.errors import Refused

    try:
        with in_plain_words():
            yield
    except Unfit as unfit:
        raise Failed(str(unfit)) from unfit
    except Refused as refused:
        raise Failed(" ".join(f"{each.words} {each.next}" for each in refused.refusals)) from refused


def _copy_aside(config: Config) -> None:
    from app.db.fitness import copy_aside, file_of
    from app.db.upgrade import revision_of

    file = file_of(config.database_url)
    if file is None:
        print("This database is copied by its own tools; Blotter has made no copy of it.")
        return
    was, when = revision_of(config.database_url), f"{utc_now():%Y%m%dT%H%M%SZ}"
    copy = file.with_name(f"{file.stem}-before-upgrade-{was}-{when}{file.suffix}")
    copy_aside(file, copy)
    print(f"Copied to {copy}.")


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


def _read(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise Failed(f"The file {file} cannot be read: {error.strerror}.") from error


def _all_good(plan: ImportPlan) -> None:
    for bad in plan.bad:
        print(bad.said, file=sys.stderr)
    if plan.bad:
        raise Failed(f"Nothing is imported: {plan.said} Put them right in the file, then import it again.")


def _apart(title: str, sentences: Sequence[str]) -> None:
    if sentences:
        print(f"{title}: {len(sentences):,}.")
    for sentence in sentences:
        print(f"  {sentence}")


def _whole(low: int, high: int) -> Callable[[str], int]:
    def check(text: str) -> int:
        if not (text.isascii() and text.isdigit() and len(text) < 9 and low <= int(text) <= high):
            raise argparse.ArgumentTypeError(f"{text} is not a whole number from {low} to {high}")
        return int(text)

    return check


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("blotter", description="The day-book of a herbarium preparation room.")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for name, (command, *arguments) in COMMANDS.items():
        words = (command.__doc__ or "").strip()
        one = commands.add_parser(name, help=words, description=words)
        for arg in (DATA, *arguments):
            one.add_argument(arg[0], **arg[1])
        if command is token:
            _add_scopes(one)
        one.set_defaults(command=command)
    return parser


def _add_scopes(parser: argparse.ArgumentParser) -> None:
    scope = parser.add_mutually_exclusive_group(required=True)
    scope.add_argument("--station", metavar="CODE", help="a station's key, by its short name, name or code")
    scope.add_argument("--manager", action="store_true", help="a manager's key")
    scope.add_argument("--read", action="store_true", help="a key that only reads")


def _arg(name: str, help_: str, **more: Any) -> Argument:
    return name, {"help": help_, **more}


DATA = _arg("--data", "the room's folder (default: BLOTTER_DATA, else one of your own)", type=Path, metavar="DIR")
PORT = _arg("--port", "the port to listen on (default: 8765)", type=_whole(0, 65535), default=8765)
BY = _arg("--by", "the manager in whose name, where there are several", default="", metavar="NUMBER")
COMMANDS: dict[str, tuple[Any, *tuple[Argument, ...]]] = {
    "demo": (
        demo, PORT, _arg("--no-browser", "do not open the browser", action="store_true"),
        _arg("--keep", "leave the folder where it is when the demo stops", action="store_true"),
    ),
    "serve": (
        serve, PORT, _arg("--host", "the address to listen on (default: this machine only)", default="127.0.0.1"),
        _arg("--tls", "speak https with this certificate and its key (PEM)", nargs=2, metavar=("CERT", "KEY")),
    ),
    "upgrade": (upgrade,),
    "token": (
        token, BY, _arg("--days", "days until it runs out (default: 365)", type=_whole(1, 3650), default=365),
        _arg("--name", "what the list of keys calls it", default=""),
    ),
    "import": (
        import_file, BY, _arg("file", "a CSV file with Darwin Core headings", type=Path, metavar="FILE"),
        _arg("--consignment", "the consignment that it belongs to", required=True, metavar="CODE"),
        _arg("--dry-run", "only say what it would do", action="store_true"),
    ),
    "audit": (audit,),
}  # fmt: skip
