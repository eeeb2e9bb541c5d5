"""Searching: a page of what fits, and a few suggestions while somebody types."""

from __future__ import annotations

from flask import Blueprint, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.domain.language import mark
from app.queries.house import patterns_now
from app.queries.search import Hit, find
from app.queries.search_places import PlaceHit, places_like
from app.web.render import house, page
from app.web.security import visitor

bp = Blueprint("search", __name__)
LONGEST = 200
ON_A_PAGE = 50
SUGGESTED = 8
EXACT = frozenset({mark("number"), mark("former number")})
# What anybody sees from the hit itself need not be said beside a suggestion.
PLAIN = frozenset({mark("number"), mark("part of the number"), mark("plant name"), mark("words of the plant name")})


@bp.get("/search")
def results() -> AnyResponse:
    """What fits the words; one whole number leads straight to its sheet."""
    asked, hits, places = _find(ON_A_PAGE)
    exact = [hit for hit in hits if hit.why in EXACT]
    if len(exact) == 1:
        return redirect(url_for("sheets.one", number=exact[0].number))
    return page("search/results.html", asked=asked, hits=hits, places=places, names=visitor().sees_names(),
                may_look=visitor().worker_id is not None, is_full=len(hits) == ON_A_PAGE)  # fmt: skip


@bp.get("/search/suggest")
def suggest() -> AnyResponse:
    """A few sheets that fit what is typed so far."""
    asked, hits, places = _find(SUGGESTED)
    return page("search/_suggest.html", asked=asked, hits=hits, places=places, plain=PLAIN)


def _find(limit: int) -> tuple[str, list[Hit], list[PlaceHit]]:
    asked = request.args.get("q", "").strip()[:LONGEST]
    if not asked:
        return "", [], []
    with reading(house().database) as session:
        hits = find(session, asked, patterns_now(session), limit, by_hands=visitor().sees_names())
        return asked, hits, places_like(session, asked)
