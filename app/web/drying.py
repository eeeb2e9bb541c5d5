"""The drying room: its bundles with what is due, one bundle, the dryers with their temperatures, and how dryness is felt."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.answer import Answer
from app.domain.drying import CAUTIONS, SIGNS, THICKEST, celsius_typed, warmth
from app.domain.freezing import celsius
from app.domain.hazards import DEFERS
from app.domain.language import say
from app.domain.stages import Step
from app.queries.drying import BundlePage, bundle_page, drying_room
from app.queries.house import house_now
from app.services.desk import Desk
from app.services.dryers import read_dryer
from app.services.drying import bundle_in_use, close_bundle, dryer_by_name, hang, make_bundle, say_pressed, tie
from app.services.scanning import scan
from app.web.asking import asked, done_once
from app.web.dryer_chart import chart_of
from app.web.drying_forms import NEW, bundle_form, how_form, reading_form, tie_form
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.scans import occasion
from app.web.security import visitor

bp = Blueprint("drying", __name__)


@bp.app_context_processor
def how_it_is_felt() -> dict[str, Any]:
    """The signs of dryness, for the question at a station."""
    return {"dry_signs": SIGNS, "thickest_part": THICKEST}


@bp.get("/drying")
def show() -> Response:
    """The drying room: what dries, what is due, and the dryers."""
    return _room()


@bp.post("/drying")
def make() -> AnyResponse:
    """Make a bundle."""
    with reading(house().database) as session:
        form = bundle_form(drying_room(session, now()))
    if not form.validate():
        return _room(422, new=form)
    method = "heated" if form.dryer.data else form.method.data
    try:
        with transaction(house().database) as session:
            made = make_bundle(session, form.name.data or "", now(), visitor().worker_id, kind=form.kind.data,
                               method=method, dryer=form.dryer.data)  # fmt: skip
            code, name = made["code"], made["name"]
    except ValueError as error:
        form.name.errors = [str(error)]
        return _room(422, new=form)
    flash(say("{name} is made. Print its card and tie it on; then scan the card, and what goes in.", name=name))
    return redirect(url_for("drying.one", code=code))


@bp.post("/drying/reading")
def read() -> AnyResponse:
    """Write down what a dryer's thermometer shows."""
    with reading(house().database) as session:
        form, rules = reading_form(drying_room(session, now())), house_now(session)
    if not form.validate():
        return _room(422, shows=form)
    degrees = celsius_typed(form.celsius.data or "")
    with transaction(house().database) as session:
        row = dryer_by_name(session, form.dryer.data)
        read_dryer(session, row["id"], degrees, now(), visitor().worker_id, form.note.data or "")
    means = warmth(degrees, rules)
    flash(f"{form.dryer.data}: {celsius(degrees)}, {means.words}. {means.do}".strip())
    return redirect(url_for("drying.show", _anchor="dryers"))


@bp.get("/drying/signs")
def signs() -> Response:
    """How dryness is felt, as a page to hang up."""
    return page("drying/signs.html", signs=SIGNS, thickest=THICKEST)


@bp.get("/drying/<code>")
def one(code: str) -> Response:
    """One bundle."""
    return _bundle(code)


@bp.post("/drying/<code>")
def deed(code: str) -> AnyResponse:
    """Something is done with a bundle: laid to dry, papers changed, how it dries, tied into another, closed."""
    done = DEEDS.get(request.form.get("deed", ""))
    if done is None:
        return _bundle(code, 422, wrong=(say("Say what is done with it."),))
    return done(code)


def _moved(code: str) -> AnyResponse:
    step = Step.PAPERS_CHANGED if request.form["deed"] == "papers" else Step.LAY_TO_DRY
    with transaction(house().database) as session:
        answer = scan(session, replace(asked(code, ""), step=step, facts={"all": True}), occasion())
    return _told(code, answer)


