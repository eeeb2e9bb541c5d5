"""Starting the room: its folder, its database, its doors on the network, and the sign of life it gives."""

from __future__ import annotations

import gc
import logging
import os
import shutil
import signal
import socket
import sys
import tempfile
import threading
import webbrowser
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from app.clock import Watch, utc_now
from app.config import Config
from app.room_files import STATES as STATES
from app.room_files import Failed as Failed
from app.room_files import room_config as room_config
from app.room_files import room_database as room_database

if TYPE_CHECKING:
    from ssl import SSLContext

    from flask import Flask

    from app.backing_up import Keeper
    from app.db.engine import Database

SWITCH_S = 0.0005
LOOPBACK = "127.0.0.1"
# A list of sheets with all that belongs to its form; only the page of intake takes as much.
LARGEST_REQUEST = 65 * 1024 * 1024
Tls = tuple[Path, Path]


def run_room(config: Config, host: str, port: int, tls: Tls | None) -> None:
    """Open the doors of a room and keep them open until it is told to stop."""
    # Nothing that is read in now can go again: looking for what can would be a tenth of the time to the first answer.
    gc.disable()
    context = _safe(tls) if tls else None
    with _bound(host, port) as door:
        database = room_database(config, may_be_new=True)
        watch = _watch(database)
        address = _address(host, door, is_safe=tls is not None)
        print(f"Blotter is at {address} and keeps its room in {config.data}. Ctrl+C stops it.")
        _say_who_is_let_in(host, door, is_safe=tls is not None)
        _say_first_code(database)
        told = {"address": address, "certificate": str(tls[0].resolve()) if tls else ""}
        _serve(config.at(host, is_safe=tls is not None), database, watch, door, context, told)


def run_demo(folder: Path | None, port: int, *, browser: bool, keep: bool) -> None:
    """A fresh, filled room on this machine only; its folder goes when it stops, unless it is to be kept."""
    with _bound(LOOPBACK, port) as door:
        home = _demo_folder(folder)
        os.environ["BLOTTER_DATA"] = str(home)
        # A room's own database is never filled with a demo, whatever the environment names.
        config = replace(room_config(home, may_be_new=True), database_url=f"sqlite:///{home / 'blotter.sqlite3'}")
        try:
            _show(config, door, browser=browser)
        finally:
            if folder is None and not keep:
                shutil.rmtree(home, ignore_errors=True)


def _show(config: Config, door: socket.socket, *, browser: bool) -> None:
    database = room_database(config, may_be_new=True)
    with progress("Fourteen weeks go by") as heard:
        from seed_demo import fill

        told = fill(database, config.zone, utc_now(), heard)
    address = _address(LOOPBACK, door, is_safe=False)
    print(f"The demo is at {address}. Ctrl+C stops it.")
    print(f"Sign in as {told.manager_name} with the password {told.password}")
    print(f"The room lies in {config.data}.", flush=True)
    if browser:
        threading.Timer(0.5, webbrowser.open, [address]).start()
    _serve(config.at(LOOPBACK, is_safe=False), database, Watch(), door, None)


