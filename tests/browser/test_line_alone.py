"""What a station answers by itself while the line is down: what it keeps, what it leaves, and what it says of how it keeps."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from app.domain.numbers import COMMANDS, shown
from tests.browser.conftest import Served, answered, enrol, scan, watch
from tests.browser.lines import back, keeps, keeps_lastingly, kept, stands
from tests.browser.test_access import violations
from tests.room import TQX

EVERY = re.compile(r".*/station(/.*)?$")


@pytest.fixture
def page(context: BrowserContext) -> Iterator[Page]:
    """A page whose console stays clean, but for what the browser itself says of a line that is cut."""
    of_the_line = ("ERR_FAILED", "htmx:error", "An unknown error occurred when fetching the script.")
    errors: list[str] = []
    opened = context.new_page()
    watch(opened, errors)
    yield opened
    assert [each for each in errors if not any(said in each for said in of_the_line)] == []


def at(served: Served, context: BrowserContext, page: Page, slug: str) -> None:
    """The page of a station, with a line."""
    enrol(served, context, slug)
    page.goto(served.url("/station"))
    keeps_lastingly(page)
    stands(page, "up")


def cut(page: Page) -> None:
    """Nothing reaches the server any more, and the page has noticed."""
    page.context.route(EVERY, lambda route: route.abort())
    page.evaluate("() => { window.dispatchEvent(new Event('offline')); }")
    stands(page, "down")


def mend(page: Page) -> None:
    page.context.unroute(EVERY)
    back(page)
    stands(page, "up")


def answer(page: Page) -> dict[str, str]:
    """The answer in the one place: kind, word and all that it says."""
    found: dict[str, str] = page.evaluate("""() => { const it = document.getElementById('answer');
        return {kind: it.dataset.kind, own: it.dataset.own || '', text: it.innerText}; }""")
    return found


def heard(page: Page) -> list[str]:
    """Gather what the sounds are asked for from now on."""
    page.evaluate("""() => { window.rung = [];
        for (const each of ['told', 'scanned']) document.body.addEventListener(each, (event) => window.rung.push(event.detail)); }""")
    return []


UNSAFE: dict[str, Any] = {
    "a sheet to pass as dry": ("drying", lambda room: room.sheet_ready()),
    "a sheet to take in": ("intake", lambda room: room.new_number()),
    "a sheet to inspect": ("inspection", lambda room: room.sheet_ready()),
    "a sheet to file": ("filing", lambda room: room.sheet_ready()),
    "a shelf": ("table-1", lambda room: room.code("shelf", "M1/2")),
    "the card closing": ("table-1", lambda room: COMMANDS["closing"]),
    "the card undo, with nothing kept": ("table-1", lambda room: COMMANDS["undo"]),
}


@pytest.mark.parametrize("what", UNSAFE)
def test_what_cannot_be_believed_later_is_answered_not_yet_and_never_written(
    served: Served, context: BrowserContext, page: Page, what: str
) -> None:
    slug, made = UNSAFE[what]
    code = made(served.room)
    at(served, context, page, slug)
    cut(page)
    heard(page)
    scan(page, code)
    answered(page, "Not yet.")
    told = answer(page)
    assert told["kind"] == "not-yet" and "Leave it, the line is down." in told["text"]
    # In the look of the server's answers: its colour and pattern by the same class, its shape by the same drawing, its sound.
    assert page.locator("#answer.answer-not-yet .answer-icon use").get_attribute("href") == "#mark-not-yet"
    assert page.evaluate("window.rung") == ["not-yet"]
    assert kept(page) == [] and page.evaluate("document.activeElement.id") == "code"
    assert violations(page) == {}
    mend(page)
    assert served.posts == [] and page.locator("#aside").is_hidden()


def test_a_table_keeps_sheets_and_badges_in_order_and_undo_lets_go_of_the_last(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    first, second, third = (room.sheet_ready() for _ in range(3))
    at(served, context, page, "table-1")
    cut(page)
    for code in (first, room.code("badge", "piet"), second, third):
        scan(page, code)
    keeps(page, 4)
    assert answer(page)["kind"] == "done" and "Number 4, scanned at" in answer(page)["text"]
    scan(page, COMMANDS["undo"])
    answered(page, "Undone.")
    keeps(page, 3)
    assert "3 scans are kept here" in page.locator("#line").inner_text()
    assert [each.split(":")[0] for each in kept(page)] == ["No. 1", "No. 2", "No. 3"]
    assert shown(second, [TQX]) in kept(page)[2]
    assert violations(page) == {}
    mend(page)
    keeps(page, 0)
    assert [room.steps(number)[-1] for number in (first, second, third)] == ["take-up", "take-up", "arrive-dry"]
    assert [hands_of(room, number) for number in (first, second)] == [["olwen"], ["piet"]]
    # The numbers run on: what is kept next is not called by a number that was another's.
    cut(page)
    scan(page, third)
    keeps(page, 1)
    assert kept(page)[0].startswith("No. 5:")


def hands_of(room: Any, number: str) -> list[str]:
    from sqlalchemy import select

    from app.db.engine import reading
    from app.db.models import EntryWorker

    names = {worker_id: name for name, worker_id in room.worker.items()}
    with reading(room.database) as session:
        found = select(EntryWorker.worker_id).where(EntryWorker.entry_id == room.log(number)[-1]["id"])
        return [names[worker] for worker in session.execute(found).scalars()]


def test_what_does_not_read_right_is_said_at_once_and_a_double_read_is_one(
    served: Served, context: BrowserContext, page: Page
) -> None:
    number = served.room.sheet_ready()
    at(served, context, page, "table-1")
    cut(page)
    wrong = number[:-1] + ("7" if number[-1] != "7" else "8")
    scan(page, wrong)
    answered(page, "Stop.")
    assert "does not read right" in answer(page)["text"] and kept(page) == []
    heard(page)
    for _ in range(2):
        scan(page, number.lower())
    page.wait_for_function("() => window.rung.length === 2")
    keeps(page, 1)
    assert page.evaluate("window.rung") == ["done", "done"]


def test_without_anybody_signed_in_nothing_is_kept_but_a_badge(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    number = room.sheet_ready()
    at(served, context, page, "table-1")
    cut(page)
    scan(page, COMMANDS["done"])
    answered(page, "Kept.")
    scan(page, number)
    answered(page, "Stop.")
    assert "Nobody is signed in here." in answer(page)["text"] and len(kept(page)) == 1
    scan(page, room.code("badge", "piet"))
    keeps(page, 2)
    scan(page, number)
    keeps(page, 3)
    mend(page)
    keeps(page, 0)
    assert hands_of(room, number) == ["piet"]


# -- the press ------------------------------------------------------------------------------------------------------
def test_the_press_knows_what_may_come_out_and_takes_nothing_out(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    began = room.now
    room.wait(hours=-30)
    room.weights("off", "P1")
    ready = room.sheet_in("P1")
    not_ready = room.sheet_in("P1", adhesive="paste")
    room.weights("on", "P1")
    room.weights("off", "P2")
    unweighted = room.sheet_in("P2")
    room.now = began
    glued = room.sheet_mounted()
    at(served, context, page, "press")
    page.wait_for_function("() => Object.keys(localStorage).some((key) => key.startsWith('blotter-out-'))")
    cut(page)
    # Paste lies for 48 hours (house rule), and its weights went on 30 hours ago.
    ready_at = (began + timedelta(hours=18)).astimezone(room.zone).strftime("%H:%M")
    for number, says in ((ready, "It has had its time since"), (not_ready, f"It may come out at {ready_at}, if the weights of P1 stay on."),
                         (unweighted, "P2's clock is not running")):  # fmt: skip
        scan(page, number)
        page.wait_for_function(
            "words => document.getElementById('answer').innerText.includes(words)", arg=shown(number, [TQX])
        )
        told = answer(page)
        assert told["kind"] == "not-yet" and says in told["text"] and "Is it out already?" in told["text"], told
    assert "Lay it back" in answer(page)["text"] and kept(page) == []
    # Lifting is heard of: what had its time by then has it still, and the clock of the other stands.
    scan(page, room.code("off", "P1"))
    answered(page, "Kept.")
    scan(page, not_ready)
    answered(page, "Not yet.")
    assert "were lifted since" in answer(page)["text"]
    scan(page, ready)
    page.wait_for_function("() => document.getElementById('answer').innerText.includes('It has had its time since')")
    assert "Put it beside P1 with a slip of paper" in answer(page)["text"]
    scan(page, glued)
    answered(page, "Kept.")
    assert "Laid in P1" in answer(page)["text"]
    scan(page, room.code("on", "P1"))
    keeps(page, 3)
    mend(page)
    keeps(page, 0)
    assert [room.stage(number) for number in (ready, not_ready, unweighted, glued)] == ["under-press"] * 4


def test_a_sheet_for_the_press_without_an_open_stack_is_not_kept(
    served: Served, context: BrowserContext, page: Page
) -> None:
    number = served.room.sheet_mounted()
    at(served, context, page, "press")
    cut(page)
    scan(page, number)
    answered(page, "Not yet.")
    assert "No stack is open here." in answer(page)["text"] and kept(page) == []


# -- as the line goes down --------------------------------------------------------------------------------------------
def test_unsafe_scans_on_their_way_are_given_back_or_asked_for_again_and_never_guessed(
    served: Served, context: BrowserContext, page: Page
) -> None:
    """The first may have been received and is asked for with its id; those behind it were never sent, and are withdrawn."""
    room = served.room
    numbers = [room.new_number() for _ in range(3)]
    at(served, context, page, "intake")
    served.slow_s = 0.5
    # What is sent arrives, and its answer does not.
    page.evaluate(
        "() => { const ask = window.fetch; window.fetch = (...all) => ask(...all).then(() => { throw new TypeError('cut'); }); }"
    )
    for number in numbers:
        scan(page, number)
    stands(page, "down")
    answered(page, "Not yet.")
    aside = page.locator("#aside li").all_inner_texts()
    assert len(aside) == 2 and all("It was not written." in each for each in aside)
    assert len(kept(page)) == 1
    served.slow_s = 0
    page.reload()
    stands(page, "up")
    keeps(page, 0)
    answered(page, "Taken in.")
    assert [room_has(room, number) for number in numbers] == [True, False, False]
    assert room.steps(numbers[0]) == ["take-in"]


def test_of_what_met_the_line_as_it_went_down_it_is_said_that_nobody_knows_yet(
    served: Served, context: BrowserContext, page: Page
) -> None:
    number = served.room.new_number()
    at(served, context, page, "intake")
    context.route("**/station/scan", lambda route: route.abort())
    scan(page, number)
    answered(page, "Not yet.")
    assert "Whether it was written is not known yet." in answer(page)["text"]
    stands(page, "down")
    keeps(page, 1)
    context.unroute("**/station/scan")
    back(page)
    # Within the minute whoever scanned it still stands there.
    answered(page, "Taken in.")
    keeps(page, 0)


def room_has(room: Any, number: str) -> bool:
    from sqlalchemy import select

    from app.db.engine import reading
    from app.db.models import Sheet

    with reading(room.database) as session:
        return session.execute(select(Sheet.id).where(Sheet.number == number)).first() is not None


def test_an_answer_that_never_comes_is_not_waited_for_longer_than_some_seconds(
    served: Served, context: BrowserContext, page: Page
) -> None:
    number = served.room.sheet_ready()
    at(served, context, page, "table-1")
    page.context.route("**/station/scan", lambda route: None)
    # Eight seconds, in a tenth of a second: the page's own timers are quickened.
    page.evaluate(
        "() => { const real = window.setTimeout; window.setTimeout = (deed, ms, ...all) => real(deed, ms / 80, ...all); }"
    )
    scan(page, number)
    stands(page, "down")
    assert "1 scan is kept here" in page.locator("#line").inner_text() and answer(page)["text"].startswith("Kept.")
    page.context.unroute("**/station/scan")
    back(page)
    answered(page, "Taken up.")
    assert served.room.steps(number).count("take-up") == 1


# -- how it keeps ------------------------------------------------------------------------------------------------------
NO_STORE = {
    "refuses to open": "IDBFactory.prototype.open = () => { throw new Error('no'); };",
    "refuses to write": "IDBObjectStore.prototype.add = () => { throw new DOMException('full', 'QuotaExceededError'); };",
    "forgets": "IDBObjectStore.prototype.get = function () { return this.getAll(); };",
}


@pytest.mark.parametrize("how", NO_STORE)
def test_a_browser_that_cannot_keep_says_so_and_points_to_the_paper_form(
    served: Served, context: BrowserContext, page: Page, how: str
) -> None:
    number = served.room.sheet_ready()
    context.add_init_script(NO_STORE[how])
    enrol(served, context, "table-1")
    page.goto(served.url("/station"))
    stands(page, "up")
    assert page.evaluate("document.getElementById('scan-form').dataset.keeps") == "until-closed"
    assert "cannot keep scans when it is closed" in page.locator("#keeps").inner_text()
    assert page.get_by_role("link", name="The paper form").is_visible()
    cut(page)
    scan(page, number)
    answered(page, "Kept.")
    assert "write it on the paper form too" in answer(page)["text"]
    assert "write them on the paper form too" in page.locator("#line").inner_text()
    mend(page)
    keeps(page, 0)
    assert served.room.steps(number).count("take-up") == 1


@pytest.mark.parametrize("lasting", [True, False])
def test_closing_is_warned_of_only_where_scans_would_be_lost_with_the_page(
    served: Served, browser: Browser, lasting: bool
) -> None:
    context = browser.new_context(reduced_motion="reduce")
    if not lasting:
        context.add_init_script(NO_STORE["refuses to open"])
    page = context.new_page()
    warned: list[str] = []
    page.on("dialog", lambda dialog: (warned.append(dialog.type), dialog.accept()))
    enrol(served, context, "table-1")
    page.goto(served.url("/station"))
    stands(page, "up")
    cut(page)
    scan(page, served.room.sheet_ready())
    answered(page, "Kept.")
    context.unroute(EVERY)
    page.reload()
    assert warned == ([] if lasting else ["beforeunload"])
    context.close()


# -- two pages of one station --------------------------------------------------------------------------------------------
@pytest.mark.parametrize("locks", [True, False], ids=["with turns", "without"])
def test_two_pages_of_one_station_send_each_scan_once_and_in_order(
    served: Served, context: BrowserContext, page: Page, locks: bool
) -> None:
    room = served.room
    numbers = [room.sheet_ready() for _ in range(8)]
    if not locks:
        # As over plain http, where a browser knows no turns.
        context.add_init_script("Object.defineProperty(Navigator.prototype, 'locks', {value: undefined});")
    at(served, context, page, "table-1")
    other = context.new_page()
    other.goto(served.url("/station"))
    stands(other, "up")
    both_kept(context, page, other, numbers)
    served.slow_s = 0.05
    context.unroute(EVERY)
    for each in (page, other):
        back(each)
    for each in (page, other):
        stands(each, "up")
        keeps(each, 0)
    assert [room.steps(number).count("take-up") for number in numbers] == [1] * 8
    entries = [room.log(number)[-1]["id"] for number in numbers]
    assert entries == sorted(entries)
    assert not locks or len(served.posts) == 8


def both_kept(context: BrowserContext, page: Page, other: Page, numbers: list[str]) -> None:
    """Scan these in turn in two pages without a line."""
    context.route(EVERY, lambda route: route.abort())
    for each in (page, other):
        each.evaluate("() => { window.dispatchEvent(new Event('offline')); }")
        stands(each, "down")
    says = "text => document.getElementById('answer').innerText.includes(text)"
    for place, number in enumerate(numbers):
        scanner = page if place % 2 else other
        scanner.bring_to_front()
        scan(scanner, number)
        scanner.wait_for_function(says, arg=shown(number, [TQX]))


# -- ways out -------------------------------------------------------------------------------------------------------------
def test_without_a_line_the_page_does_not_lead_into_nothing(
    served: Served, context: BrowserContext, page: Page
) -> None:
    at(served, context, page, "table-1")
    cut(page)
    page.get_by_role("link", name="Find a sheet").click()
    answered(page, "Not yet.")
    page.get_by_text("Someone else").click()
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.wait_for_function("() => document.getElementById('answer').innerText.includes('scan your badge')")
    assert page.url == served.url("/station")
    mend(page)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.wait_for_url(served.url("/station/sign-in"))
    assert "Hello" in answer(page)["text"]


def test_a_browser_that_is_no_longer_this_station_keeps_what_it_has_and_says_so(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    number, other = room.sheet_ready(), room.sheet_ready()
    at(served, context, page, "table-1")
    cut(page)
    scan(page, number)
    answered(page, "Kept.")
    enrol(served, context, "table-2")
    context.unroute(EVERY)
    back(page)
    stands(page, "shut")
    assert (
        "no longer this station" in page.locator("#line").inner_text()
        and "nothing of it is lost" in page.locator("#line").inner_text()
    )
    scan(page, other)
    page.wait_for_function("() => document.getElementById('answer').innerText.includes('Nothing was written or kept')")
    # As the other station it does not send what was made as this one.
    page.reload()
    stands(page, "up")
    assert "another station" in page.locator("#line").inner_text() and "(of another station)" in kept(page)[0]
    assert room.steps(number)[-1] == "arrive-dry"
    enrol(served, context, "table-1")
    page.reload()
    keeps(page, 0)
    assert room.steps(number)[-1] == "take-up" and room.log(number)[-1]["station_id"] == room.station["table-1"]
