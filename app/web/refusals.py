"""What is refused where, for whoever teaches: on a page, and as a table for a spreadsheet."""

from __future__ import annotations

from flask import Blueprint, Response

from app.db.engine import reading
from app.domain.cells import BOM, csv_line
from app.queries.refusals import refusal_rows, refusals
from app.web.render import house, now, page

bp = Blueprint("refusals", __name__)


@bp.get("/refusals")
def show() -> Response:
    """What was refused in the last eight weeks, by station and kind."""
    with reading(house().database) as session:
        found = refusals(session, now(), house().zone)
    most = max((many for line in (*found.lines, *found.questions) for many in line.by_week), default=0)
    return page("refusals/show.html", found=found, most=most)


@bp.get("/refusals.csv")
def table() -> Response:
    """The same as a CSV file, a row for each week, station, step and code."""
    with reading(house().database) as session:
        lines = [csv_line(row) for row in refusal_rows(session, now(), house().zone)]
    response = Response(BOM + "".join(lines), mimetype="text/csv")
    name = f"refusals-{now().astimezone(house().zone):%Y-%m-%d}.csv"
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