@contextmanager
def progress(words: str) -> Iterator[Callable[[int, int], None]]:
    """Show how far a long deed is; gives what hears how much is done, and of how much."""
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(words, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _demo_folder(folder: Path | None) -> Path:
    if folder is None:
        return Path(tempfile.mkdtemp(prefix="blotter-demo-"))
    if folder.exists() and any(folder.iterdir()):
        raise Failed(f"The folder {folder} is not empty. Name a folder for the demo that is, or none.")
    return folder


def _bound(host: str, port: int) -> socket.socket:
    """The door, taken before anything else is done, so that nothing is begun where another program stands."""
    try:
        family, kind, proto, _, where = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
    except socket.gaierror as error:
        raise Failed(f"There is no address {host} on this machine. Use 127.0.0.1, or 0.0.0.0 for all.") from error
    door = socket.socket(family, kind, proto)
    try:
        if os.name == "posix":
            door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        door.bind(where)
        # From here on whoever knocks waits until the room is ready, and is not turned away.
        door.listen(128)
    except OSError as error:
        door.close()
        words = "Another program may hold it: stop that one, or name another with --port."
        raise Failed(f"Port {port} of {host} cannot be opened: {error.strerror}. {words}") from error
    return door


def _watch(database: Database) -> Watch:
    from app.db.engine import reading
    from app.queries.house import house_now
    from app.services.heartbeat import clock_is_strange

    with reading(database) as session:
        return Watch(doubtful_since_start=clock_is_strange(session, utc_now(), house_now(session)))


def _address(host: str, door: socket.socket, *, is_safe: bool) -> str:
    shown = LOOPBACK if host in ("0.0.0.0", "::") else f"[{host}]" if ":" in host else host
    return f"{'https' if is_safe else 'http'}://{shown}:{door.getsockname()[1]}/"


def _say_who_is_let_in(host: str, door: socket.socket, *, is_safe: bool) -> None:
    if host in ("localhost", "::1") or host.startswith("127."):
        return
    port = door.getsockname()[1]
    print(f"It listens on {host}, port {port}: whoever reaches this machine over the network stands at its doors.")
    if not is_safe:
        print("What is typed is sent as it is. On a network that you do not trust, add --tls CERT KEY.")


def _say_first_code(database: Database) -> None:
    from app.db.engine import transaction
    from app.services.first import make_first_code

    with transaction(database) as session:
        code = make_first_code(session)
    if code is not None:
        print(f"The room has no manager yet. Open the address and type this code: {code}")
    sys.stdout.flush()


def _serve(config: Config, database: Database, watch: Watch, door: socket.socket, context: SSLContext | None,
           told: Mapping[str, str] | None = None) -> None:  # fmt: skip
    """Serve until told to stop. A room that is told of (a demo is not) is backed up, too."""
    from waitress.server import create_server  # type: ignore[import-untyped]

    from app import create_app
    from app.background import keep_going

    app = create_app(config, database=database, watch=watch)
    keep_steady()
    _keep_log(config, app)
    inner = _bound(LOOPBACK, 0) if context else door
    server = create_server(
        app, sockets=[inner], threads=8, connection_limit=1000, asyncore_use_poll=True, channel_timeout=30,
        max_request_body_size=LARGEST_REQUEST, url_scheme="https" if context else "http", ident=None,
    )  # fmt: skip
    if context:
        from app.web.tls import take_off

        take_off(door, inner.getsockname()[1], context)
    stopped = threading.Event()
    keeper = _keeper(config, database, told) if told is not None else None
    keep_going(database, watch, config.zone, stopped, config.data / "uploads", keeper)
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, signal.default_int_handler)
    server.run()
    stopped.set()
    database.engine.dispose()


def _keeper(config: Config, database: Database, told: Mapping[str, str]) -> Keeper:
    from app.backing_up import Keeper, run_apart
    from app.db.lock import tell_of_oneself

    tell_of_oneself(config.database_url, told)
    return Keeper(database, config.data, config.zone, run_apart(config))


def _keep_log(config: Config, app: Flask) -> None:
    from app.logs import keep_log

    # It writes a line whenever two requests meet; what matters is written by the pages themselves.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    try:
        keep_log(config.data, app.logger, logging.getLogger("waitress"))
    except OSError as error:
        print(f"There is no log: the folder {error.filename} cannot be made ({error.strerror}).", file=sys.stderr)


def keep_steady() -> None:
    """Before the doors open: a page that reckons lets the scans have their turn ten times as often as Python would by itself;
    and what is there by now stays, so it is never looked through for what can go. That would stop everybody for a tenth of a
    second, again and again while a file comes in.
    """
    sys.setswitchinterval(SWITCH_S)
    gc.collect()
    gc.freeze()
    gc.enable()


def _safe(tls: Tls) -> SSLContext:
    from ssl import SSLError

    from app.web.tls import context_of

    try:
        return context_of(*tls)
    except OSError as error:
        # The errors of OpenSSL speak of its own source.
        why = "they do not fit together, or are no PEM files" if isinstance(error, SSLError) else error.strerror
        raise Failed(f"The certificate {tls[0]} and the key {tls[1]} cannot be used: {why}.") from error
