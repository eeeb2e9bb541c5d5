"""Several stations that work at once over HTTP, as scanners and browsers do: each keeps a scan until it was answered."""

from __future__ import annotations

import http.client
import itertools
import re
import threading
import urllib.parse
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from typing import Any

from app.domain.numbers import mint
from tests.faults.served import Keys, ask
from tests.room import TQX

LIST = 12


class Numbers:
    """New numbers for everybody, none twice."""

    def __init__(self, after: int = 1000) -> None:
        self._serial, self._guard = after, threading.Lock()

    def next(self) -> str:
        with self._guard:
            self._serial, number = mint(TQX, self._serial)
            return number


@dataclass(frozen=True, slots=True)
class Sent:
    """One request that writes so many entries, or all of them not."""

    path: str
    body: dict[str, Any]
    entries: int = 1

    @property
    def scan_id(self) -> str:
        return str(self.body["scan_id"])


@dataclass
class Sender:
    """Somebody who sends one request after the other. `held` is the one that has not been answered."""

    name: str
    key: str
    work: Iterator[Sent]
    held: Sent | None = None
    answered: dict[str, tuple[Sent, dict[str, Any]]] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)

    def run(self, port: int, stop: threading.Event) -> None:
        """Send until told to stop or until nobody answers any more; what was not answered is sent first the next time."""
        try:
            with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=30)) as line:
                self._open(line)
                while not stop.is_set():
                    self.held = self.held or next(self.work)
                    self._send(line, self.held)
        except (OSError, http.client.HTTPException):
            return

    def again(self, port: int, how_many: int = 3) -> int:
        """Send some of what was answered once more, as a station does that never saw the answer; how many were answered otherwise."""
        other = 0
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as line:
            self._open(line)
            for sent, told in list(self.answered.values())[-how_many:]:
                other += self._ask(line, sent)[1] != told
        return other

    def _open(self, line: http.client.HTTPConnection) -> None:
        """Whatever is needed before the first request."""

    def _send(self, line: http.client.HTTPConnection, sent: Sent) -> None:
        status, told = self._ask(line, sent)
        if status != 200:
            self.wrong.append(f"{self.name}: {status} {told}")
            raise http.client.HTTPException(str(told))
        self.answered[sent.scan_id] = sent, told
        self.held = None

    def _ask(self, line: http.client.HTTPConnection, sent: Sent) -> tuple[int, dict[str, Any]]:
        return ask(line, sent.path, self.key, sent.body)


@dataclass
class Browser(Sender):
    """A station's own page: its form with cookies and a token, over the same line."""

    cookies: str = ""
    token: str = ""

    def _open(self, line: http.client.HTTPConnection) -> None:
        line.request("GET", "/station", headers={"Cookie": f"blotter-station={self.key}"})
        response = line.getresponse()
        page = response.read().decode()
        found = re.search(r'name="csrf_token"[^>]*value="([^"]+)"', page)
        if found is None:
            raise http.client.HTTPException(page)
        mine = [
            f"blotter-station={self.key}",
            *(each.split(";")[0] for each in response.headers.get_all("Set-Cookie", [])),
        ]
        self.cookies, self.token = "; ".join(mine), found.group(1)

    def _ask(self, line: http.client.HTTPConnection, sent: Sent) -> tuple[int, dict[str, Any]]:
        fields = urllib.parse.urlencode({**sent.body, "csrf_token": self.token})
        heads = {"Cookie": self.cookies, "X-Station": "1", "Content-Type": "application/x-www-form-urlencoded"}
        line.request("POST", sent.path, fields, heads)
        response = line.getresponse()
        page = response.read().decode()
        return response.status, {
            "answer": response.headers["X-Answer"],
            "undo": re.findall(r'name="entry" value="(\d+)"', page),
        }


def staff(keys: Keys, run: str, numbers: Numbers | None = None) -> list[Sender]:
    """Five who work at once: a scanner at intake, the page of intake, somebody at the press, one at a table, and lists."""
    numbers = numbers or Numbers()

    def ids(name: str) -> Iterator[str]:
        return (f"{run}-{name}-{each}" for each in itertools.count())

    return [
        Sender("scanner", keys.station, _taken_in(ids("scanner"), numbers)),
        Browser("page", keys.cookie, _on_the_page(ids("page"), numbers)),
        Sender("press", keys.manager, _weights(ids("press"))),
        Sender("table", keys.manager, _lives(ids("table"), numbers)),
        Sender("lists", keys.manager, _lists(ids("lists"), numbers)),
    ]


def _taken_in(ids: Iterator[str], numbers: Numbers) -> Iterator[Sent]:
    for scan_id in ids:
        yield Sent("/api/scans", {"scan_id": scan_id, "code": numbers.next(), "step": "take-in", "workers": ["W04"]})


def _on_the_page(ids: Iterator[str], numbers: Numbers) -> Iterator[Sent]:
    for scan_id in ids:
        yield Sent("/station/scan", {"scan_id": scan_id, "code": numbers.next(), "step": "take-in"})


def _weights(ids: Iterator[str]) -> Iterator[Sent]:
    for turn, scan_id in enumerate(ids):
        body = {"scan_id": scan_id, "on": turn % 2 == 0, "workers": ["W02"], "station": "press"}
        yield Sent("/api/stacks/P1/weights", body)


def _lives(ids: Iterator[str], numbers: Numbers) -> Iterator[Sent]:
    """A sheet after the other from intake onto a table and under glue, then the next."""
    dry = {"dryness": True, "label": True}
    while True:
        number = numbers.next()
        for station, step, more in (("intake", "take-in", {}), ("intake", "arrive-dry", {"facts": dry}),
                                    ("table-1", "take-up", {}), ("table-1", "mount", {})):  # fmt: skip
            body = {"scan_id": next(ids), "code": number, "station": station, "step": step, "workers": ["W02"], **more}
            yield Sent("/api/scans", body)


def _lists(ids: Iterator[str], numbers: Numbers) -> Iterator[Sent]:
    for scan_id in ids:
        sheets = [{"catalogNumber": numbers.next(), "scientificName": "Drosera rotundifolia L."} for _ in range(LIST)]
        yield Sent("/api/sheets", {"scan_id": scan_id, "sheets": sheets, "consignment": "QF-26"}, LIST)
