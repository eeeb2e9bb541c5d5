"""The supplies: what there is, how long it lasts and what to order; one of them with its history, and what is written of it."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.calendar import local_day
from app.domain.cells import csv_line
from app.domain.language import say
from app.domain.supplies import ADHESIVE, amount_said, with_unit
from app.queries.house import house_now
from app.queries.room import adhesives
from app.queries.supplies import SupplyLine, supplies
from app.queries.supplies_page import SupplyPage, supply_page
from app.services.supplies import Told, add_supply
from app.web import lots, supplies_words
from app.web.fields import own_ids
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.scans import whole
from app.web.security import visitor
from app.web.supplies_deeds import DEEDS
from app.web.supplies_forms import AddForm, BoughtForm, choose, told_by
from app.web.supplies_words import csv_file

bp = Blueprint("supplies", __name__)
bp.add_url_rule("/supplies/lots/<int:lot_id>", "lot", lots.one)
bp.add_url_rule("/supplies/lots/<int:lot_id>.csv", "lot_table", lots.table)
bp.add_url_rule("/supplies/lots/<int:lot_id>", "lot_deed", lots.deed, methods=["POST"])


@bp.get("/supplies")
def every() -> Response:
    """All of them."""
    return _every(AddForm(formdata=None))


@bp.post("/supplies")
def add() -> AnyResponse:
    """One more is kept from now on."""
    form = AddForm()
    _fill(form)
    if not form.validate():
        return _every(form, 422)
    bought = {
        "unit": form.unit.data,
        "holds": form.holds.data or 1,
        "adhesive_id": whole(form.adhesive.data or ""),
        **form.bought(),
    }
    try:
        with transaction(house().database) as session:
            supply_id = add_supply(session, form.kind.data, form.name.data or "", _told(), **bought)
    except ValueError as error:
        form.name.errors = [str(error)]
        return _every(form, 422)
    flash(say("It is kept from now on. Count it once, and the log does the rest."))
    return redirect(url_for("supplies.one", supply_id=supply_id))


@bp.get("/supplies.csv")
def table() -> Response:
    """All of them as a table for other programs."""
    with reading(house().database) as session:
        found = supplies(session, now(), house().zone)
    return csv_file(map(csv_line, _rows(found)), "supplies")


@bp.get("/supplies/order")
def order() -> Response:
    """What is to be ordered, as a list to print."""
    with reading(house().database) as session:
        found, weeks = supplies(session, now(), house().zone), house_now(session).order_weeks
    today = local_day(now(), house().zone)
    asked = sorted((line for line in found if line.packs), key=lambda line: not supplies_words.is_pressing(line, today))
    return page(
        "supplies/order.html",
        found=asked,
        uncounted=[line for line in found if line.now is None],
        kept=len(found),
        weeks=weeks,
        **words(),
    )


@bp.get("/supplies/<int:supply_id>")
def one(supply_id: int) -> Response:
    """One of them."""
    return _one(supply_id)


@bp.post("/supplies/<int:supply_id>")
def deed(supply_id: int) -> AnyResponse:
    """Something is written of it: counted, came in, taken, put right, how it is bought, a lot, or that it is no longer kept."""
    name = request.form.get("deed", "")
    if name not in DEEDS:
        return _one(supply_id, 422)
    make, act, field = DEEDS[name]
    form = make()
    told = told_by(form) if form.validate() else None
    if told is None:
        return _one(supply_id, 422, name, form)
    try:
        with transaction(house().database) as session:
            said = act(session, supply_id, form, told)
    except ValueError as error:
        form[field].errors = [str(error)]
        return _one(supply_id, 422, name, form)
    flash(said)
    return redirect(url_for("supplies.every") if name == "close" else url_for("supplies.one", supply_id=supply_id))


def words() -> dict[str, Any]:
    """What the templates of the supplies say things with."""
    today = local_day(now(), house().zone)
    return {"with_unit": with_unit, "whole": lambda many, unit: with_unit(Fraction(many), unit), "amount_said": amount_said,
            "says": supplies_words, "today": today}  # fmt: skip


def _every(form: AddForm, status: int = 200) -> Response:
    _fill(form)
    own_ids(form, "new")
    with reading(house().database) as session:
        found = supplies(session, now(), house().zone)
    return page(
        "supplies/every.html",
        status,
        found=found,
        form=form,
        begun=status != 200,
        may_add=_may("add"),
        **words(),
    )


def _one(supply_id: int, status: int = 200, opened: str = "", form: FlaskForm | None = None) -> Response:
    with reading(house().database) as session:
        found: SupplyPage | None = supply_page(session, supply_id, now(), house().zone)
        rules = house_now(session)
    if found is None:
        abort(404)
    line = found.line
    forms: dict[str, Any] = {name: make(formdata=None) for name, (make, _, _) in DEEDS.items() if name != "change"}
    forms["change"] = BoughtForm(formdata=None, name=line.name, pack=line.pack, order_below=line.order_below,
                                 lead_weeks=line.lead_weeks, supplier=line.supplier)  # fmt: skip
    if form is not None:
        forms[opened] = form
    for name, each in forms.items():
        own_ids(each, name)
    may = _may("deed") and line.closed_at is None
    return page("supplies/one.html", status, found=found, line=line, forms=forms, opened=opened, may=may, rules=rules,
                has_lots=line.kind == ADHESIVE, **words())  # fmt: skip


def _fill(form: AddForm) -> None:
    with reading(house().database) as session:
        known = [(str(each.adhesive_id), each.name) for each in adhesives(session)]
    choose(form.adhesive, say("it is no adhesive"), known)


def _rows(found: tuple[SupplyLine, ...]) -> Iterator[tuple[str, ...]]:
    yield ("name", "what", "unit", "on hand", "counted", "counted at", "came since", "used since", "taken since", "order below",
           "lasts until", "order by", "packs to order", "pack", "from whom")  # fmt: skip
    for line in found:
        by = line.now
        figures = [_plain(each) for each in (by.on_hand, by.counted.amount)] if by else ["", ""]
        since = [_plain(each) for each in (by.came, by.used, by.taken)] if by else ["", "", ""]
        days = [day.isoformat() if day else "" for day in (line.outlook.lasts_until, line.outlook.order_by)]
        yield (line.name, line.kind, line.unit, *figures, by.counted.at.isoformat() if by else "", *since, str(line.order_below),
               *days, str(line.packs), str(line.pack), line.supplier)  # fmt: skip


def _plain(amount: Fraction) -> str:
    return f"{float(amount):.3f}".rstrip("0").rstrip(".")


def _told() -> Told:
    return Told(now(), visitor().worker_id)


def _may(what: str) -> bool:
    return bool(visitor().roles & PERMISSIONS[f"supplies.{what}"])
