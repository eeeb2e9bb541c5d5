"""What is printed for the work table, page by page: slips, labels, badges, and cards of stacks, bundles, stations, commands."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.domain.card_words import CARD_KINDS
from app.domain.cutting import PAPERS
from app.queries.cabinets import cabinet_names
from app.queries.furniture import consignments
from app.queries.printed import SlipsAsked
from app.queries.sieve import Sieve
from app.web import lists
from app.web.card_pages import CardsAsked, card_pages
from app.web.codes import SYMBOLS
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("printing", __name__)
LONGEST_NUMBERS = 60_000
ARGUMENTS = ("paper", "symbol", "consignment", "numbers", "cabinet", "stack", "worker", "bundle", "station", "load", "lot",
             *Sieve.__dataclass_fields__)  # fmt: skip


@bp.get("/print")
def choose() -> AnyResponse:
    """Choose what is printed, on which paper, and for which sheets; then go to its pages."""
    kind = request.args.get("kind", "")
    if kind in _kinds():
        return redirect(url_for(f"printing.{kind}", **_carried()))
    return _choosing(CardsAsked("slips"))


@bp.get("/print/slips", endpoint="slips")
def slip_pages() -> AnyResponse:
    """Travelling slips for the sheets that are asked for; where none are, the page on which they are chosen."""
    if not request.args:
        return redirect(url_for("printing.choose"))
    asked = SlipsAsked(
        request.args.get("consignment", "").strip()[: lists.LONGEST],
        request.args.get("numbers", "").strip()[:LONGEST_NUMBERS],
        lists.sieve_asked(),
    )
    return _printed(_asked("slips", slips=asked))


@bp.get("/print/shelves", endpoint="shelves")
def shelf_pages() -> Response:
    """Labels for cabinets and shelves."""
    return _printed(_asked("shelves", cabinet=request.args.get("cabinet", "")))


@bp.get("/print/stacks", endpoint="stacks")
def stack_pages() -> Response:
    """Cards for stacks, on one side and off the other."""
    return _printed(_asked("stacks", stack=request.args.get("stack", "")))


@bp.get("/print/badges", endpoint="badges")
def badge_pages() -> Response:
    """Badges for the people of the room."""
    return _printed(_asked("badges", worker_id=request.args.get("worker", type=int)))


@bp.get("/print/cards", endpoint="cards")
def command_pages() -> Response:
    """Command cards."""
    return _printed(_asked("cards"))


@bp.get("/print/bundles", endpoint="bundles")
def bundle_pages() -> Response:
    """Cards for bundles."""
    return _printed(_asked("bundles", bundle=request.args.get("bundle", "")))


@bp.get("/print/stations", endpoint="stations")
def station_pages() -> Response:
    """Cards for the screens."""
    return _printed(_asked("stations", station=request.args.get("station", "")))


@bp.get("/print/lots", endpoint="lots")
def lot_pages() -> Response:
    """Cards for the lots of adhesive in use."""
    return _printed(_asked("lots", lot=request.args.get("lot", "")))


@bp.get("/print/loads", endpoint="loads")
def load_pages() -> Response:
    """Cards for the loads that are not opened yet."""
    return _printed(_asked("loads", load=request.args.get("load", "")))


def _asked(kind: str, **more: Any) -> CardsAsked:
    return CardsAsked(kind, request.args.get("paper", "a4"), request.args.get("symbol", "qr"), **more)


def _printed(asked: CardsAsked) -> Response:
    try:
        with reading(house().database) as session:
            pages = card_pages(session, asked, now(), house().zone)
    except ValueError as error:
        return _choosing(asked, str(error))
    other = next(name for name in PAPERS if name != asked.paper)
    return page("print/pages.html", pages=pages, other=PAPERS[other], defers=pages.foot,
                other_paper=url_for(f"printing.{asked.kind}", **{**_carried(), "paper": other}))  # fmt: skip


def _carried() -> dict[str, Any]:
    """What the address asks for and the next one asks again; anything else in it is left behind."""
    return {name: request.args[name] for name in ARGUMENTS if request.args.get(name)}


def _choosing(asked: CardsAsked, wrong: str = "") -> Response:
    with reading(house().database) as session:
        found, places = consignments(session), cabinet_names(session)
    return page("print/choose.html", 422 if wrong else 200, asked=asked, wrong=wrong, kinds=_kinds(), papers=PAPERS,
                symbols=SYMBOLS, consignments=found, cabinets=places, **lists.choices())  # fmt: skip


def _kinds() -> dict[str, Any]:
    """The kinds that whoever asks may print."""
    may = visitor().roles
    return {kind: words for kind, words in CARD_KINDS.items() if may & PERMISSIONS[f"printing.{kind}"]}
