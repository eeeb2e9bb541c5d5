"""People who look at the board while others scan: each asks for it again and again."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from tests.bench.asking import Request
from tests.bench.load import Line

Headers = tuple[tuple[str, str], ...]


def by_cookie(cookie: str) -> Headers:
    """As a station's browser asks."""
    return (("Cookie", f"blotter-station={cookie}"),)


def by_token(token: str) -> Headers:
    """As a script asks."""
    return (("Authorization", f"Bearer {token}"),)


@contextmanager
def viewers(
    port: int, headers: Headers, count: int, every: float = 1.0, path: str = "/board/live"
) -> Iterator[list[int]]:
    """So many viewers, each asking once in `every` seconds for the board as it is now, or for another page; the statuses that
    they were answered.
    """
    stopped, statuses = threading.Event(), list[int]()
    request = Request("GET", path, (*headers, ("HX-Request", "true")))
    threads = [threading.Thread(target=_look, args=(port, request, every, stopped, statuses)) for _ in range(count)]
    for thread in threads:
        thread.start()
    try:
        yield statuses
    finally:
        stopped.set()
        for thread in threads:
            thread.join()
    if set(statuses) - {200, 204}:
        raise AssertionError(f"{path} was answered with {set(statuses)}.")


def _look(port: int, request: Request, every: float, stopped: threading.Event, statuses: list[int]) -> None:
    line = Line(port)
    while not stopped.wait(every):
        statuses.append(line.ask(request)[0])
    line.close()
