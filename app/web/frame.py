"""What every page has around it: the way to the other pages, who is signed in, and the time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from flask import request, url_for

from app.domain.language import mark, say
from app.domain.words import date_said, weekday_said
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


def clock_words(*, with_year: bool = False) -> str:
    """The time as the head of a page says it; with its year where somebody is asked whether it is right."""
    moment = now().astimezone(house().zone)
    day = date_said(moment.date(), with_year=with_year)
    return say("{weekday} {day}, {hour}", weekday=weekday_said(moment.date()), day=day, hour=f"{moment:%H:%M}")


Page = tuple[str, str]
# The rooms of the program: what each is called, and the pages that belong to it. The first that somebody may open leads there.
ROOMS: tuple[tuple[str, tuple[Page, ...]], ...] = (
    (
        mark("Board"),
        (
            (mark("The queue"), "board.show"),
            (mark("Morning"), "day.morning"),
            (mark("Closing"), "day.closing"),
            (mark("What comes first"), "order.show"),
            (mark("When it will be done"), "ahead.show"),
            (mark("Usual here"), "usual.show"),
            (mark("For the wall"), "board.wall"),
        ),
    ),
    (mark("Station"), ((mark("Station"), "stations.here"),)),
    (
        mark("Stations"),
        (
            (mark("Stations"), "stations.every"),
            (mark("Print slips and cards"), "printing.choose"),
            (mark("Paper form"), "paper.form"),
            (mark("Write it up"), "paper.show"),
            (mark("Scanner check"), "scanner.check"),
        ),
    ),
    (
        mark("Sheets"),
        (
            (mark("Sheets"), "sheets.every"),
            (mark("Holds"), "holds.show"),
            (mark("Pests"), "pests.every"),
            (mark("Dangers"), "hazards.show"),
            (mark("Without a number"), "numberless.show"),
            (mark("Withdrawn"), "leaving.withdrawn"),
            (mark("Hand on"), "out.show"),
        ),
    ),
    (
        mark("Intake"),
        (
            (mark("Consignments"), "consignments.every"),
            (mark("Take in"), "taking_in.plant"),
            (mark("A run of numbers"), "taking_in.run"),
            (mark("From a file"), "intake.page"),
            (mark("Files"), "files.every"),
            (mark("Labels to come"), "labels.show"),
            (mark("Drying room"), "drying.show"),
            (mark("Is it dry?"), "drying.signs"),
            (mark("Duplicates"), "exchange.duplicates"),
        ),
    ),
    (mark("Press room"), ((mark("Press room"), "press.every"),)),
    (
        mark("Cabinets"),
        (
            (mark("Cabinets"), "cabinets.every"),
            (mark("Checks"), "checks.every"),
            (mark("Freezer"), "freezer.show"),
            (mark("Filing round"), "filing.show"),
        ),
    ),
    (
        mark("Week"),
        (
            (mark("Week"), "week.this"),
            (mark("What to teach"), "teaching.show"),
            (mark("What is refused"), "refusals.show"),
        ),
    ),
    (mark("People"), ((mark("People"), "people.every"), (mark("Keys for scripts"), "people.tokens"))),
    (
        mark("Room"),
        (
            (mark("Room"), "room.show"),
            (mark("Supplies"), "supplies.every"),
            (mark("Order list"), "supplies.order"),
            (mark("Calendar"), "calendar.show"),
            (mark("Order of families"), "filing.families"),
            (mark("Cautions"), "hazards.cautions"),
        ),
    ),
)
_ROOM_OF = {endpoint: label for label, pages in ROOMS for _, endpoint in pages}
_ROOM_OF_KIND = {endpoint.partition(".")[0]: label for endpoint, label in reversed(_ROOM_OF.items())}
