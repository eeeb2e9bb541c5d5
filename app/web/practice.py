"""Practice: setting a station to it and back, beginning again, letting a day go by, and its slips on paper."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.cutting import PAPERS
from app.domain.language import mark, say
from app.domain.practice import practice_sheets
from app.queries.people import station_list
from app.queries.printed import SlipsAsked
from app.services.practice import set_practising
from app.services.practice_room import practice_pattern_of
from app.web.card_pages import CardsAsked, card_pages
from app.web.practising import opened_practice, practice_now, practice_room, step_into
from app.web.render import house, now, page, running_house
from app.web.security import visitor

bp = Blueprint("practice", __name__)
PRACTISES = mark(
    "{name} practises now. A band across its screen says so. Whoever works there loads the page again and signs in."
)
REAL_AGAIN = mark("{name} does real work again. Whoever works there loads the page again and signs in.")


@bp.post("/stations/<slug>/practice", endpoint="set")
def set_station(slug: str) -> AnyResponse:
    """Set a station to practise, or to real work again."""
    on = {"yes": True, "no": False}.get(request.form.get("practise", ""))
    try:
        if on is None:
            raise ValueError(say("Say whether it practises. Load the page again."))
        with transaction(house().database) as session:
            found = next((each for each in station_list(session) if each.slug == slug), None)
            if found is None:
                raise ValueError(say("There is no such station. Load the page again."))
            set_practising(session, found.station_id, on, now(), by=visitor().worker_id)
        flash(say(PRACTISES if on else REAL_AGAIN, name=found.name))
    except ValueError as error:
        flash(str(error))
    return redirect(url_for("stations.every"))


@bp.post("/station/practice/again")
def again() -> AnyResponse:
    """All practice sheets go back to where they begin."""
    if practice_now() is not None:
        real = running_house()
        with reading(real.database) as session:
            practice_room().begin_again(session, real.clock(), real.zone)
        flash(say("Practice begins again: every practice sheet is back where its slip says. Sign in once more."))
    return redirect(url_for("stations.here"))


@bp.post("/station/practice/day")
def day() -> AnyResponse:
    """A day goes by in the practice room, so that what lies under weight grows ready."""
    if practice_now() is not None:
        practice_room().pass_a_day(running_house().clock())
        flash(say("A day has gone by in the practice room."))
    return redirect(url_for("stations.here"))


@bp.get("/stations/practice-slips")
def slips() -> AnyResponse:
    """The practice slips, ready to be printed and cut up."""
    paper = request.args.get("paper", "a4")
    paper = paper if paper in PAPERS else "a4"
    try:
        with reading(house().database) as session:
            sheets = practice_sheets(practice_pattern_of(session))
        step_into(*opened_practice())
    except ValueError as error:
        flash(str(error))
        return redirect(url_for("stations.every"))
    asked = CardsAsked("slips", paper, "qr", SlipsAsked(numbers="\n".join(sheet.number for sheet in sheets)))
    with reading(house().database) as session:
        pages = card_pages(session, asked, now(), house().zone)
    other = next(name for name in PAPERS if name != paper)
    return page("print/pages.html", pages=pages, other=PAPERS[other], defers=pages.foot,
                other_paper=url_for("practice.slips", paper=other))  # fmt: skip