def _how(code: str) -> AnyResponse:
    with reading(house().database) as session:
        found = bundle_page(session, code, now())
        form = how_form(found, drying_room(session, now())) if found else None
    if form is None or not form.validate():
        return _bundle(code, 422, how=form)
    by, wanted = visitor().worker_id, form.pressed_on.data
    try:
        with transaction(house().database) as session:
            hang(session, bundle_in_use(session, code)["id"], form.method.data, form.dryer.data, now(), by)
            if wanted is not None:
                say_pressed(session, code, wanted, (now(), house().zone), by)
    except ValueError as error:
        form.dryer.errors = [str(error)]
        return _bundle(code, 422, how=form)
    flash(say("Written."))
    return redirect(url_for("drying.one", code=code))


def _tie(code: str) -> AnyResponse:
    with reading(house().database) as session:
        found = bundle_page(session, code, now())
        form = tie_form(found) if found else None
    if found is None or form is None or not form.validate():
        return _bundle(code, 422, ties=form)
    numbers = None if form.which.data == "all" else tuple(form.numbers.data or ())

    def act(desk: Desk) -> Answer:
        into = form.into.data
        if into == NEW:
            line = found.line
            by = desk.by[0].worker_id if desk.by else None
            into = make_bundle(desk.session, "", desk.now, by, method=line.method, dryer=line.dryer)["code"]
        return replace(tie(desk, code, into, numbers), carry={"code": into})

    answer = done_once(asked(code, ""), act, f"tie {form.into.data} {numbers}")
    return _told(answer.carry.get("code", code), answer, instead=code)


def _close(code: str) -> AnyResponse:
    try:
        with transaction(house().database) as session:
            name = close_bundle(session, code, now(), visitor().worker_id)
    except ValueError as error:
        return _bundle(code, 422, wrong=(str(error),))
    flash(say("{name} is no longer in use. Take its card off.", name=name))
    return redirect(url_for("drying.show"))


def _told(code: str, answer: Answer, instead: str = "") -> AnyResponse:
    if answer.kind != "done":
        return _bundle(instead or code, 422, wrong=(answer.word, *answer.lines, answer.next))
    flash(" ".join((answer.word, *answer.lines)))
    return redirect(url_for("drying.one", code=code))


def _room(status: int = 200, new: Any = None, shows: Any = None) -> Response:
    with reading(house().database) as session:
        found, rules = drying_room(session, now()), house_now(session)
    charts = {each.name: chart_of(each.readings, rules, now()) for each in found.dryers}
    forms = {"new": new or bundle_form(found, fresh=True), "shows": shows or reading_form(found, fresh=True)}
    about = {"charts": charts, "celsius": celsius, "rules": rules, "signs": SIGNS, "thickest": THICKEST}
    return page("drying/show.html", status, found=found, **about, **forms, **_frame())


def _bundle(
    code: str, status: int = 200, *, wrong: tuple[str, ...] = (), how: Any = None, ties: Any = None
) -> Response:
    with reading(house().database) as session:
        found: BundlePage | None = bundle_page(session, code, now())
        room = drying_room(session, now())
    if found is None:
        return page("doors/error.html", 404, code=say("No such bundle"), what=say("No bundle that dries has this card."),
                    do=say("Look at the drying room."))  # fmt: skip
    return page("drying/one.html", status, found=found, line=found.line, wrong=wrong, how=how or how_form(found, room, fresh=True),
                ties=ties or tie_form(found, fresh=True), **_frame())  # fmt: skip


def _frame() -> dict[str, Any]:
    return {"cautions": CAUTIONS, "defers": DEFERS, "fresh_id": secrets.token_urlsafe(16),
            "may_work": bool(visitor().roles & PERMISSIONS["drying.deed"])}  # fmt: skip


DEEDS: dict[str, Callable[[str], AnyResponse]] = {
    "papers": _moved, "lay": _moved, "how": _how, "tie": _tie, "close": _close,
}  # fmt: skip
