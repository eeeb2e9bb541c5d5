"""What comes first: the sheets that are wanted, and the room's order of consignments, moved one place at a time."""

from __future__ import annotations

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.language import say
from app.queries.comes_first import consignments_in_order, wanted_sheets
from app.services.order import set_order
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("order", __name__)


@bp.get("/order")
def show() -> Response:
    """What is wanted, and the order of the consignments."""
    return _drawn()


@bp.post("/order/<path:code>")
def move(code: str) -> AnyResponse:
    """Move a consignment in the order as it is now, whoever moved what meanwhile."""
    try:
        with transaction(house().database) as session:
            moved = set_order(session, code, request.form.get("move", "")[:10], now(), by=visitor().worker_id)
    except ValueError as error:
        return _drawn(422, str(error))
    flash(say("{code} is moved.", code=code) if moved else say("{code} stands there already.", code=code))
    return redirect(url_for("order.show"))


def _drawn(status: int = 200, wrong: str = "") -> Response:
    who = visitor()
    with reading(house().database) as session:
        wanted = wanted_sheets(session, now(), house().zone, by_names=who.sees_names(), worker_id=who.worker_id)
        consignments = consignments_in_order(session)
    may_move = bool(who.roles & PERMISSIONS["order.move"])
    last = max((line.place for line in consignments), default=0)
    return page(
        "order/show.html", status, wanted=wanted, consignments=consignments, may_move=may_move, last=last, wrong=wrong
    )
