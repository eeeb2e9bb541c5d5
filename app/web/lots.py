"""One lot of adhesive: where it was opened, every sheet glued from it as a page and as a table, and what is put right of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Response, abort, flash, redirect, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.cells import csv_line
from app.domain.hazards import DEFERS
from app.domain.language import say
from app.domain.numbers import shown
from app.queries.lots import LotPage, lot_page, lot_rows, lots_beside
from app.queries.people import station_list
from app.services.lots import end_lot, say_of_lot
from app.services.pots import put_opening_right, write_opening
from app.services.supplies import Told
from app.web.fields import own_ids
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.scans import whole
from app.web.security import visitor
from app.web.supplies_forms import LabelForm, OpenedForm, OtherLotForm, WhyForm, choose, told_by
from app.web.supplies_words import csv_file

Act = Callable[[Any, int, Any, Told], str]


def one(lot_id: int) -> Response:
    """One lot."""
    return _one(lot_id)


def table(lot_id: int) -> Response:
    """The sheets glued from a lot, in walking order, as a table for other programs."""
    found = _found(lot_id)
    return csv_file(map(csv_line, lot_rows(found)), f"lot {found.number}")


def deed(lot_id: int) -> AnyResponse:
    """Something is put right of a lot: its label, where it was open, or that nothing more is glued from it."""
    name = request.form.get("deed", "")
    if name not in DEEDS:
        return _one(lot_id, 422)
    make, act, field = DEEDS[name]
    form = _filled(lot_id, make())
    told = told_by(form) if form.validate() else None
    if told is None:
        return _one(lot_id, 422, name, form)
    try:
        with transaction(house().database) as session:
            said = act(session, lot_id, form, told)
    except ValueError as error:
        form[field].errors = [str(error)]
        return _one(lot_id, 422, name, form)
    flash(said)
    return redirect(url_for("supplies.lot", lot_id=lot_id))


def _one(lot_id: int, status: int = 200, opened: str = "", form: FlaskForm | None = None) -> Response:
    found = _found(lot_id)
    forms: dict[str, Any] = {
        name: _filled(lot_id, make(formdata=None)) for name, (make, _, _) in DEEDS.items() if name != "label"
    }
    forms["label"] = LabelForm(formdata=None, lot=found.number, label_on=found.label_on)
    if form is not None:
        forms[opened] = form
    for name, each in forms.items():
        own_ids(each, name)
    has_cautions = any(line.cautions for group in found.picks.groups for line in group.lines)
    return page("supplies/lot.html", status, found=found, shown_code=shown(found.code, ()), forms=forms, opened=opened,
                may=bool(visitor().roles & PERMISSIONS["supplies.lot_deed"]), defers=DEFERS if has_cautions else "")  # fmt: skip


def _found(lot_id: int) -> LotPage:
    with reading(house().database) as session:
        found = lot_page(session, lot_id, now(), house().zone)
    return found if found is not None else abort(404)


def _filled(lot_id: int, form: Any) -> Any:
    """A form with the stations or the lots that it may name."""
    with reading(house().database) as session:
        if isinstance(form, OpenedForm):
            form.station.choices = [(str(each.station_id), each.name) for each in station_list(session)]
        if isinstance(form, OtherLotForm):
            choose(
                form.lot,
                say("none: it was not opened then"),
                [(str(each), number) for each, number in lots_beside(session, lot_id)],
            )
    return form


def _label(session: Any, lot_id: int, form: Any, told: Told) -> str:
    say_of_lot(session, lot_id, told, form.lot.data or "", form.label_on.data, form.why.data or "")
    return say("Put right. Print its card anew.")


def _opened(session: Any, lot_id: int, form: Any, told: Told) -> str:
    at = told if told.at is not None else Told(told.now, told.by, told.now)
    write_opening(session, lot_id, int(form.station.data), at, form.why.data or "", away=form.what.data == "away")
    return say("Written. What was glued there since has its lot by it.")


def _other(session: Any, lot_id: int, form: Any, told: Told) -> str:
    put_opening_right(session, int(form.line.data), whole(form.lot.data or ""), told, form.why.data or "")
    return say("Put right. The old line stays in the history.")


def _end(session: Any, lot_id: int, form: Any, told: Told) -> str:
    again = request.form.get("again") == "1"
    end_lot(session, lot_id, told, form.why.data or "", again=again)
    return (
        say("It is in use again.")
        if again
        else say("Nothing more is glued with it: whoever scans its card is told so.")
    )


DEEDS: dict[str, tuple[type[FlaskForm], Act, str]] = {
    "label": (LabelForm, _label, "lot"), "opened": (OpenedForm, _opened, "why"), "other": (OtherLotForm, _other, "why"),
    "end": (WhyForm, _end, "why"),
}  # fmt: skip
