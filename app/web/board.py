"""The board: the whole room in one look, kept up to date while somebody looks at it."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, make_response, render_template, request, url_for
from markupsafe import Markup

from app.domain.language import say, spoken
from app.queries.board import Board, StackLine
from app.queries.outlook import Outlook
from app.web.drawing import flow, place, small_stack
from app.web.keeping import Kept, Look
from app.web.need_links import aside_of, href_of
from app.web.render import house, kept_here, page, teller
from app.web.security import visitor

bp = Blueprint("board", __name__)


@bp.get("/board")
def show() -> Response:
    """The board."""
    return page("board/show.html", drawn=Markup(_live(_look())), is_wall=False)


@bp.get("/wall")
def wall() -> Response:
    """The board for a screen on the wall: it names no person and has nothing to press."""
    return page("board/show.html", drawn=Markup(_live(Look(wall=True))), is_wall=True)


@bp.get("/board/live")
def live() -> Response:
    """The board again for a page that shows it already; nothing (204) while it would look the same."""
    look = Look(wall=True) if request.args.get("wall") else _look()
    if kept_board().is_still(look, request.args.get("shown", "")):
        return make_response("", 204)
    return make_response(_live(look))


def kept_board() -> Kept:
    """The board as it is kept for all who look at it in the language of the moment."""
    kept: Kept = kept_here().setdefault(f"blotter-board {spoken().code}", Kept(house(), _draw))
    return kept


def _look() -> Look:
    return Look(keeps=bool(visitor().rights & {"trainer", "manager"}))


def _live(look: Look) -> str:
    drawn = kept_board().drawn_now(look)
    waiting = sum(stage.count for stage in drawn.of.stages if stage.slug != "filed")
    asks = url_for("board.live", shown=drawn.mark, wall="1" if look.wall else None)
    return render_template(
        "board/_live.html", body=Markup(drawn.body), since=drawn.since, asks=asks, waiting=waiting, look=look
    )


def _draw(found: Board, ahead: Outlook, look: Look) -> str:
    return render_template("board/_body.html", look=look, **_context(found, ahead))


def _context(found: Board, ahead: Outlook) -> dict[str, Any]:
    waiting = sum(stage.count for stage in found.stages if stage.slug != "filed")
    return {
        "board": flow(found, ahead, lambda slug: url_for("sheets.every", stage=slug)),
        "stacks": [small_stack(line, url_for("press.one", name=line.name), _warning(line)) for line in found.stacks],
        "places": [place(line, url_for("cabinets.one", name=line.name)) for line in found.cabinets],
        "needs": [(need, href_of(need)) for need in found.needs], "aside": found.aside, "aside_of": aside_of,
        "waiting": waiting, "is_empty": not waiting and not found.stages[-1].count,
    }  # fmt: skip


def _warning(line: StackLine) -> str:
    if not line.is_bad:
        return ""
    return say("Without weights since {bare_since}", bare_since=teller()(line.bare_since))
