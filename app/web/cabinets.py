"""The cabinets: what waits on which shelf."""

from __future__ import annotations

from flask import Blueprint, Response, request

from app.db.engine import reading
from app.domain.numbers import shown
from app.queries.cabinets import cabinets, shelf_page
from app.web.render import house, now, page

bp = Blueprint("cabinets", __name__)
LONGEST = 200


@bp.get("/cabinets")
def every() -> Response:
    """All cabinets in walking order."""
    with reading(house().database) as session:
        found = cabinets(session)
    return page("cabinets/every.html", cabinets=found)


@bp.get("/cabinets/<name>")
def one(name: str) -> Response:
    """One cabinet, or one shelf of it, as a list that can be printed and walked along."""
    shelf, after = (request.args.get(key, "")[:LONGEST] for key in ("shelf", "after"))
    with reading(house().database) as session:
        cabinet = next((each for each in cabinets(session) if each.name == name), None)
        try:
            found = shelf_page(session, name, shelf, now(), house().zone, after=after)
        except ValueError:
            found = None
    if cabinet is None or found is None:
        return page("doors/error.html", 404, code="No such place", what="There is no such cabinet or shelf.",
                    do="Look at the cabinets.")  # fmt: skip
    codes = {cabinet.code: shown(cabinet.code, ())} | {each.code: shown(each.code, ()) for each in cabinet.shelves}
    return page("cabinets/one.html", cabinet=cabinet, found=found, after=after, codes=codes)
