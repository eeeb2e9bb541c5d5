"""Lists of sheets on the way out: printed to be walked along, or saved as a table; and what a list is asked for."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from flask import Response, request

from app.db.engine import reading
from app.domain.cells import BOM, csv_line
from app.domain.folding import folded
from app.domain.hazards import DEFERS
from app.domain.holds import HOLDS
from app.domain.language import say
from app.domain.stages import STAGES
from app.queries.orders import ORDERS
from app.queries.picks import PickList, pick_list
from app.queries.sheet_table import table_rows
from app.queries.sieve import ANY_HOLD, Sieve
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.security import visitor

LONGEST = 200
# A mark of the list's own, which may hold two names.
LONGEST_MARK = 4000
NOTHING = PickList((), 0, 0)


def sieve_asked(**fixed: str) -> Sieve:
    """What the address asks a list for; `fixed` is what its path says."""
    texts = {
        name: request.args.get(name, "").strip()[:LONGEST]
        for name in ("stage", "cabinet", "shelf", "q", "held", "sort")
    }
    flags = {name: request.args.get(name) == "1" for name in ("loose", "stalled", "left_behind", "wanted")}
    return replace(Sieve(**texts, **flags), **fixed)  # type: ignore[arg-type]


def mark_asked() -> str:
    """The mark of the place in a list from which the address asks for the next page."""
    return request.args.get("after", "")[:LONGEST_MARK]


def onward(sieve: Sieve, *without: str) -> dict[str, str]:
    """The same questions as arguments of an address, but for those that its path answers."""
    asked = {name: getattr(sieve, name) for name in Sieve.__dataclass_fields__ if name not in without}
    return {name: "1" if value is True else value for name, value in asked.items() if value}


def choices() -> dict[str, Any]:
    """What the fields above a list offer, each a value with its words."""
    return {
        "stages": [(stage.value, row.words) for stage, row in STAGES.items()],
        "held_as": [(ANY_HOLD, say("any hold")), *((kind, row.words) for kind, row in HOLDS.items())],
        "orders": list(ORDERS.items()),
        "may_hold": bool(visitor().roles & PERMISSIONS["holds.many"]),
        "may_withdraw": bool(visitor().roles & PERMISSIONS["leaving.withdraw"]),
    }


def sheet_picks() -> Response:
    """The pick list of a list of sheets."""
    return _picks(sieve_asked())


def cabinet_picks(name: str) -> Response:
    """The pick list of a cabinet or shelf."""
    return _picks(sieve_asked(cabinet=name))


def sheet_table() -> Response:
    """A list of sheets as a CSV file."""
    return _table(sieve_asked(), "sheets")


def cabinet_table(name: str) -> Response:
    """What lies in a cabinet or shelf as a CSV file."""
    sieve = sieve_asked(cabinet=name)
    return _table(sieve, f"cabinet {name} {sieve.shelf}")


def _picks(sieve: Sieve) -> Response:
    wrong, found = "", NOTHING
    with reading(house().database) as session:
        try:
            found = pick_list(session, sieve, now(), house().zone)
        except ValueError as error:
            wrong = str(error)
    return picks_page(found, _words(sieve), wrong)


def picks_page(found: PickList, asked_words: str, wrong: str = "") -> Response:
    """A pick list to be printed, headed by what was asked for; with what is `wrong` with it instead, 422."""
    return page("sheets/picks.html", 422 if wrong else 200, found=found, asked_words=asked_words, wrong=wrong, now=now(),
                defers=DEFERS if found.has_cautions else "")  # fmt: skip


def _words(sieve: Sieve) -> str:
    """What was asked for, as the head of a printed list says it."""
    shelf = say(", shelf {shelf}", shelf=sieve.shelf) if sieve.shelf else say(", on no shelf") if sieve.loose else ""
    place = [say("cabinet {cabinet}{shelf}", cabinet=sieve.cabinet, shelf=shelf)] if sieve.cabinet else []
    stage = [say(words).lower() for slug, words in choices()["stages"] if slug == sieve.stage]
    held = [say("held: {hold}", hold=words) for slug, words in choices()["held_as"] if slug == sieve.held]
    flags = ((say("stalled"), sieve.stalled), (say("left behind"), sieve.left_behind), (say("wanted"), sieve.wanted))
    more = [words for words, asked in flags if asked]
    return ", ".join([*place, *stage, *more, *held, *([f"“{sieve.q}”"] if sieve.q else [])])


def _table(sieve: Sieve, name: str) -> Response:
    lines = _lines(sieve)
    try:
        headings = next(lines)
    except ValueError as error:
        return page(
            "doors/error.html",
            422,
            code=say("No such list"),
            what=str(error),
            do=say("Go back to the list and ask it again."),
        )
    response = Response(_after(headings, lines), mimetype="text/csv")
    response.call_on_close(lines.close)
    words = re.sub("[^a-z0-9]+", "-", folded(f"{name} {now().astimezone(house().zone):%Y %m %d}"))
    response.headers["Content-Disposition"] = f'attachment; filename="{words[:80]}.csv"'
    return response


def _lines(sieve: Sieve) -> Any:
    """The lines of the file; the room is read until the last is sent. The byte order mark tells spreadsheets it is UTF-8."""
    database, moment, zone = house().database, now(), house().zone

    def lines() -> Iterator[str]:
        with reading(database) as session:
            rows = table_rows(session, sieve, moment, zone)
            yield BOM + csv_line(next(rows))
            yield from map(csv_line, rows)

    return lines()


def _after(first: str, rest: Iterator[str]) -> Iterator[str]:
    yield first
    yield from rest
