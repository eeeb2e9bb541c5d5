"""Pests that were seen, what lay beside them, and what the manager does about it."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from datetime import UTC, date, datetime, time
from typing import Any

from flask import Blueprint, abort, flash, redirect, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse
from wtforms import StringField
from wtforms.validators import DataRequired, Length

from app.db.engine import reading
from app.domain.answer import Answer
from app.domain.calendar import local_day
from app.domain.language import mark, say
from app.queries.pests import NeighbourGroup, Sighting, neighbour_groups, sighting, sightings
from app.services.pest_ends import close_sighting, quarantine_neighbours
from app.services.pests import pest_said
from app.web.asking import asked, done_once
from app.web.fields import own_ids
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("pests", __name__)


class SeenForm(FlaskForm):  # type: ignore[misc]
    """Where a pest was seen."""

    on = StringField(mark("On or in what?"), [DataRequired(mark("Say what it was on.")), Length(max=120)])
    reason = StringField(mark("What was it?"), [Length(max=300)])


class HoldThemForm(FlaskForm):  # type: ignore[misc]
    """The neighbours into quarantine: why, and why some are left out."""

    reason = StringField(
        mark("Why? It stands in the log of each"),
        [DataRequired(mark("Say why; it stays in the log.")), Length(max=500)],
    )
    spared = StringField(mark("Why are those not ticked left out?"), [Length(max=300)])


class DoneForm(FlaskForm):  # type: ignore[misc]
    """What was done about it."""

    reason = StringField(
        mark("What was done?"), [DataRequired(mark("Say what was done; it stays with it.")), Length(max=500)]
    )


@bp.get("/pests")
def every() -> AnyResponse:
    """Every sighting, the open ones first."""
    return _every(SeenForm(formdata=None))


@bp.post("/pests", endpoint="say")
def tell() -> AnyResponse:
    """Somebody has seen one."""
    form = SeenForm()
    if not form.validate():
        return _every(form, 422)
    on = form.on.data or ""
    answer = done_once(asked("", form.reason.data), lambda desk: pest_said(desk, on), f"pest on {on}")
    if answer.refusals:
        form.on.errors = [*answer.lines, answer.next]
        return _every(form, 422)
    flash(_told(answer))
    return redirect(url_for("pests.every"))


@bp.get("/pests/<int:pest_id>")
def one(pest_id: int) -> AnyResponse:
    """One sighting, with every sheet that was beside it since a day."""
    return _one(_there(pest_id), HoldThemForm(formdata=None), DoneForm(formdata=None))


@bp.post("/pests/<int:pest_id>/quarantine")
def quarantine(pest_id: int) -> AnyResponse:
    """Put all of them in quarantine but those that were not ticked."""
    found, form = _there(pest_id), HoldThemForm()
    since = _since(found)
    spared = sorted(set(request.form.getlist("listed")) - set(request.form.getlist("hold")))
    if spared and not (form.spared.data or "").strip():
        form.validate()
        form.spared.errors = [say("Some are not ticked: say why they are left out.")]
        return _one(found, form, DoneForm(formdata=None), 422, spared)
    if not form.validate():
        return _one(found, form, DoneForm(formdata=None), 422, spared)
    all_but = {number: form.spared.data or "" for number in spared}
    answer = done_once(
        asked("", form.reason.data),
        lambda desk: quarantine_neighbours(desk, pest_id, since, all_but),
        f"neighbours {pest_id} {since}",
    )
    if answer.refusals:
        form.reason.errors = [*answer.lines]
        return _one(found, form, DoneForm(formdata=None), 422, spared)
    flash(_told(answer))
    return redirect(url_for("pests.one", pest_id=pest_id, since=local_day(since, house().zone).isoformat()))


@bp.post("/pests/<int:pest_id>/close")
def close(pest_id: int) -> AnyResponse:
    """Say what was done; it needs nobody any more."""
    found, form = _there(pest_id), DoneForm()
    if not form.validate():
        return _one(found, HoldThemForm(formdata=None), form, 422)
    answer = done_once(asked("", form.reason.data), lambda desk: close_sighting(desk, pest_id), f"close {pest_id}")
    if answer.refusals:
        form.reason.errors = [*answer.lines]
        return _one(found, HoldThemForm(formdata=None), form, 422)
    flash(_told(answer))
    return redirect(url_for("pests.every"))


def _every(form: SeenForm, status: int = 200) -> AnyResponse:
    with reading(house().database) as session:
        found = sightings(session, by_names=visitor().sees_names())
    return page("pests/every.html", status, found=found, form=form, fresh=secrets.token_urlsafe(16))


def _one(found: Sighting, holds: HoldThemForm, done: DoneForm, status: int = 200, spared: Any = ()) -> AnyResponse:
    since = _since(found)
    with reading(house().database) as session:
        groups = neighbour_groups(session, found.pest_id, since, now())
    for name, form in (("hold", holds), ("done", done)):
        own_ids(form, name)
    return page("pests/one.html", status, found=found, groups=groups, count=_count(groups), since=local_day(since, house().zone),
                latest=local_day(found.seen_at, house().zone), holds=holds, done=done, spared=frozenset(spared), now=now(),
                may_manage="manager" in visitor().rights, fresh=lambda: secrets.token_urlsafe(16))  # fmt: skip


def _count(groups: tuple[NeighbourGroup, ...]) -> Mapping[str, int]:
    lines = [line for group in groups for line in group.lines]
    free = [line for line in lines if not line.in_quarantine and not line.closed_as]
    return {"all": len(lines), "free": len(free)}


def _there(pest_id: int) -> Sighting:
    with reading(house().database) as session:
        found = sighting(session, pest_id, by_names=visitor().sees_names())
    if found is None:
        abort(404)
    return found


def _since(found: Sighting) -> datetime:
    """Since when: the beginning of the day that was asked for, else what the sighting has."""
    try:
        day = date.fromisoformat(request.values.get("since", ""))
    except ValueError:
        return found.since
    day = min(max(day, date(1900, 1, 1)), local_day(found.seen_at, house().zone))
    return datetime.combine(day, time(), house().zone).astimezone(UTC)


def _told(answer: Answer) -> str:
    return " ".join(filter(None, (answer.word, *answer.lines, answer.next)))
