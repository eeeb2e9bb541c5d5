"""What every page has around it: the way to the other pages, who is signed in, and the time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from flask import request, url_for

from app.domain.words import MONTHS, WEEKDAYS
from app.web.permissions import PERMISSIONS
from app.web.render import house, now
from app.web.security import visitor


@dataclass(frozen=True, slots=True)
class Way:
    """One entry of the way to the other pages."""

    label: str
    href: str
    current: bool


def frame_context() -> dict[str, Any]:
    """What every template may use. The ways are made only for a page that shows them: a station's answer does not."""
    who = visitor()
    return {
        "ways": ways,
        "ways_here": ways_here,
        "who": who if who.worker_id is not None else None,
        "clock_words": clock_words(),
    }


def ways() -> list[Way]:
    """The way to the rooms of the program, for whoever asks: to the first page of each that they may open."""
    here = _room_of(_here())
    found = ((label, next(filter(_may, [endpoint for _, endpoint in pages]), "")) for label, pages in ROOMS)
    return [Way(label, url_for(endpoint), label == here) for label, endpoint in found if endpoint]


def ways_here() -> list[Way]:
    """The way to the pages of the room where whoever asks stands; nothing where there is only one."""
    here = _here()
    pages = dict(ROOMS).get(_room_of(here), ())
    found = [
        Way(label, url_for(endpoint), _is_at(endpoint, here, pages)) for label, endpoint in pages if _may(endpoint)
    ]
    return found if len(found) > 1 else []


def _here() -> str:
    return request.endpoint or ""


def _may(endpoint: str) -> bool:
    return bool(visitor().roles & PERMISSIONS[endpoint])


def _room_of(endpoint: str) -> str:
    """The room to which a page belongs: it is listed there, or of one kind with a page that is."""
    return _ROOM_OF.get(endpoint) or _ROOM_OF_KIND.get(endpoint.partition(".")[0], "")


def _is_at(endpoint: str, here: str, pages: tuple[tuple[str, str], ...]) -> bool:
    """Whether one stands at this page, or at one that is not listed and of its kind."""
    if endpoint == here or here in [each for _, each in pages]:
        return endpoint == here
    return next((each for _, each in pages if each.partition(".")[0] == here.partition(".")[0]), "") == endpoint


def clock_words() -> str:
    """The time as the head of a page says it."""
    moment = now().astimezone(house().zone)
    return f"{WEEKDAYS[moment.weekday()]} {moment.day} {MONTHS[moment.month - 1]}, {moment:%H:%M}"


Page = tuple[str, str]
# The rooms of the program: what each is called, and the pages that belong to it. The first that somebody may open leads there.
ROOMS: tuple[tuple[str, tuple[Page, ...]], ...] = (
    ("Board", (("The queue", "board.show"), ("Morning", "day.morning"), ("Closing", "day.closing"),
               ("What comes first", "order.show"), ("When it will be done", "ahead.show"), ("Usual here", "usual.show"),
               ("For the wall", "board.wall"))),
    ("Station", (("Station", "stations.here"),)),
    ("Stations", (("Stations", "stations.every"), ("Print slips and cards", "printing.choose"), ("Paper form", "paper.form"),
                  ("Write it up", "paper.show"), ("Scanner check", "scanner.check"))),
    ("Sheets", (("Sheets", "sheets.every"), ("Holds", "holds.show"), ("Pests", "pests.every"), ("Dangers", "hazards.show"),
                ("Without a number", "numberless.show"), ("Withdrawn", "leaving.withdrawn"))),
    ("Intake", (("Consignments", "consignments.every"), ("Take in", "taking_in.plant"), ("A run of numbers", "taking_in.run"),
                ("From a file", "intake.page"), ("Files", "files.every"), ("Labels to come", "labels.show"),
                ("Drying room", "drying.show"), ("Is it dry?", "drying.signs"), ("Duplicates", "exchange.duplicates"))),
    ("Press room", (("Press room", "press.every"),)),
    ("Cabinets", (("Cabinets", "cabinets.every"), ("Checks", "checks.every"), ("Freezer", "freezer.show"),
                  ("Filing round", "filing.show"))),
    ("Week", (("Week", "week.this"), ("What to teach", "teaching.show"), ("What is refused", "refusals.show"))),
    ("People", (("People", "people.every"), ("Keys for scripts", "people.tokens"))),
    ("Room", (("Room", "room.show"), ("Calendar", "calendar.show"), ("Order of families", "filing.families"),
              ("Cautions", "hazards.cautions"))),
)  # fmt: skip
_ROOM_OF = {endpoint: label for label, pages in ROOMS for _, endpoint in pages}
_ROOM_OF_KIND = {endpoint.partition(".")[0]: label for endpoint, label in reversed(_ROOM_OF.items())}
