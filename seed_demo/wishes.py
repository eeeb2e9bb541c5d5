"""What comes first and what is away: sheets that somebody wants, the order of the consignments, a sheet with a specialist."""

from __future__ import annotations

from datetime import date, timedelta

from app.domain.holds import OUT
from app.services.away import send_out
from app.services.facts import sheet_by_number
from app.services.order import set_order
from app.services.wanted import want
from seed_demo.hands import Work
from seed_demo.life import Life
from seed_demo.people import MANAGER
from seed_demo.sheets import Sheet

READER = "ines"
SPECIALIST = "Dr N. Varley, Brannholt"


def order_is_made(life: Life) -> Work:
    """The manager says which consignments are worked on first."""
    by = life.hands.room.workers[MANAGER].worker_id
    for code in ("EXCHANGE-1", "FW-1", "GIFT-1"):
        set_order(life.hands.session, code, "last", life.moment, by=by)
        yield 15


def goes_out(life: Life) -> Work:
    """A sheet that nobody can name goes to a specialist, to be back next week."""
    sheet = next((each for each in reversed(life.shelves.ready) if each.is_free), None)
    if sheet is not None:
        due = _last(life) + timedelta(days=9)
        act = lambda desk: send_out(desk, SPECIALIST, due)  # noqa: E731
        life.hands.manages(
            sheet.number, act, f"put {OUT}", reason="Nobody here can tell which of the two species it is"
        )
        sheet.story = "out"
    yield from ()


def wanted_and_left(life: Life) -> Work:
    """A sheet is wanted for a visit that has long been and gone: it was never inspected."""
    _wants(
        life,
        _with_story(life.shelves.to_inspect, "uninspected"),
        "for a visitor from Brannholt",
        life.date + timedelta(days=2),
    )
    yield from ()


def wanted_for_a_loan(life: Life) -> Work:
    """A sheet is wanted for a loan that leaves next week; it was passed, and slipped behind the others."""
    _wants(
        life, _with_story(life.shelves.to_file, "unfiled"), "for the loan to Brannholt", _last(life) + timedelta(days=6)
    )
    yield from ()


def _wants(life: Life, sheet: Sheet | None, why: str, needed_on: date) -> None:
    row = sheet_by_number(life.hands.session, sheet.number) if sheet is not None else None
    if row is not None:
        by = life.hands.room.workers[READER].worker_id
        want(life.hands.session, row["id"], why, life.moment, needed_on=needed_on, by=by)


def _with_story(sheets: list[Sheet], story: str) -> Sheet | None:
    return next((sheet for sheet in sheets if sheet.story == story), None)


def _last(life: Life) -> date:
    return life.dates[max(life.dates)]
