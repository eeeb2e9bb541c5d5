"""A worker's own page, what is kept about them, and the end of a name."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.language import say_n
from app.queries.first_looks import first_looks_of
from app.queries.kept import kept_about
from app.queries.named_texts import named_texts
from app.queries.own_weeks import OwnWeeks, own_weeks
from app.queries.people import worker_by_id
from app.queries.spoken import language_of_worker
from app.services.forgetting_names import replace_name
from app.web.own_chart import chart_of
from app.web.practising import forget_practised
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("own", __name__)


@bp.get("/me")
def show() -> Response:
    """The weeks of whoever is signed in, for themselves."""
    with reading(house().database) as session:
        found = own_weeks(session, _me(), now(), house().zone)
        looks = first_looks_of(session, _me(), now(), house().zone)
        own_language = language_of_worker(session, _me())
    return page("people/me.html", looks=looks, own_language=own_language, **drawn(found))


@bp.get("/me/kept")
def kept() -> Response:
    """What is kept about whoever is signed in."""
    return _kept(_me(), is_own=True)


@bp.get("/people/<int:worker_id>/kept")
def kept_of(worker_id: int) -> Response:
    """What is kept about a worker, to be printed and handed over."""
    return _kept(worker_id, is_own=False)


@bp.get("/people/<int:worker_id>/name")
def name(worker_id: int) -> Response:
    """The texts in which somebody who has left is named, to be looked at before the name is gone."""
    return _look(worker_id)


@bp.post("/people/<int:worker_id>/name")
def replace(worker_id: int) -> AnyResponse:
    """Put the number in place of the name, on the worker's row and in the texts that were ticked."""
    chosen = set(request.form.getlist("text"))
    # Looked for before the room is held: that may take seconds, and nobody should wait for it.
    with reading(house().database) as session:
        found = named_texts(session, worker_id)
    texts = [each for each in found if each.always or each.mark in chosen]
    left = [each.mark for each in found if each not in texts]
    try:
        with transaction(house().database) as session:
            many = replace_name(session, worker_id, now(), visitor().worker_id, texts, left)
    except ValueError as error:
        return _look(worker_id, 422, str(error), chosen)
    forget_practised()
    flash(say_n("The name is gone, and the number stands in its place; in {n} text too.",
                "The name is gone, and the number stands in its place; in {n} texts too.", many))  # fmt: skip
    return redirect(url_for("people.one", worker_id=worker_id))


def drawn(found: OwnWeeks) -> dict[str, Any]:
    """What the pages of a worker's weeks are drawn from."""
    lines = (*found.steps, *found.hours)
    return {"own": found, "own_charts": [(line, chart_of(line)) for line in lines]}


def _me() -> int:
    worker_id = visitor().worker_id
    return worker_id if worker_id is not None else abort(404)


def _kept(worker_id: int, *, is_own: bool) -> Response:
    with reading(house().database) as session:
        found = kept_about(session, worker_id, house().zone)
    if found is None:
        abort(404)
    return page("people/kept.html", kept=found, is_own=is_own, now=now())


def _look(worker_id: int, status: int = 200, wrong: str = "", chosen: set[str] | None = None) -> Response:
    with reading(house().database) as session:
        worker, texts = worker_by_id(session, worker_id), named_texts(session, worker_id)
    if worker is None:
        abort(404)
    return page("people/name.html", status, worker=worker, texts=[each for each in texts if not each.always],
                always=sum(len(each.rows) for each in texts if each.always), wrong=wrong, chosen=chosen,
                is_gone=worker.name == worker.number)  # fmt: skip
