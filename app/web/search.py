"""Searching: a page of what fits, and a few suggestions while somebody types."""

from __future__ import annotations

from flask import Blueprint, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.queries.house import patterns_now
from app.queries.search import Hit, find
from app.web.render import house, page

bp = Blueprint("search", __name__)
LONGEST = 200
ON_A_PAGE = 50
SUGGESTED = 8
EXACT = frozenset({"number", "former number"})


@bp.get("/search")
def results() -> AnyResponse:
    """What fits the words; one whole number leads straight to its sheet."""
    asked, hits = _find(ON_A_PAGE)
    exact = [hit for hit in hits if hit.why in EXACT]
    if len(exact) == 1:
        return redirect(url_for("sheets.one", number=exact[0].number))
    return page("search/results.html", asked=asked, hits=hits, is_full=len(hits) == ON_A_PAGE)


@bp.get("/search/suggest")
def suggest() -> AnyResponse:
    """A few sheets that fit what is typed so far."""
    asked, hits = _find(SUGGESTED)
    return page("search/_suggest.html", asked=asked, hits=hits)


def _find(limit: int) -> tuple[str, list[Hit]]:
    asked = request.args.get("q", "").strip()[:LONGEST]
    if not asked:
        return "", []
    with reading(house().database) as session:
        return asked, find(session, asked, patterns_now(session), limit)
