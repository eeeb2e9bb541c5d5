"""A line that can be cut: the room served by a program of its own that is killed and started again, and a browser that is closed."""

from __future__ import annotations

import os
import socket
import ssl
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page

from app.clock import utc_now
from app.db.engine import transaction
from app.services.people import enrol_station
from tests.browser.conftest import ARGS, chromium, scan
from tests.room import Room

HOSTS = ("127.0.0.1", "room.test")
# Chromium itself writes such lines where nobody answers.
UP = "state => document.getElementById('scan-form')?.dataset.line === state"
LASTING = "() => document.getElementById('scan-form')?.dataset.keeps === 'lasting'"


@dataclass
class Line:
    """The room on a port of this machine, up or down."""

    room: Room
    folder: Path
    tls: tuple[Path, Path] | None = None
    port: int = 0
    process: Any = None
    browsers: list[BrowserContext] = field(default_factory=list)

    def url(self, path: str = "/station", host: str = "127.0.0.1") -> str:
        return f"{'https' if self.tls else 'http'}://{host}:{self.port}{path}"

    def up(self) -> None:
        """Start the program, and wait until it answers."""
        more = ["--tls", *map(str, self.tls)] if self.tls else []
        said = [
            sys.executable,
            "-m",
            "app",
            "serve",
            "--data",
            str(self.folder),
            "--host",
            "0.0.0.0",
            "--port",
            str(self.port),
        ]
        environ = {**os.environ, "BLOTTER_ZONE": "Europe/London"}
        with (self.folder / "said").open("w") as told:
            self.process = subprocess.Popen([*said, *more], env=environ, stdout=told, stderr=told)
        trusting = ssl.create_default_context()
        trusting.check_hostname, trusting.verify_mode = False, ssl.CERT_NONE
        for _ in range(200):
            try:
                urllib.request.urlopen(
                    self.url("/api/health"), timeout=5, context=trusting if self.tls else None
                ).close()
                return
            except OSError:
                if self.process.poll() is not None:
                    break
                time.sleep(0.05)
        raise AssertionError(f"the room did not open: {(self.folder / 'said').read_text()}")

    def cut(self) -> None:
        """Kill the program in the middle of whatever it does."""
        self.process.kill()
        self.process.wait(10)

    def browser(self, browser: Browser, home: Path, *, offset_ms: int = 0) -> BrowserContext:
        """Open the browser that keeps its things in this folder; its clock may be wrong."""
        opened = browser.browser_type.launch_persistent_context(
            home, executable_path=chromium(), headless=True,
            args=[*ARGS, "--ignore-certificate-errors"], ignore_https_errors=True, reduced_motion="reduce",
        )  # fmt: skip
        opened.set_default_timeout(20_000)
        # The device's clock is set by standing in for what a page asks of it; the steady clock is left as it is.
        opened.add_init_script(
            f"window.off = {offset_ms}; const real = Date.now; Date.now = () => real() + window.off;"
        )
        self.browsers.append(opened)
        return opened

    def enrol(self, context: BrowserContext, slug: str, host: str = "127.0.0.1") -> None:
        """Make this browser the screen of a station, for as long as browsers keep a cookie."""
        with transaction(self.room.database) as session:
            secret = enrol_station(session, self.room.station[slug], self.room.worker["hedda"], utc_now())
        cookie: Any = {
            "name": "blotter-station",
            "value": secret,
            "url": self.url(host=host),
            "expires": time.time() + 9e6,
        }
        context.add_cookies([cookie])


@contextmanager
def line_of(room: Room, folder: Path, *, tls: tuple[Path, Path] | None = None) -> Iterator[Line]:
    """A line that is down at first; whatever was opened on it is closed at the end."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    line = Line(room, folder, tls, port)
    try:
        yield line
    finally:
        for each in line.browsers:
            each.close()
        if line.process is not None and line.process.poll() is None:
            line.cut()


def self_signed(folder: Path) -> tuple[Path, Path]:
    """A certificate that nobody vouches for, and its key, made by openssl."""
    certificate, key = folder / "room.pem", folder / "room.key"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
         "-subj", "/CN=room.test", "-addext", "subjectAltName=DNS:room.test,IP:127.0.0.1", "-keyout", key, "-out", certificate],
        check=True, capture_output=True,
    )  # fmt: skip
    return certificate, key


def stands(page: Page, state: str) -> None:
    """Wait until the station's page takes the line to be up, down, or shut."""
    page.wait_for_function(UP, arg=state)


def keeps_lastingly(page: Page) -> None:
    """Wait until the page has found out how it keeps scans."""
    page.wait_for_function(LASTING)


def opens_without(page: Page) -> bool:
    """Whether the page can be opened without the server, once it has found out."""
    page.wait_for_function("() => document.getElementById('scan-form').dataset.opens")
    return bool(page.evaluate("() => document.getElementById('scan-form').dataset.opens === 'without-server'"))


def kept(page: Page) -> list[str]:
    """What the page says is kept."""
    return page.locator("#kept li").all_inner_texts()


def back(page: Page) -> None:
    """The device says that it has a network again, so that the page asks at once and not in some seconds."""
    page.evaluate("() => { window.dispatchEvent(new Event('online')); }")


def keeps(page: Page, count: int) -> None:
    """Wait until so many scans are kept."""
    page.wait_for_function("count => document.getElementById('scan-form').dataset.kept === String(count)", arg=count)


def scans_to_the_end(page: Page, code: str, count: int) -> datetime:
    """Scan a code without a line, and wait until so many are kept; when that was."""
    made = utc_now()
    scan(page, code)
    page.wait_for_function("count => document.querySelectorAll('#kept li').length === count", arg=count)
    return made


def near(moment: datetime, other: datetime, seconds: float = 2) -> bool:
    """Whether two moments are as good as the same."""
    return abs(moment - other) <= timedelta(seconds=seconds)
