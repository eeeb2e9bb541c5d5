"""A volunteer who never touches a mouse: every key is pressed, and after each the focus must be somewhere, and be seen."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import timedelta

from playwright.sync_api import Page

from app.clock import utc_now
from app.domain.numbers import COMMANDS
from tests.browser.conftest import Served
from tests.room import Room

# Where the keyboard is: what it is, what it is called, and whether somebody who looks would see it.
FOCUS = """() => {
  const at = document.activeElement;
  if (!at || at === document.body || at === document.documentElement) return null;
  const css = getComputedStyle(at), box = at.getBoundingClientRect();
  const label = at.labels && at.labels.length ? at.labels[0].textContent : '';
  return {id: at.id, name: (at.getAttribute('aria-label') || label || at.textContent).replace(/\\s+/g, ' ').trim(),
          ringed: (css.outlineStyle !== 'none' && parseFloat(css.outlineWidth) > 0) || css.boxShadow !== 'none',
          seen: box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth && box.height > 0};
}"""
OLD = "() => { document.getElementById('answer').dataset.old = 'yes'; }"
MOST_TABS = 80
MOST_LOOKS = 200
CLOCK = re.compile(r"\b\d{1,2}:\d{2}\b")
DAY = re.compile(
    r"\b(?:Mon|Tues|Wednes|Thurs|Fri|Satur|Sun)day\b|\b\d{1,2} (?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\b"
)


@dataclass
class Walker:
    """Somebody at one screen with a keyboard; `lost` gathers where the focus was lost or could not be seen."""

    page: Page
    lost: list[str] = field(default_factory=list)

    def focus(self) -> dict[str, str]:
        """Where the keyboard is now."""
        at = self.page.evaluate(FOCUS)
        if at is None or not at["ringed"] or not at["seen"]:
            self.lost.append(f"{at} on {self.page.url}")
        return at or {"id": "", "name": ""}

    def press(self, key: str) -> None:
        self.page.keyboard.press(key)

    def go_to(self, name: str, key: str = "Tab") -> None:
        """Tab from one thing to the next until it is one whose name begins so."""
        reached = []
        for _ in range(MOST_TABS):
            self.press(key)
            at = self.focus()
            if at["name"].startswith(name):
                return
            reached.append(at["name"][:30])
        raise AssertionError(f"{name} was not reached with {key}: {reached}")

    def push(self, name: str, word: str = "", key: str = "Tab") -> None:
        """Go to a button and press it; the answer with this word is waited for."""
        self.go_to(name, key)
        self.page.evaluate(OLD)
        self.press("Enter")
        if word:
            self.answered(word)

    def types(self, code: str, word: str) -> None:
        """Type a code where the keyboard is, which is the scan field, and wait for the answer."""
        self.ready()
        self.page.evaluate(OLD)
        self.page.keyboard.type(code)
        self.press("Enter")
        self.answered(word)
        self.ready()

    def ready(self) -> None:
        """The next thing can be scanned: the keyboard is in the scan field, at the latest once the page has settled."""
        for _ in range(MOST_LOOKS):
            if self.page.evaluate("() => document.activeElement && document.activeElement.id") == "code":
                break
            self.page.wait_for_timeout(50)
        assert self.focus()["id"] == "code", "after every answer the next thing can be scanned"

    def answered(self, word: str) -> None:
        self.page.locator("#answer:not([data-old]) #answer-word").get_by_text(word, exact=True).wait_for()

    def signs_in(self, name: str) -> None:
        """By name, without a badge."""
        self.go_to("Someone else", "Shift+Tab")
        self.press("Enter")
        self.go_to("Name")
        self.page.keyboard.type(name)
        self.push("Sign in", f"Hello, {name.split()[0]}.")

    def signs_out(self) -> None:
        self.go_to("Someone else", "Shift+Tab")
        self.press("Enter")
        self.push("Sign out here")
        self.page.get_by_text("Nobody is signed in here.").first.wait_for()


@dataclass(frozen=True)
class Shift:
    """What is there when the shift begins: two sheets to mount, and one that has had its time in P2."""

    first: str
    second: str
    ready: str


def shift(served: Served) -> Shift:
    """A room this morning: P2 under weight since yesterday, with one sheet in it; nobody works at the table or the press."""
    room = served.room
    room.wait(hours=-30)
    room.weights("off", "P2")
    ready = room.sheet_in("P2")
    room.weights("on", "P2")
    found = Shift(room.sheet_ready(), room.sheet_ready(), ready)
    for slug in ("table-1", "press"):
        room.scans(COMMANDS["done"], slug)
    room.wait(seconds=(utc_now() - room.now) / timedelta(seconds=1))
    return found


def at_the_table(walker: Walker, sheets: Shift) -> None:
    """Signs in by name, takes up two sheets, mounts both, takes one back and mounts it again."""
    walker.signs_in("Piet Lindqvist")
    walker.types(sheets.first, "Taken up.")
    walker.types(sheets.second, "Taken up.")
    walker.types(sheets.first, "Mounted.")
    walker.go_to("Undo this scan")
    walker.press("Enter")
    walker.push("Not done yet", "Undone.")
    walker.types(sheets.first, "Mounted.")
    walker.types(sheets.second, "Mounted.")


def at_the_press(walker: Walker, room: Room, sheets: Shift) -> None:
    """Lays both in, puts the weights on and counts, opens the other stack, takes out what is ready, and takes that back."""
    walker.signs_in("Piet Lindqvist")
    walker.types(sheets.first, "Which one?")
    walker.push("Stack P1", "Put under weight.")
    walker.types(sheets.second, "Put under weight.")
    walker.types(room.code("on", "P1"), "Weights on.")
    walker.push("Yes, 2", "Counted.")
    walker.types(sheets.ready, "Not yet.")
    walker.types(room.code("off", "P2"), "Weights off.")
    walker.types(sheets.ready, "Taken out.")
    walker.go_to("Undo this scan")
    walker.press("Enter")
    walker.push("Not done yet", "Undone.")
    walker.types(sheets.ready, "Taken out.")


def masked(text: str) -> str:
    """A text in which no moment stands."""
    return DAY.sub("<day>", CLOCK.sub("<time>", text))
