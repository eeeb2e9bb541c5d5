"""Clients that keep their line open and ask: flat out for a number of requests or a time, or paced, so many a second."""

from __future__ import annotations

import socket
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from time import perf_counter

from tests.bench.asking import HOST, Request

Source = Iterator[Request]
QUIET_S = 15.0


class Line:
    """One connection to the server, kept open."""

    _rest = b""
    _used = 0.0

    def __init__(self, port: int) -> None:
        self._port = port
        self._open()

    def ask(self, request: Request) -> tuple[int, str, str]:
        """Send one request and wait for its answer: status, cookies that were set, and the body."""
        if perf_counter() - self._used > QUIET_S:
            # The server hangs up on those who have said nothing for half a minute.
            self.close()
            self._open()
        self._used = perf_counter()
        self._socket.sendall(request.as_bytes())
        data = self._rest
        while b"\r\n\r\n" not in data:
            data += self._more()
        head, _, body = data.partition(b"\r\n\r\n")
        lines = head.decode("latin-1").split("\r\n")
        named = [line.partition(": ") for line in lines[1:]]
        length = next((int(value) for name, _, value in named if name.lower() == "content-length"), 0)
        while len(body) < length:
            body += self._more()
        self._rest = body[length:]
        cookies = "\n".join(value for name, _, value in named if name.lower() == "set-cookie")
        return int(lines[0].split()[1]), cookies, body[:length].decode()

    def close(self) -> None:
        """Hang up."""
        self._socket.close()

    def _open(self) -> None:
        self._socket = socket.create_connection((HOST, self._port), timeout=60)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._rest, self._used = b"", perf_counter()

    def _more(self) -> bytes:
        data = self._socket.recv(65536)
        if not data:
            raise ConnectionError("The server hung up.")
        return data


@dataclass
class Heard:
    """What all clients were answered: the seconds of each answer, the number of answers by client and by status."""

    seconds: list[float] = field(default_factory=list)
    each: list[int] = field(default_factory=list)
    statuses: Counter[int] = field(default_factory=Counter)
    took: float = 0.0
    broken: list[OSError] = field(default_factory=list)

    @property
    def failures(self) -> int:
        """How many answers were failures of the server."""
        return sum(count for status, count in self.statuses.items() if status >= 500)


def flat_out(lines: Sequence[Line], sources: Sequence[Source], *, count: int = 10**9, seconds: float = 3600.0) -> Heard:
    """Every client asks as fast as it is answered, for so many requests or seconds."""

    def client(place: int, begin: float) -> Iterator[Request]:
        for done, request in enumerate(sources[place], 1):
            yield request
            if done >= count or perf_counter() - begin >= seconds:
                return

    return _all(lines, client)


def paced(lines: Sequence[Line], sources: Sequence[Source], *, every: float, seconds: float) -> Heard:
    """Every client asks once in `every` seconds, each at its own point of the second."""

    def client(place: int, begin: float) -> Iterator[Request]:
        due = begin + every * place / len(lines)
        for request in sources[place]:
            if due - begin >= seconds:
                return
            time.sleep(max(0.0, due - perf_counter()))
            yield request
            due += every

    return _all(lines, client)


def _all(lines: Sequence[Line], client: Callable[[int, float], Iterator[Request]]) -> Heard:
    heard = Heard(each=[0] * len(lines))
    begin = perf_counter() + 0.05
    threads = [
        threading.Thread(target=_one, args=(place, lines[place], client(place, begin), begin, heard))
        for place in range(len(lines))
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    heard.took = perf_counter() - begin
    if heard.broken:
        raise heard.broken[0]
    return heard


def _one(place: int, line: Line, requests: Iterator[Request], begin: float, heard: Heard) -> None:
    time.sleep(max(0.0, begin - perf_counter()))
    try:
        for request in requests:
            asked = perf_counter()
            status, _, _ = line.ask(request)
            heard.seconds.append(perf_counter() - asked)
            heard.statuses[status] += 1
            heard.each[place] += 1
    except OSError as error:
        heard.broken.append(error)
