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
    return {"ways": ways, "who": who if who.worker_id is not None else None, "clock_words": clock_words()}


def ways() -> list[Way]:
    """The way to the other pages, for whoever asks."""
    roles, room = visitor().roles, (request.endpoint or "").split(".")[0]
    return [
        Way(label, url_for(endpoint), room == endpoint.split(".")[0])
        for label, endpoint in WAYS
        if roles & PERMISSIONS[endpoint]
    ]


def clock_words() -> str:
    """The time as the head of a page says it."""
    moment = now().astimezone(house().zone)
    return f"{WEEKDAYS[moment.weekday()]} {moment.day} {MONTHS[moment.month - 1]}, {moment:%H:%M}"


WAYS = (
    ("Board", "board.show"),
    ("Station", "stations.here"),
    ("Stations", "stations.every"),
    ("Sheets", "sheets.every"),
    ("Press room", "press.every"),
    ("Cabinets", "cabinets.every"),
    ("Week", "week.this"),
    ("Intake", "intake.page"),
    ("People", "people.every"),
    ("Room", "room.show"),
)
