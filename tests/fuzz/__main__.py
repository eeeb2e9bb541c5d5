"""Fuzzing for longer: python -m tests.fuzz --seconds 600 --what archive; it says how many cases there were, and what came of them."""

from __future__ import annotations

import argparse
import random
import secrets
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from app.db.engine import sqlite_url
from app.db.upgrade import upgrade
from tests.databases import Rooms
from tests.fuzz.bodies import NAMES, Interface
from tests.fuzz.readers import META, WHOLE, random_text, reads_listing, reads_number, reads_xml, spoilt
from tests.services.days import differences, new_room

LARGEST_BYTES = 3 * 1024**3
Case = Callable[[random.Random], str]


def main() -> int:
    """Ask as long as told; 1 where anything was answered with a traceback, which is shown with the seed that makes it again."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--seconds", type=float, default=60, help="for each kind of case (60)")
    parser.add_argument(
        "--what",
        action="append",
        choices=["number", "table", "archive", "xml", "body"],
        help="one kind; may be given several times",
    )
    parser.add_argument("--seed", type=int, help="only the one case of this seed")
    asked = parser.parse_args()
    _bound_memory()
    wrong = 0
    with tempfile.TemporaryDirectory(prefix="blotter-fuzz-") as name:
        for what in asked.what or ["number", "table", "archive", "xml", "body"]:
            wrong += _ask(what, _case(what, Path(name)), asked.seconds, asked.seed)
    return 1 if wrong else 0


def _case(what: str, folder: Path) -> Case:
    if what == "number":
        return lambda chance: reads_number(random_text(chance))
    if what == "xml":
        return lambda chance: reads_xml(spoilt(META, chance))
    if what == "body":
        return _bodies(folder)
    return lambda chance: reads_listing(spoilt(chance.choice(WHOLE[what]), chance))


def _bodies(folder: Path) -> Case:
    upgrade(sqlite_url(folder / "empty.sqlite3"))
    (folder / "room").mkdir()
    asked = Interface(new_room(Rooms(folder / "empty.sqlite3"), folder / "room"), folder / "room")

    def case(chance: random.Random) -> str:
        path = chance.choice(list(NAMES))
        told = asked.ask(path, asked.random_body(path, chance), chance.choice(asked.keys))
        if chance.random() < 0.002:
            assert differences(asked.room.database) == []
        return str(told)

    return case


def _ask(what: str, case: Case, seconds: float, only: int | None) -> int:
    until, told, wrong = time.monotonic() + seconds, Counter[str](), 0
    while time.monotonic() < until:
        seed = only if only is not None else secrets.randbits(48)
        try:
            told[case(random.Random(seed))] += 1
        except Exception:
            wrong += 1
            print(f"{what}, --seed {seed}:", file=sys.stderr)
            traceback.print_exc()
            if wrong == 5:
                break
        if only is not None:
            break
    print(f"{what}: {told.total():,} cases, {wrong} wrong; {dict(told.most_common())}", flush=True)
    return wrong


def _bound_memory() -> None:
    """Whatever takes more memory than a small computer has fails here, too."""
    if sys.platform != "win32":
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (LARGEST_BYTES, LARGEST_BYTES))


if __name__ == "__main__":
    sys.exit(main())
