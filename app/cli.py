"""The command line: starting the room, and what is done to it from outside the browser."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

from app.care_commands import backup, doctor, restore, service, upgrade
from app.commands import audit, demo, export, import_file, report, serve, slips, token
from app.domain.card_words import CARD_KINDS
from app.domain.stages import Stage
from app.export_commands import KINDS
from app.moving import move_to
from app.room_files import let_go
from app.serving import Failed

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
    finally:
        let_go()
    return FAILED


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


def _whole(low: int, high: int) -> Callable[[str], int]:
    def check(text: str) -> int:
        if not (text.isascii() and text.isdigit() and len(text) < 9 and low <= int(text) <= high):
            raise argparse.ArgumentTypeError(f"{text} is not a whole number from {low} to {high}")
        return int(text)

    return check


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text} is not a day like 2026-11-25") from None


def _week(text: str) -> tuple[int, int]:
    match = re.fullmatch(r"(\d{4})-W(\d{2})", text, re.ASCII)
    if match is None:
        raise argparse.ArgumentTypeError(f"{text} is not a week like 2026-W48")
    return int(match[1]), int(match[2])


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
HOST = _arg("--host", "the address to listen on (default: this machine only)", default="127.0.0.1")
TLS = _arg("--tls", "speak https with this certificate and its key (PEM)", nargs=2, metavar=("CERT", "KEY"))
ON_SHARE = _arg("--on-share", "even where the room's folder lies on a network share", action="store_true")
BY = _arg("--by", "the manager in whose name, where there are several", default="", metavar="NUMBER")
COMMANDS: dict[str, tuple[Any, *tuple[Argument, ...]]] = {
    "demo": (
        demo, PORT, _arg("--no-browser", "do not open the browser", action="store_true"),
        _arg("--keep", "leave the folder where it is when the demo stops", action="store_true"),
    ),
    "serve": (serve, PORT, HOST, TLS, ON_SHARE),
    "upgrade": (upgrade,),
    "token": (
        token, BY, _arg("--days", "days until it runs out (default: 365)", type=_whole(1, 3650), default=365),
        _arg("--name", "what the list of keys calls it", default=""),
    ),
    "import": (
        import_file, BY, _arg("file", "a CSV file with Darwin Core headings, or a Darwin Core archive", type=Path, metavar="FILE"),
        _arg("--consignment", "the consignment that it belongs to", required=True, metavar="CODE"),
        _arg("--map", 'a JSON file that says what columns are: {"Barcode": "catalogNumber", "Van": "keep"}', type=Path,
             metavar="FILE"),
        _arg("--dry-run", "only say what it would do", action="store_true"),
    ),
    "report": (
        report, _arg("--week", "the week, as 2026-W48", required=True, type=_week, metavar="WEEK"),
        _arg("--csv", "write it to this file as a table", type=Path, metavar="FILE"),
        _arg("--xlsx", "write it to this file as a workbook", type=Path, metavar="FILE"),
    ),
    "slips": (
        slips, _arg("--kind", "what is printed", required=True, choices=tuple(CARD_KINDS)),
        _arg("--paper", "on which paper (default: a4)", choices=("a4", "letter"), default="a4"),
        _arg("--code", "with which code: QR, or Code 128 (default: qr)", choices=("qr", "128"), default="qr"),
        _arg("--consignment", "slips for the sheets of this consignment only", default="", metavar="CODE"),
        _arg("file", "the HTML file to write, to be printed from any browser", type=Path, metavar="FILE"),
    ),
    "backup": (
        backup, _arg("file", "where to (default: the folder backups in the room's folder)", type=Path, metavar="FILE", nargs="?"),
        _arg("--keep-all", "throw no old backup away", action="store_true"),
        _arg("--by-itself", argparse.SUPPRESS, action="store_true"),
    ),
    "restore": (
        restore, _arg("file", "the backup", type=Path, metavar="FILE"), _arg("--yes", "do not ask", action="store_true"),
        _arg("--differing", "even where the log and the room in the backup differ", action="store_true"),
    ),
    "doctor": (doctor, PORT, HOST, TLS),
    "service": (
        service, PORT, HOST, TLS, ON_SHARE,
        _arg("--system", "for the computer's own services, not for one user", action="store_true"),
        _arg("--install", "set it up, and start it now", action="store_true"),
    ),
    "export": (
        export, BY, _arg("what", "what goes out", choices=KINDS),
        _arg("file", "the file to write; a hand-over in .zip is an archive, else a table", type=Path, metavar="FILE"),
        _arg("--consignment", "sheets of this consignment only", default="", metavar="CODE"),
        _arg("--cabinet", "sheets in this cabinet only", default="", metavar="NAME"),
        _arg("--shelf", "sheets on this shelf of it only", default="", metavar="NAME"),
        _arg("--stage", "sheets in this stage only", default="", choices=tuple(Stage)),
        _arg("--withdrawn", "those too that have left for good", action="store_true"),
        _arg("--exact-places", "with the places of plants marked sensitive", action="store_true"),
        _arg("--no-mark", "a table without the mark by which spreadsheets know its letters", action="store_true"),
        _arg("--title", "what the archive or the log is called", default=""),
        _arg("--from", "sheets with an entry from this day on", dest="since", type=_day, metavar="DAY"),
        _arg("--to", "sheets with an entry up to this day", dest="until", type=_day, metavar="DAY"),
        _arg("--workers", "the log with the numbers of workers", action="store_true"),
        _arg("--everything", "the log with what was taken back, and the corrections", action="store_true"),
        _arg("--number", "which hand-over (default: the last)", type=_whole(1, 99_999_999), default=0),
        _arg("--new", "make the next hand-over first, for whoever takes it", metavar="NAME"),
    ),
    "audit": (audit,),
    "move-to": (move_to, _arg("url", "the empty database, like postgresql://name@host/room", metavar="URL")),
}  # fmt: skip
