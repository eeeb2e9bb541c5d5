"""When a scan was made: the script that reckons it, with clocks that stand still, are set, and are heard of late; and reading codes."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page

from app.domain.numbers import CODES, COMMANDS, Kind, mint
from app.domain.reading import Exact, read
from tests.browser.conftest import Served, enrol
from tests.room import TQX

# A module of its own, because its address differs: the page's own clock is left alone. Minutes on three clocks.
CLOCKS = """async (events) => {
    const steady = {at: 0}, device = {at: 0};
    const now = performance.now, date = Date.now;
    performance.now = () => steady.at * 60000; Date.now = () => device.at * 60000 + 7200000;
    try {
        const clock = await import('/static/station-clock.js?' + Math.random());
        let scan = null, later = [];
        for (const [what, server, on, off, held] of events) {
            steady.at = on; device.at = off;
            if (what === 'heard') clock.heard(new Response('', {headers: {'X-Now': String(server * 60000 - 1)}}), held);
            if (what === 'no answer') clock.unheard(held);
            if (what === 'scan') scan = {...clock.stamp()};
            if (what === 'next') later.push({...clock.stamp()});
            if (what === 'reopened') { scan.session = 'another'; scan.madeAt = 99999999; scan.before = null; }
        }
        const told = clock.timesOf(scan, later);
        return Object.fromEntries(Object.entries(told).map(([name, ms]) => [name, ms / 60000]));
    } finally { performance.now = now; Date.now = date; }
}"""
# Each event: what, and the minute on the server's clock, the page's steady clock and the device's clock.
TIMES: dict[str, tuple[list[list[Any]], dict[str, float]]] = {
    "it goes out at once": ([["heard", 600, 0, 0], ["scan", 0, 5, 5]], {}),
    "it waited an hour": ([["heard", 600, 0, 0], ["scan", 0, 5, 5], ["heard", 665, 65, 65]], {"happened_ms": 605}),
    "the device is set by two hours meanwhile": (
        [["heard", 600, 0, 0], ["scan", 0, 5, 125], ["heard", 665, 65, 185]], {"happened_ms": 605}),
    "and back by two hours after it": ([["heard", 600, 0, 0], ["scan", 0, 5, 5], ["heard", 665, 65, -55]], {"happened_ms": 605}),
    "the steady clock stood still for half an hour": (
        [["heard", 600, 0, 0], ["scan", 0, 5, 35], ["heard", 665, 35, 65]], {"not_before_ms": 605, "happened_ms": 635}),
    "it slept after the scan, and looks as if it had just been made": (
        [["heard", 600, 0, 0], ["scan", 0, 5, 5], ["heard", 665, 5.1, 65]], {"not_before_ms": 605, "happened_ms": 664.9}),
    "the server's clock was put back a little: it is never after now": (
        [["heard", 600, 0, 0], ["scan", 0, 5, 5], ["heard", 604, 5.5, 5.5]], {"happened_ms": 603.5}),
    "two minutes apart are believed": ([["heard", 600, 0, 0], ["scan", 0, 5, 5], ["heard", 667, 65, 67]], {"happened_ms": 605}),
    "a page that was opened without the server": ([["scan", 0, 5, 5], ["heard", 665, 65, 65]], {"happened_ms": 605}),
    "such a page, and it slept": ([["scan", 0, 5, 5], ["heard", 695, 65, 95]], {"not_before_ms": 0, "happened_ms": 635}),
    "the browser was closed and opened again": (
        [["heard", 600, 0, 0], ["scan", 0, 5, 5], ["heard", 665, 65, 65], ["reopened", 0, 65, 65]],
        {"not_before_ms": 605, "happened_ms": 665}),
    "and the next scan has a certain time": (
        [["heard", 600, 0, 0], ["scan", 0, 5, 5], ["next", 0, 20, 20], ["heard", 665, 65, 65], ["reopened", 0, 65, 65]],
        {"not_before_ms": 605, "happened_ms": 620}),
    "the server had heard since that nothing is held": (
        [["heard", 600, 0, 0], ["scan", 0, 5, 5], ["heard", 606, 6, 6, 0], ["heard", 665, 65, 65]], {"happened_ms": 606}),
    "or may have heard it": (
        [["heard", 600, 0, 0], ["scan", 0, 5, 5], ["no answer", 0, 5.1, 5.1, 0], ["heard", 665, 65, 65]], {"happened_ms": 605.1}),
}  # fmt: skip


@pytest.fixture
def station(served: Served, context: BrowserContext, page: Page) -> Page:
    enrol(served, context, "press")
    page.goto(served.url("/station"))
    return page


def test_the_time_that_a_scan_tells(station: Page) -> None:
    told = {name: station.evaluate(CLOCKS, events) for name, (events, _) in TIMES.items()}
    expected = {
        name: {each: pytest.approx(at, abs=0.001) for each, at in times.items()} for name, (_, times) in TIMES.items()
    }
    assert told == expected


def test_codes_are_read_as_the_server_reads_them_where_they_are_right_in_every_place(station: Page) -> None:
    numbers = [mint(TQX, after)[1] for after in (0, 41, 4216, 99_999)]
    codes = [
        *numbers,
        *COMMANDS.values(),
        *(CODES[kind].spell(1234) for kind in CODES if not CODES[kind].spell(1234).endswith("*")),
    ]
    typed = [*codes, *(code.lower() for code in codes), *(f"{n[:3]} {n[3:9]}-{n[9:]}" for n in numbers), f"]C1{numbers[0]}",
             f"{numbers[0][:3]}\u2013{numbers[0][3:]}", numbers[0].replace("0", "O"), "Ｔ" + numbers[0][1:],
             numbers[0][:-1], numbers[0][:-2] + numbers[0][-1], numbers[0] + "1", "", "hello", "TQX 12", "KC", "🌿" * 5,
             *(number[:-1] + other for number in numbers for other in "0123ABCXYZ*")]  # fmt: skip
    shapes = [
        ["sheet", TQX.prefix, TQX.width, TQX.check],
        *([k.value, s.prefix, s.width, s.check] for k, s in CODES.items()),
    ]
    here = station.evaluate(
        """async ([typed, shapes]) => { const codes = await import('/static/station-codes.js');
            return typed.map((each) => { const found = codes.read(each, shapes); return found && [found.kind, found.text]; }); }""",
        [typed, shapes],
    )
    server = [read(text, [TQX]) for text in typed]
    assert here == [[found.kind.value, found.text] if isinstance(found, Exact) else None for found in server]
    assert len([found for found in here if found]) > 60 and None in here
    assert [found[0] for found in here[:4]] == [Kind.SHEET.value] * 4
