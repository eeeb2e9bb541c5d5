"""The cabinets: what waits on which shelf, how full each is, and what of it is stalled or held."""

from __future__ import annotations

from flask import Blueprint, Response

from app.db.engine import reading
from app.domain.hazards import SIGN
from app.domain.language import say
from app.domain.numbers import shown
from app.queries.cabinets import CabinetSummary, cabinet_summary, cabinets
from app.queries.checks import last_check
from app.queries.hazards import suspected_places
from app.queries.listing import SheetList, count_like, sheets_like
from app.web import lists
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("cabinets", __name__)
bp.add_url_rule("/cabinets/<name>/picks", "picks", lists.cabinet_picks)
bp.add_url_rule("/cabinets/<name>.csv", "table", lists.cabinet_table)


@bp.get("/cabinets")
def every() -> Response:
    """All cabinets in walking order."""
    with reading(house().database) as session:
        found, suspected = cabinets(session), suspected_places(session)
    return page("cabinets/every.html", cabinets=found, suspected=suspected.cabinets, sign=SIGN)


@bp.get("/cabinets/<name>")
def one(name: str) -> Response:
    """One cabinet: its shelves, and what lies in it or on one of them, as a list that can be narrowed and sorted."""
    sieve, after = lists.sieve_asked(cabinet=name), lists.mark_asked()
    wrong, found, count = "", SheetList((), ""), 0
    with reading(house().database) as session:
        summary = cabinet_summary(session, name, now(), house().zone)
        if summary is None or (sieve.shelf and sieve.shelf not in [line.name for line in summary.shelves]):
            return page("doors/error.html", 404, code=say("No such place"), what=say("There is no such cabinet or shelf."),
                        do=say("Look at the cabinets."))  # fmt: skip
        try:
            count = count_like(session, sieve, now(), house().zone)
            found = sheets_like(session, sieve, now(), house().zone, after=after)
        except ValueError as error:
            wrong = str(error)
        last = last_check(session, name)
        suspected = suspected_places(session)
    narrows = set(lists.onward(sieve, "cabinet")) - {"shelf", "loose", "sort"}
    return page("cabinets/one.html", 422 if wrong else 200, summary=summary, cabinet=summary.cabinet, found=found, count=count,
                sieve=sieve, after=after, wrong=wrong, onward=lists.onward(sieve, "cabinet"), is_narrowed=bool(narrows), last=last,
                suspected=suspected.cabinets.get(summary.cabinet.cabinet_id, 0), sign=SIGN,
                may_check=bool(visitor().roles & PERMISSIONS["checks.begin"]),
                codes=_codes(summary), **lists.choices())  # fmt: skip


def _codes(summary: CabinetSummary) -> dict[str, str]:
    """The codes of the cabinet and its shelves as people read them."""
    codes = [summary.cabinet.code, *(line.code for line in summary.shelves if line.code)]
    return {code: shown(code, ()) for code in codes}
