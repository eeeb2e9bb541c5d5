"""The room's day on paper: what must not be left overnight, and what waits in the morning."""

from __future__ import annotations

from flask import Blueprint, Response, url_for

from app.db.engine import reading
from app.queries.closing import closing_view
from app.queries.morning import morning_view
from app.queries.room_day import DayLine
from app.web.render import house, now, page

bp = Blueprint("day", __name__)


@bp.get("/closing")
def closing() -> Response:
    """What to see to before the room is closed."""
    with reading(house().database) as session:
        view = closing_view(session, now(), house().zone)
    return page("day/closing.html", view=view, address=_address)


@bp.get("/morning")
def morning() -> Response:
    """What was left overnight, and what the day asks for."""
    with reading(house().database) as session:
        view = morning_view(session, now(), house().zone)
    return page("day/morning.html", view=view, address=_address)


def _address(line: DayLine) -> str:
    if line.href_kind == "load":
        return url_for("freezer.show")
    if line.href_kind == "sheet":
        return url_for("sheets.one", number=line.href_id)
    return url_for("press.one", name=line.href_id) if line.href_kind == "stack" else ""
