"""Turning answers into pages: a whole page, or the fragment that was asked for; and how moments are shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, cast
from zoneinfo import ZoneInfo

from flask import Flask, Response, current_app, g, make_response, render_template, request
from jinja2 import StrictUndefined
from werkzeug.exceptions import HTTPException

from app.clock import Watch
from app.config import Config
from app.db.engine import Database
from app.domain.calendar import local_day
from app.domain.errors import Refused
from app.domain.language import mark, number, say, spoken
from app.domain.words import age, day_said, duration, said
from app.web.problems import is_for_scripts, problem_of
from app.web.template_words import speaks


@dataclass
class House:
    """What the running program holds: the room's database, its clock and its configuration; and in `kept`, by name, what was
    drawn of it last.
    """

    config: Config
    database: Database
    clock: Callable[[], datetime]
    watch: Watch
    kept: dict[str, Any] = field(default_factory=dict)

    @property
    def zone(self) -> ZoneInfo:
        """The room's time zone."""
        return self.config.zone


def house() -> House:
    """The room that answers this request: the running room, or its practice room where people practise."""
    return cast(House, g.get("house")) or running_house()


def running_house() -> House:
    """The running room itself."""
    running: House = current_app.extensions["blotter"]
    return running


def kept_here() -> dict[str, Any]:
    """Where what was drawn of the room that answers is kept, by name; of a practice room no longer than one request."""
    return current_app.extensions if house() is running_house() else house().kept


def now() -> datetime:
    """This moment, by the clock that the room runs on."""
    return house().clock()


def page(template: str, status: int = 200, **context: Any) -> Response:
    """A whole page."""
    return make_response(render_template(template, **context), status)


def page_or_fragment(whole: str, fragment: str, status: int = 200, **context: Any) -> Response:
    """The fragment for a page that asks for it, else the whole page around it."""
    wanted = fragment if request.headers.get("HX-Request") or request.headers.get("X-Station") else whole
    response = page(wanted, status, **context)
    response.headers["Vary"] = "HX-Request, X-Station"
    return response


def refused_page(refused: Refused) -> Response:
    """A refusal: a fragment where the page has its notices, or a page of its own."""
    tell = teller()
    refusals = [(each.answer, each.said(tell), each.next_said(tell)) for each in refused.refusals]
    status = 409 if refused.refusals[0].code == "scan-id-reused" else 422
    return page_or_fragment("doors/refused.html", "doors/_refused.html", status, refusals=refusals)


def teller() -> Callable[[object], str]:
    """How facts are spelled on the pages of this room."""

    def tell(value: object) -> str:
        return said(value, house().zone, now()) if isinstance(value, datetime) else str(value)

    return tell


def set_up(app: Flask) -> None:
    """Strict templates, and the filters that all pages share."""
    app.jinja_env.undefined = StrictUndefined
    speaks(app.jinja_env)
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.jinja_env.filters.update(
        said=teller_filter,
        iso=_iso,
        age=_age,
        hours=_hours,
        grouped=_grouped,
        day=_day,
        date=_date,
        format=_formatted,
        spoken=say,
    )
    app.register_error_handler(Refused, refused_page)
    for code, words in ERRORS.items():
        app.register_error_handler(code, _error(code, words))


def teller_filter(moment: datetime | None) -> str:
    """A moment as it is said in the room; a dash for none."""
    return said(moment, house().zone, now()) if moment else "–"


def _iso(moment: datetime) -> str:
    return moment.astimezone(house().zone).isoformat(timespec="seconds")


def _age(moment: datetime | None) -> str:
    return age(moment, now()) if moment else "–"


def _hours(seconds: float | None) -> str:
    return duration(seconds) if seconds is not None else "–"


def _day(day: date) -> str:
    return day_said(day, local_day(now(), house().zone))


def _date(day: date) -> str:
    names = spoken()
    return f"{names.weekdays[day.weekday()]} {day.day} {names.short_months[day.month - 1]} {day.year}"


def _formatted(spec: str, value: float) -> str:
    """A number by a plain spec of old ("%.1f", "%g"), with the signs of the language."""
    return number(value, spec.removeprefix("%"))


def _grouped(count: int) -> str:
    return number(count)


def _error(code: int, words: tuple[str, str]) -> Callable[[Exception], Response]:
    def handler(error: Exception) -> Response:
        if is_for_scripts() and isinstance(error, HTTPException):
            return problem_of(error)
        return page("doors/error.html", code, code=code, what=say(words[0]), do=say(words[1]))

    return handler


ERRORS: dict[int, tuple[str, str]] = {
    400: (
        mark("The page was out of date, or something was missing in what it sent."),
        mark("Go back, load it again, and send it once more. Nothing was written."),
    ),
    403: (mark("This is not for those signed in here."), mark("Sign in as somebody who may, or ask the manager.")),
    404: (mark("There is no such page here."), mark("Go back to the board, or search for the sheet.")),
    405: (mark("This page cannot be used like that."), mark("Go back and use the buttons on the page.")),
    409: (mark("Two things met here that cannot both be true."), mark("Load the page again.")),
    413: (
        mark("That is more than this page takes."),
        mark("Send a smaller file, or a shorter text. Nothing was written."),
    ),
    429: (mark("Too many tries."), mark("Wait a few minutes.")),
    500: (
        mark("Something went wrong in the program. What was not answered was not written."),
        mark("Try again. If it happens again, tell whoever looks after the computer."),
    ),
}
