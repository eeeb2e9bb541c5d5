"""The paper form for when nothing works: to print, and to write up afterwards."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.domain.calendar import local_day
from app.domain.language import mark, say, say_n
from app.queries.house import patterns_now
from app.web.late import Choices
from app.web.paper_forms import ROWS, TICKS, HeadForm, RowForm, empty_rows, head_form, rows_sent
from app.web.paper_rows import Written, write_rows
from app.web.render import house, now, page
from app.web.sheet_page import choices_of

bp = Blueprint("paper", __name__)
PAPERS = {"a4": "A4", "letter": mark("US Letter")}


@bp.get("/late-form")
def form() -> Response:
    """The empty form, to print and to keep beside each station."""
    asked = request.args.get("paper", "")
    return page("paper/form.html", paper=asked if asked in PAPERS else "a4", papers=PAPERS, ticks=TICKS, rows=ROWS)


@bp.get("/late")
def show() -> Response:
    """One paper to write up: as many rows as it has."""
    with reading(house().database) as session:
        choices = choices_of(session)
    head = head_form(choices)
    head.day.data = _day_asked()
    return _drawn(head, empty_rows(choices), choices)


@bp.post("/late")
def write() -> AnyResponse:
    """Write up a paper: what can be written is written, once; what cannot stays on the page and says why."""
    with reading(house().database) as session:
        choices, patterns = choices_of(session), patterns_now(session)
    head, rows = head_form(choices), rows_sent(choices)
    day = head.day.data
    if not head.validate() or day is None or not rows:
        return _drawn(head, rows or empty_rows(choices), choices, 422, nothing=not rows)
    written = write_rows(head, rows, choices, patterns)
    left = [row for row in rows if row.said]
    if not left:
        flash(say("{written} written.", written=_rows(len(written))))
        return redirect(url_for("paper.show", day=day.isoformat()))
    for row in left:
        row.is_new_try()
    return _drawn(head, left, choices, 422, written)


def _drawn(head: HeadForm, rows: Sequence[RowForm], choices: Choices, status: int = 200,
           written: Sequence[Written] = (), *, nothing: bool = False) -> Response:  # fmt: skip
    places = [each.name for each in choices.stacks]
    for cabinet in choices.cabinets:
        places += [
            cabinet.name,
            *[f"{cabinet.name}, shelf {shelf.name}" for shelf in cabinet.shelves],
        ]
    wrong = [row for row in rows if row.said]
    return page("paper/write_up.html", status, head=head, rows=rows, places=places, written=written, wrong=wrong,
                nothing=nothing, said=_rows)  # fmt: skip


def _rows(count: int) -> str:
    return say_n("{n} row is", "{n} rows are", count)


def _day_asked() -> date:
    try:
        return date.fromisoformat(request.args.get("day", ""))
    except ValueError:
        return local_day(now(), house().zone)
