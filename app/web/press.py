"""The press room: every stack as it stands, what may come out of it now, and what next."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, url_for

from app.db.engine import reading
from app.domain.hazards import DEFERS
from app.domain.numbers import shown
from app.queries.press import StackView, press_room, stack_view
from app.web.drawing import full_stack, stack
from app.web.render import house, now, page, teller

bp = Blueprint("press", __name__)
LIFTING = "Lift one piece at a time, and never move a stack with its weights on."


@bp.get("/press")
def every() -> Response:
    """All stacks, and what may come out when."""
    with reading(house().database) as session:
        views = press_room(session, now(), house().zone)
    drawn = [stack(view, _address(view), _warning(view), _sheet_address) for view in views]
    ready = [view for view in views if view.ready_now]
    coming = sorted((view.next_ready_at, view.name, view) for view in views if view.next_ready_at)
    next_ = [view for *_, view in coming]
    return page("press/every.html", stacks=drawn, ready=ready, coming=next_, lifting=LIFTING, defers=DEFERS)


@bp.get("/press/<name>")
def one(name: str) -> Response:
    """One stack, large."""
    with reading(house().database) as session:
        view = stack_view(session, name, now(), house().zone)
    if view is None:
        what = "There is no stack with this name."
        return page("doors/error.html", 404, code="No such stack", what=what, do="Look at the press room.")
    drawn = full_stack(view, _address(view), _warning(view), _sheet_address)
    codes: dict[str, Any] = {"code_on": shown(view.code_on, ()), "code_off": shown(view.code_off, ())}
    return page("press/one.html", view=view, stack=drawn, lifting=LIFTING, defers=DEFERS, **codes)


def _address(view: StackView) -> str:
    return url_for("press.one", name=view.name)


def _sheet_address(number: str) -> str:
    return url_for("sheets.one", number=number)


def _warning(view: StackView) -> str:
    if view.off_too_long:
        return f"Weights off since {teller()(view.since)}" if view.since else "The weights are not on yet"
    return f"{view.counted} counted, {view.counted_of} by the log" if view.count_differs else ""
