"""A real server and a real browser for the stations' tests. Every test fails on an error in the browser's console."""

from __future__ import annotations

import os
import re
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, sync_playwright
from waitress.server import create_server
from waitress.wasyncore import close_all

from app import create_app
from app.clock import utc_now
from app.config import Config
from app.db.engine import Database, transaction
from app.services.people import enrol_station, set_password
from tests.room import LONDON, Room

ARGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
        "--disable-component-update", "--disable-sync", "--host-resolver-rules=MAP room.test 127.0.0.1"]  # fmt: skip
PASSWORD = "herbarium-paste"
# Chromium itself writes these lines whenever a request is answered with a refusal, or a test cuts the line.
EXPECTED = re.compile(
    r"Failed to load resource: (the server responded with a status of 4(22|04|03|09)|net::ERR_FAILED)"
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """A real browser on a busy machine is late now and then: a test that failed is run once more, and then counts.

    The end of the run names each such case (R), so that one that comes often is seen.
    """
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.flaky(reruns=1))


@dataclass
class Served:
    """A room that is served on a port of this machine."""

    room: Room
    port: int
    slow_s: float = 0.0
    posts: list[str] = field(default_factory=list)

    def url(self, path: str = "/", host: str = "127.0.0.1") -> str:
        return f"http://{host}:{self.port}{path}"


@pytest.fixture
def served(database: Database, tmp_path: Path) -> Iterator[Served]:
    """The room of the tests, on the air, now."""
    room = Room(database, utc_now())
    config = Config(tmp_path, "", LONDON, "k" * 40)
    app = create_app(config, database=database)
    served = Served(room, 0)
    app.wsgi_app = _slow(app.wsgi_app, served)  # type: ignore[method-assign]
    with on_the_air(app) as served.port:
        yield served


@contextmanager
def on_the_air(app: Any) -> Iterator[int]:
    """Serve an application on a port of this machine; gives the port."""
    server = create_server(app, host="127.0.0.1", port=0, threads=6)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield server.effective_port
    # Closed by its own thread: closed from here, it may just be waiting on the very sockets that go.
    server.trigger.pull_trigger(lambda: close_all(server._map, ignore_all=True))
    thread.join(10)
    assert not thread.is_alive()
    server.task_dispatcher.shutdown()


def _slow(wsgi: Any, served: Served) -> Callable[[Any, Any], Any]:
    def wrapped(environ: Any, start: Any) -> Any:
        # What a station's page says of the line by itself is nobody's deed.
        if environ["REQUEST_METHOD"] == "POST" and environ["PATH_INFO"] != "/station/contact":
            served.posts.append(environ["PATH_INFO"])
            time.sleep(served.slow_s)
        return wsgi(environ, start)

    return wrapped


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium, as the machine has it."""
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=chromium(), headless=True, args=ARGS)
        yield opened
        opened.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    """A browser of its own for one test."""
    # Still pictures: what fades in has no contrast of its own while it does.
    opened = browser.new_context(viewport={"width": 1440, "height": 900}, reduced_motion="reduce")
    opened.set_default_timeout(20_000)
    yield opened
    opened.close()


@pytest.fixture
def page(context: BrowserContext) -> Iterator[Page]:
    """A page whose console stays clean."""
    errors: list[str] = []
    opened = context.new_page()
    watch(opened, errors)
    yield opened
    assert errors == []


def watch(page: Page, errors: list[str]) -> None:
    """Gather what goes wrong on a page; a dialog is wrong too."""

    def heard(message: ConsoleMessage) -> None:
        if message.type in ("error", "warning") and not EXPECTED.search(message.text):
            errors.append(message.text)

    page.on("console", heard)
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("dialog", lambda dialog: (errors.append(f"dialog: {dialog.message}"), dialog.dismiss()))


def chromium() -> str:
    """Where the machine's Chromium is."""
    path = (
        os.environ.get("CHROMIUM")
        or shutil.which("chromium")
        or shutil.which("chromium-browser")
        or shutil.which("google-chrome")
    )
    assert path, "The tests want Chromium: apt-get install chromium, or set CHROMIUM to its path."
    return path


def enrol(served: Served, context: BrowserContext, slug: str, host: str = "127.0.0.1") -> None:
    """Make this browser the screen of a station."""
    with transaction(served.room.database) as session:
        secret = enrol_station(session, served.room.station[slug], served.room.worker["hedda"], served.room.now)
    context.add_cookies([{"name": "blotter-station", "value": secret, "url": served.url(host=host)}])


def sign_in(served: Served, page: Page, who: str = "Hedda Brackwater", host: str = "127.0.0.1") -> None:
    """Sign in with a password."""
    key = who.split()[0].lower()
    with transaction(served.room.database) as session:
        set_password(session, served.room.worker[key], PASSWORD, served.room.now)
    page.goto(served.url("/sign-in", host))
    page.get_by_label("Your name or number").fill(who)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(served.url("/board", host))


def scan(page: Page, code: str) -> None:
    """A scanner types a code and presses Enter."""
    page.keyboard.type(code)
    page.keyboard.press("Enter")


def answered(page: Page, word: str) -> None:
    """Wait for the answer with this word."""
    page.wait_for_function("word => document.getElementById('answer-word')?.textContent.trim() === word", arg=word)


def taken_up(served: Served, context: BrowserContext, page: Page) -> str:
    """The number of a sheet that was taken up just now at the first table, whose page is open."""
    number = served.room.sheet_ready()
    enrol(served, context, "table-1")
    page.goto(served.url("/station"))
    scan(page, number)
    answered(page, "Taken up.")
    return number
