"""The server that the bench asks: the program, a hello and a hand-written scan behind one waitress, set up as in app.serving.

Run as a module with the program's database, the floor's database and the file to write the port into.
"""

from __future__ import annotations

import logging
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from flask import Flask, request
from waitress.server import create_server

from app import create_app
from app.background import CHECKPOINT_S
from app.bringing_in import Bringer, keep_bringing
from app.clock import utc_now
from app.config import HOME, Config
from app.db.engine import Database, checkpoint, open_database, sqlite_url
from app.serving import keep_steady
from tests.bench.floor import Floor, hello_app
from tests.bench.work import ZONE


@contextmanager
def served(mine: Path, floors: Path, url: str = "") -> Iterator[tuple[int, int]]:
    """The running server: its port and its process. `url` is where the program's database is, if in no file."""
    told = mine.with_suffix(".port")
    told.unlink(missing_ok=True)
    running = subprocess.Popen(
        [sys.executable, "-m", "tests.bench.server", str(mine), str(floors), str(told), *filter(None, [url])], cwd=HOME
    )
    try:
        yield _port(told, running), running.pid
    finally:
        running.terminate()
        running.wait(timeout=20)


def serve(mine: Path, floors: Path, told: Path, url: str = "") -> None:
    """Serve until terminated."""
    config = Config(mine.parent, url or sqlite_url(mine), ZONE, "a key for the bench")
    database = open_database(config.database_url)
    application = create_app(config, database=database).wsgi_app
    # What is sent in is taken in beside the scans, as in a room that is served.
    bringing = (Bringer(database, utc_now, ZONE), mine.parent / "uploads", threading.Event().wait)
    threading.Thread(target=keep_bringing, args=bringing, daemon=True).start()
    threading.Thread(target=_tidy, args=(database,), daemon=True).start()
    baselines = _baselines(floors).wsgi_app

    def either(environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        return (baselines if environ["PATH_INFO"] in ("/hello", "/raw") else application)(environ, start)

    keep_steady()
    # More wait than there are threads: that is what is measured, and need not be said for each of them.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    server = create_server(either, host="127.0.0.1", port=0, threads=8, connection_limit=1000, asyncore_use_poll=True,
                           channel_timeout=30, ident=None)  # fmt: skip
    told.with_suffix(".new").write_text(str(server.effective_port))
    told.with_suffix(".new").rename(told)
    server.run()


def _tidy(database: Database) -> None:
    while True:
        time.sleep(CHECKPOINT_S)
        checkpoint(database)


def _baselines(floors: Path) -> Flask:
    app, floor = hello_app(), Floor(floors)

    @app.post("/raw")
    def raw() -> tuple[str, int, dict[str, str]]:
        sent = request.get_json()
        return floor.scan(sent["code"], sent["scan_id"], sent["station"]), 200, {"Content-Type": "application/json"}

    return app


def _port(told: Path, running: subprocess.Popen[bytes]) -> int:
    until = time.monotonic() + 30
    while not told.exists():
        if running.poll() is not None or time.monotonic() > until:
            raise AssertionError("The server did not start.")
        time.sleep(0.02)
    return int(told.read_text())


if __name__ == "__main__":
    serve(*[Path(each) for each in sys.argv[1:4]], *sys.argv[4:])
