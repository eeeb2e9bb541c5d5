"""How a scan reaches the program: as a script's JSON, or as the form that a station's screen sends."""

from __future__ import annotations

import io
import json
import re
import secrets
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

HOST = "127.0.0.1"


@dataclass(frozen=True, slots=True)
class Request:
    """One request, ready to be sent."""

    method: str
    path: str
    headers: tuple[tuple[str, str], ...] = ()
    body: bytes = b""

    def as_bytes(self) -> bytes:
        """As it goes over the wire."""
        lines = [f"{self.method} {self.path} HTTP/1.1", f"Host: {HOST}", f"Content-Length: {len(self.body)}"]
        lines += [f"{name}: {value}" for name, value in self.headers]
        return "\r\n".join(lines).encode() + b"\r\n\r\n" + self.body

    def as_environ(self) -> dict[str, Any]:
        """As the server hands it to the application."""
        named = {"HTTP_" + name.upper().replace("-", "_"): value for name, value in self.headers}
        return {
            "REQUEST_METHOD": self.method, "PATH_INFO": self.path, "SCRIPT_NAME": "", "QUERY_STRING": "", "SERVER_NAME": HOST,
            "SERVER_PORT": "80", "HTTP_HOST": HOST, "SERVER_PROTOCOL": "HTTP/1.1", "REMOTE_ADDR": HOST, "wsgi.url_scheme": "http",
            "CONTENT_TYPE": named.get("HTTP_CONTENT_TYPE", ""), "CONTENT_LENGTH": str(len(self.body)),
            "wsgi.input": io.BytesIO(self.body), "wsgi.errors": io.StringIO(), "wsgi.version": (1, 0), "wsgi.multithread": True,
            "wsgi.multiprocess": False, "wsgi.run_once": False, **named,
        }  # fmt: skip


Scanning = Callable[[str], Request]
HELLO_REQUEST = Request("GET", "/hello")
JSON_BODY = ("Content-Type", "application/json")


def by_script(token: str) -> Scanning:
    """Scans sent as a script sends them, with a station's key."""
    headers = (("Authorization", f"Bearer {token}"), JSON_BODY)

    def scan(number: str) -> Request:
        body = json.dumps({"scan_id": secrets.token_urlsafe(16), "code": number})
        return Request("POST", "/api/scans", headers, body.encode())

    return scan


def by_hand_written(station: int) -> Scanning:
    """Scans sent to the hand-written endpoint."""

    def scan(number: str) -> Request:
        body = json.dumps({"scan_id": secrets.token_urlsafe(16), "code": number, "station": station})
        return Request("POST", "/raw", (JSON_BODY,), body.encode())

    return scan


def by_screen(cookie: str, send: Callable[[Request], tuple[int, str, str]]) -> Scanning:
    """Scans sent as a station's screen sends them: its cookie, and the token that its page was given.

    `send` asks once for the page and gives back status, cookies that were set, and the body.
    """
    mine = f"blotter-station={cookie}"
    status, cookies, body = send(Request("GET", "/station", (("Cookie", mine),)))
    found = re.search(r'name="csrf_token"[^>]*value="([^"]+)"', body)
    if status != 200 or found is None:
        raise AssertionError(f"The station's page was answered with {status}: {body[:300]}")
    session = re.search(r"blotter=[^;]+", cookies)
    jar = "; ".join(filter(None, (mine, session.group(0) if session else "")))
    headers = (("Cookie", jar), ("Content-Type", "application/x-www-form-urlencoded"), ("X-Station", "1"))

    def scan(number: str) -> Request:
        sent = {"scan_id": secrets.token_urlsafe(16), "code": number, "held": "0", "csrf_token": found.group(1)}
        return Request("POST", "/station/scan", headers, urlencode(sent).encode())

    return scan


def deeds(sheets: Iterator[str]) -> Iterator[str]:
    """What one worker scans: four sheets are taken up, the same four mounted, then laid in; and so on."""
    while run := [number for _, number in zip(range(4), sheets, strict=False)]:
        for _ in range(3):
            yield from run


def ask(application: Callable[..., Any], request: Request) -> tuple[int, str, str]:
    """What the application itself answers: status, cookies that it sets, and the body."""
    heard: list[tuple[str, list[tuple[str, str]]]] = []
    found = application(request.as_environ(), lambda status, headers, exc_info=None: heard.append((status, headers)))
    body = b"".join(found)
    status, headers = heard[0]
    cookies = "\n".join(value for name, value in headers if name.lower() == "set-cookie")
    return int(status[:3]), cookies, body.decode()
