"""Those who ask badly: bodies that break off, and fifty who send a byte a second. Everybody else is answered."""

from __future__ import annotations

import json
import socket
import threading
import time
from contextlib import closing, suppress
from statistics import median

from sqlalchemy import func, select

from app.db.engine import reading
from app.db.models import Scan, Sheet
from tests.faults.conftest import Place
from tests.faults.load import staff
from tests.faults.served import differences, opened

SLOW = 50


def test_a_body_that_breaks_off_writes_nothing_and_leaves_no_trace_in_the_log(place: Place) -> None:
    scanner, _, _, _, lists = staff(place.keys, "breaks")
    for sender in (scanner, lists):
        for cut in (0, 1, 40, -1):
            sent = next(sender.work)
            body = json.dumps(sent.body).encode()
            _breaks_off(place, sent.path, sender.key, body, body[:cut])
    big = json.dumps(
        {"scan_id": "breaks-big", "consignment": "QF-26", "sheets": [{"catalogNumber": "x"}] * 100_000}
    ).encode()
    _breaks_off(place, "/api/sheets", place.keys.manager, big, big[: len(big) // 2])
    # One at a time, after all of them: what was cut off has been given up by now.
    sent = next(scanner.work)
    assert place.served.post(sent.path, scanner.key, sent.body)[0] == 200
    with opened(place.folder) as database, reading(database) as session:
        kept = session.execute(select(Scan.scan_id).where(Scan.scan_id.startswith("breaks"))).scalars().all()
        assert kept == [sent.scan_id] and session.execute(select(func.count(Sheet.id))).scalar_one() == 1
    assert differences(place.folder) == []
    log = (place.folder / "logs" / "blotter.log").read_text()
    assert "Traceback" not in log + place.served.said() and "ERROR" not in log


def test_fifty_who_send_a_byte_a_second_hold_nobody_up(place: Place) -> None:
    scanner, stop = staff(place.keys, "slow")[0], threading.Event()
    alone = median(_times(place, scanner, 15))
    lines = [socket.create_connection(("127.0.0.1", place.served.port)) for _ in range(SLOW)]
    crawling = threading.Thread(target=_crawl, args=(lines, stop))
    crawling.start()
    beside = median(_times(place, scanner, 15))
    stop.set()
    crawling.join()
    for line in lines:
        line.close()
    # What the machine does meanwhile counts for something; to be held up by them would be seconds.
    assert beside < 4 * alone + 0.25, (alone, beside)
    assert differences(place.folder) == []


def _breaks_off(place: Place, path: str, key: str, whole: bytes, part: bytes) -> None:
    head = (f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Bearer {key}\r\nContent-Type: application/json\r\n"
            f"Content-Length: {len(whole)}\r\n\r\n")  # fmt: skip
    with closing(socket.create_connection(("127.0.0.1", place.served.port))) as line:
        line.sendall(head.encode() + part)


def _crawl(lines: list[socket.socket], stop: threading.Event) -> None:
    body = (
        b"POST /api/scans HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nContent-Length: 400\r\n\r\n"
    )
    for place in range(len(body)):
        for line in lines:
            with suppress(OSError):
                line.send(body[place : place + 1])
        if stop.wait(1):
            return


def _times(place: Place, sender: object, count: int) -> list[float]:
    taken = []
    for _ in range(count):
        sent = next(sender.work)  # type: ignore[attr-defined]
        begun = time.monotonic()
        assert place.served.post(sent.path, sender.key, sent.body)[0] == 200  # type: ignore[attr-defined]
        taken.append(time.monotonic() - begun)
    return taken
