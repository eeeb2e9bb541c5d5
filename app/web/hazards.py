"""Dangers: said and cleared, of sheets and consignments; who may open suspected sheets; and the cautions of the whole work."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, flash, redirect, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse
from wtforms import SelectField, StringField
from wtforms.validators import DataRequired, InputRequired, Length

from app.db.engine import reading, transaction
from app.domain.cautions import CAUTIONS_OF_THE_WORK, STOP_AND_ASK
from app.domain.hazards import CAUTIONS, DEFERS, HAZARD_WORDS
from app.domain.language import mark, say
from app.queries.hazards import dangers_of_consignments, named_stations, named_workers, suspects
from app.services.hazards import clear_many, clear_of, say_of
from app.services.suspected import leave_off, name_for
from app.web.fields import own_ids
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.scans import whole
from app.web.security import visitor

bp = Blueprint("hazards", __name__)
KINDS = list(HAZARD_WORDS.items())


class SayForm(FlaskForm):  # type: ignore[misc]
    """A danger of a sheet, or of all that came with a consignment."""

    of = StringField(mark("Of which sheet or consignment?"), [DataRequired(mark("Say of what.")), Length(max=80)])
    kind = SelectField(mark("Danger"), [InputRequired()], choices=KINDS)
    why = StringField(mark("What was seen?"), [Length(max=300)])


class ClearForm(FlaskForm):  # type: ignore[misc]
    """Why there is none."""

    why = StringField(
        mark("What was looked at, and found?"),
        [DataRequired(mark("Say why; it stays in the history.")), Length(max=300)],
    )


@bp.get("/cautions")
def cautions() -> Response:
    """One page of cautions, to be hung up."""
    dangers = [(HAZARD_WORDS[kind], words) for kind, words in CAUTIONS.items()]
    return page(
        "hazards/cautions.html", cautions=CAUTIONS_OF_THE_WORK, dangers=dangers, stop=STOP_AND_ASK, defers=DEFERS
    )


@bp.get("/hazards")
def show() -> Response:
    """What is suspected, what travels with consignments, and who is named."""
    of = request.args.get("of", "").strip()[:80]
    return _show(SayForm(formdata=None, of=of), ClearForm(formdata=None))


@bp.post("/hazards", endpoint="say")
def tell() -> AnyResponse:
    """Say that something carries a danger."""
    form = SayForm()
    if not form.validate():
        return _show(form, ClearForm(formdata=None), 422)
    try:
        with transaction(house().database) as session:
            said = say_of(
                session, str(form.of.data), str(form.kind.data), form.why.data or "", now(), visitor().worker_id
            )
    except ValueError as error:
        form.of.errors = [str(error)]
        return _show(form, ClearForm(formdata=None), 422)
    kind = str(form.kind.data)
    parts = {"name": said.name, "danger": HAZARD_WORDS[kind], "caution": CAUTIONS[kind]}
    flash(say("{name}: {danger}. {caution}", **parts) if said.is_new
          else say("{name}: {danger}, as was known already. {caution}", **parts))  # fmt: skip
    return redirect(url_for("sheets.one", number=said.number) if said.number else url_for("hazards.show"))


@bp.post("/hazards/clear")
def clear() -> AnyResponse:
    """Say with a reason that there is none: of those that were ticked."""
    form = ClearForm()
    ids = [each for text in request.form.getlist("hazard")[:1000] if (each := whole(text)) is not None]
    if not form.validate():
        return _show(SayForm(formdata=None), form, 422, ids)
    if not ids:
        form.why.errors = [say("Tick at least one.")]
        return _show(SayForm(formdata=None), form, 422)
    try:
        with transaction(house().database) as session:
            many = clear_many(session, ids, str(form.why.data), now(), visitor().worker_id)
            number = clear_of(session, ids[0]) if len(ids) == 1 else ""
    except ValueError as error:
        form.why.errors = [str(error)]
        return _show(SayForm(formdata=None), form, 422, ids)
    flash(
        say("Cleared. The reason stays in the history.")
        if many == 1
        else say("{many} cleared. The reason stays in the history of each.", many=many)
    )
    return redirect(url_for("sheets.one", number=number) if number else url_for("hazards.show"))


@bp.post("/hazards/named")
def named() -> AnyResponse:
    """Name a worker or a station for suspected sheets, or leave one off; no reason is asked for."""
    who = {name: whole(request.form.get(name, "")) for name in ("worker_id", "station_id")}
    of = {name: value for name, value in who.items() if value is not None}
    if len(of) != 1:
        return redirect(url_for("hazards.show"))
    act = name_for if request.form.get("deed") == "name" else leave_off
    try:
        with transaction(house().database) as session:
            act(session, now(), visitor().worker_id, **of)
    except ValueError as error:
        flash(str(error))
    return redirect(url_for("hazards.show", _anchor="named"))


def _show(say_form: SayForm, clear_form: ClearForm, status: int = 200, ticked: Any = ()) -> Response:
    by_names, manages = visitor().sees_names(), bool(visitor().roles & PERMISSIONS["hazards.named"])
    with reading(house().database) as session:
        found, came = suspects(session, by_names=by_names), dangers_of_consignments(session, by_names=by_names)
        workers, stations = (named_workers(session), named_stations(session)) if manages else ((), ())
    for name, form in (("say", say_form), ("clear", clear_form)):
        own_ids(form, name)
    return page("hazards/show.html", status, found=found, came=came, workers=workers, stations=stations, manages=manages,
                may_clear=bool(visitor().roles & PERMISSIONS["hazards.clear"]), say_form=say_form, clear_form=clear_form,
                ticked=frozenset(ticked), defers=DEFERS, caution=CAUTIONS["historic"])  # fmt: skip
