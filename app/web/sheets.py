"""The sheets: the list, and each one's page."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from typing import Any

from flask import Blueprint, abort, redirect, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.queries.cabinets import cabinet_names
from app.queries.listing import SheetList, sheets_like
from app.queries.sheets import SheetPage
from app.services.corrections import tail_from
from app.services.desk import ScanRequest
from app.services.opening import open_desk
from app.web import deeds, lists, parting, wishes
from app.web.forms import ReasonForm
from app.web.render import house, now, page
from app.web.scans import occasion
from app.web.sheet_page import draw, no_such_sheet, seen_by_visitor

bp = Blueprint("sheets", __name__)
bp.add_url_rule("/sheets/picks", "picks", lists.sheet_picks)
bp.add_url_rule("/sheets.csv", "table", lists.sheet_table)


@bp.get("/sheets")
def every() -> AnyResponse:
    """The list of sheets, by stage, cabinet, what holds them, whether they are stalled, or what is searched for."""
    sieve, after = lists.sieve_asked(), lists.mark_asked()
    wrong, found = "", SheetList((), "")
    with reading(house().database) as session:
        names = cabinet_names(session)
        try:
            found = sheets_like(session, sieve, now(), house().zone, after=after)
        except ValueError as error:
            wrong = str(error)
    onward = lists.onward(sieve)
    return page("sheets/every.html", 422 if wrong else 200, found=found, sieve=sieve, after=after, wrong=wrong,
                onward=onward, cabinets=names, is_filtered=bool(onward), **lists.choices())  # fmt: skip


@bp.get("/sheets/<number>")
def one(number: str) -> AnyResponse:
    """One sheet; a former number, or one written otherwise, leads to the address of the sheet."""
    with reading(house().database) as session:
        sheet = seen_by_visitor(session, number)
    if sheet is None:
        return no_such_sheet()
    if sheet.number != number:
        return redirect(url_for("sheets.one", number=sheet.number))
    return draw(number)


@bp.get("/sheets/<number>/entries/<int:entry>/back")
def tail(number: str, entry: int) -> AnyResponse:
    """What would be taken back together with one entry."""
    sheet = _with_entry(number, entry)
    with reading(house().database) as session:
        desk, _refusal = open_desk(session, ScanRequest("", number), occasion())
        ids = {row.id for row in tail_from(desk, entry)}
    lines = [line for line in sheet.log if line.entry in ids]
    form = ReasonForm()
    return page("sheets/tail.html", sheet=sheet, lines=lines, entry=entry, form=form, fresh=secrets.token_urlsafe(16))


@bp.post("/sheets/<number>/entries/<int:entry>/back")
def take_back(number: str, entry: int) -> AnyResponse:
    """Take them back."""
    _with_entry(number, entry)
    return deeds.take_back(number, entry)


def _with_entry(number: str, entry: int) -> SheetPage:
    with reading(house().database) as session:
        sheet = seen_by_visitor(session, number)
    if sheet is None or entry not in {line.entry for line in sheet.log}:
        abort(404)
    return sheet


DEEDS: dict[str, Callable[[str], Any]] = {
    "early": deeds.early,
    "late": deeds.late,
    "hold": deeds.hold,
    "lift": deeds.lift,
    "withdraw": deeds.withdraw,
    "renumber": deeds.renumber,
    "together": deeds.together,
    "regluing": deeds.regluing,
    "doubt": deeds.doubt,
    "out": wishes.out,
    "wanted": wishes.wanted,
    "let-go": wishes.let_go,
    "tell-apart": parting.apart,
    "divide": parting.divided,
    "same-specimen": parting.one_specimen,
}
for _name, _deed in DEEDS.items():
    bp.add_url_rule(f"/sheets/<number>/{_name}", _name.replace("-", "_"), _deed, methods=["POST"])
