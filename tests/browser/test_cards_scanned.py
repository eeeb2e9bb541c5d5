"""Every card that hangs or lies in the room, scanned at every kind of station as a scanner types: each gets a sensible answer."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
from playwright.sync_api import BrowserContext, Page
from sqlalchemy import select, update

from app.db.engine import reading, transaction
from app.db.models import Cabinet, Station, table_of
from app.domain.numbers import COMMANDS
from app.domain.stages import Step
from app.domain.stations import KINDS
from app.services import room as furnishing
from app.services.attendance import NOTHING_IN_HAND
from tests.browser.conftest import Served, enrol
from tests.room import Room

STATION = table_of(Station)
KEY_MS = 30  # a scanner that types like a keyboard; common ones are quicker (from memory)
NONSENSE = re.compile(
    "not used here|not a number or a card|No (sheet|bundle|stack|place) here has this|too long", re.IGNORECASE
)
COUNT = "() => { window.answers = 0; document.body.addEventListener('scanned', () => { window.answers += 1; }); }"
SAID = """() => {
  const answer = document.getElementById('answer');
  const text = (selector) => [...answer.querySelectorAll(selector)].map((each) => each.textContent.trim()).join(' ');
  return {kind: answer.dataset.kind, word: text('#answer-word'), lines: text('.answer-lines li'), next: text('.answer-next'),
          asks: answer.querySelectorAll('.answer-choices button, .answer-ask input').length};
}"""


@dataclass(frozen=True)
class Said:
    """What the one place says."""

    kind: str
    word: str
    lines: str
    next: str
    asks: int


def furnished(room: Room) -> dict[str, str]:
    """One station of each kind, and a card of each kind: what it is, and its code."""
    room.wait(hours=-30)
    codes = {f"a sheet {name}": number for name, number in _sheets(room).items()}
    with transaction(room.database) as session:
        furnishing.add_bundle(session, "Tray 4")
        furnishing.add_bundle(session, "Tray 5")
        for slug, (name, steps) in KINDS.items():
            room.station[f"a-{slug}"] = furnishing.add_station(session, f"a-{slug}", f"{name}, second", steps, room.now)
    in_tray = room.new_number()
    room.scans(room.code("bundle", "Tray 4"), "intake")
    room.scans(in_tray, "intake", step=Step.TAKE_IN)
    with reading(room.database) as session:
        cabinet = session.execute(select(Cabinet.code).where(Cabinet.name == "M1")).scalar_one()
        stations = {row.slug: row.code for row in session.execute(select(STATION.c.slug, STATION.c.code))}
    return {
        **codes, "the badge": room.code("badge", "piet"), "a cabinet": cabinet, "a shelf": room.code("shelf", "M1/2"),
        "weights on": room.code("on", "P1"), "weights off": room.code("off", "P1"),
        "a bundle": room.code("bundle", "Tray 4"), "an empty bundle": room.code("bundle", "Tray 5"),
        **{f"station {slug}": stations[slug] for slug in ("a-intake", "a-press")},
        **{f"card {name}": code for name, code in COMMANDS.items()},
    }  # fmt: skip


def _sheets(room: Room) -> dict[str, str]:
    under, dry = room.sheet_in("P1", adhesive="straps"), room.sheet_in("P2", adhesive="straps")
    for stack in ("P1", "P2"):
        room.weights("on", stack)
    room.wait(hours=3)
    room.weights("off", "P2")
    room.takes_out(dry)
    taken_in = room.new_number()
    room.scans(taken_in, "intake", step=Step.TAKE_IN)
    return {"under press": under, "taken in": taken_in, "ready": room.sheet_ready(), "mounted": room.sheet_mounted(),
            "dry": dry}  # fmt: skip


def clear(room: Room, slug: str) -> None:
    """Nothing is in hand there, and nobody has begun anything: each card is the first thing scanned."""
    there = STATION.c.id == room.station[slug]
    empty = {**NOTHING_IN_HAND, "cabinet_id": None, "shelf_id": None, "last_code": None, "check_id": None}
    with transaction(room.database) as session:
        session.execute(update(STATION).where(there).values(**{k: v for k, v in empty.items() if k in STATION.c}))


def scanned(page: Page, code: str, end: str) -> Said:
    """A scanner types a code, a character every 30 ms, and ends it; the answer is waited for."""
    before = page.evaluate("() => window.answers")
    page.keyboard.type(code, delay=KEY_MS)
    page.keyboard.press(end)
    if page.evaluate("() => document.activeElement.id") != "code":
        # A busy machine typed slower than any scanner, so the Tab was a hand's: it moved on and sent nothing.
        page.locator("#code").press("Enter")
    page.wait_for_function("before => window.answers > before", arg=before)
    return Said(**page.evaluate(SAID))


@pytest.mark.parametrize(("kind", "end"), [(kind, ("Enter", "Tab")[place % 2]) for place, kind in enumerate(KINDS)])
def test_every_card_is_answered_sensibly_at_every_kind_of_station(
    served: Served, context: BrowserContext, page: Page, kind: str, end: str
) -> None:
    room, slug = served.room, f"a-{kind}"
    cards = furnished(room)
    enrol(served, context, slug)
    page.goto(served.url("/station"))
    page.evaluate(COUNT)
    told = {}
    for name, code in cards.items():
        clear(room, slug)
        room.signs_in("hedda", slug)
        told[name] = said = scanned(page, code, end)
        assert said.kind in ("done", "not-yet", "stop", "which-one") and said.word, name
        assert not NONSENSE.search(f"{said.word} {said.lines} {said.next}"), (name, said)
        assert said.next or said.asks or said.lines, (name, said)
        assert page.evaluate("() => [document.activeElement.id, document.activeElement.value]") == ["code", ""], name
    assert told["the badge"].word == "Hello, Piet."
    assert all(
        told[name].kind == "done" for name in ("weights on", "weights off", "a cabinet", "a shelf", "an empty bundle")
    )
    assert told["a bundle"].kind in ("done", "which-one") and "1 sheet" in told["a bundle"].lines
    for other in ("a-intake", "a-press"):
        here = "This screen is the one of this card." in told[f"station {other}"].lines
        assert told[f"station {other}"].kind == "done" and here == (slug == other)
        assert told[f"station {other}"].word == f"{KINDS[other[2:]][0]}, second."
    assert {told[f"card {name}"].kind for name in ("help", "morning", "done", "round")} == {"done"}
    assert told["card yes"].lines == told["card no"].lines == "Nothing is asked on this screen."
    assert all(told[name].kind != "stop" for name in told if name.startswith("a sheet") and name.endswith(FITS[kind]))


# With which of the sheets something is done, or asked, at each kind of station.
FITS = {"intake": "taken in", "drying": "taken in", "mounting": "ready", "press": ("mounted", "under press"), "inspection": "dry",
        "filing": (), "freezer": "ready", "roaming": ("taken in", "ready", "mounted", "under press", "dry")}  # fmt: skip


def test_a_scan_that_ends_with_tab_and_one_that_ends_with_enter_write_the_same(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    numbers = {end: room.sheet_ready() for end in ("Tab", "Enter")}
    enrol(served, context, "table-1")
    page.goto(served.url("/station"))
    page.evaluate(COUNT)
    for end, number in numbers.items():
        assert scanned(page, number, end).word == "Taken up."
        assert room.steps(number)[-1] == "take-up"
