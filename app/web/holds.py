"""The holds of the room: by kind and one by one, on screen, on paper and as a table; put and lifted for many at once."""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterator

from flask import Blueprint, Response, flash, redirect, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse
from wtforms import RadioField, SelectField, StringField, TextAreaField
from wtforms.validators import DataRequired, InputRequired, Length

from app.db.engine import reading
from app.domain.cells import BOM, csv_line
from app.domain.holds import HOLDS, OUT
from app.domain.language import mark, say
from app.domain.stages import STAGES
from app.queries.holds import HoldsAsked, held, hold_kinds, hold_rows
from app.services.holding import lift_many, put_many
from app.web.asking import asked, done_once, numbers_in
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("holds", __name__)
NUMBERS = [DataRequired(mark("Name the sheets.")), Length(max=20_000)]
KINDS = [(kind, row.words) for kind, row in HOLDS.items() if kind != OUT]
DEEDS = {"put": mark("Put the hold on them"), "lift": mark("Lift the hold of them")}


class ManyForm(FlaskForm):  # type: ignore[misc]
    """One hold for many sheets: which, put or lifted, on which, and why."""

    numbers = TextAreaField(
        mark("Sheets, one a line: typed, or scanned into this field"),
        NUMBERS,
        render_kw={"rows": 8, "spellcheck": "false"},
    )
    deed = RadioField(mark("What is done"), [InputRequired()], choices=list(DEEDS.items()), default="put")
    hold = SelectField(mark("Hold"), [InputRequired()], choices=KINDS)
    reason = StringField(mark("Why?"), [DataRequired(mark("Say why; it stays in the log of each.")), Length(max=500)])


@bp.get("/holds")
def show() -> AnyResponse:
    """What is held."""
    asked, wrong, found = _asked(), "", None
    with reading(house().database) as session:
        kinds = hold_kinds(session, now(), house().zone)
        try:
            found = held(session, asked, now(), house().zone, by_names=visitor().sees_names())
        except ValueError as error:
            wrong = str(error)
    said = {
        "kind": asked.kind,
        "late": "1" if asked.late else "",
        "stage": asked.stage,
        "consignment": asked.consignment,
    }
    stages = [(stage.value, row.words) for stage, row in STAGES.items()]
    may_many = bool(visitor().roles & PERMISSIONS["holds.many"])
    return page("holds/show.html", 422 if wrong else 200, kinds=kinds, found=found, asked=asked, wrong=wrong, now=now(),
                onward={name: value for name, value in said.items() if value}, may_many=may_many, stages=stages)  # fmt: skip


@bp.get("/holds.csv")
def table() -> AnyResponse:
    """The holds asked for as a table."""
    asked = _asked()
    with reading(house().database) as session:
        try:
            rows = list(hold_rows(session, asked, now(), house().zone))
        except ValueError as error:
            return page(
                "doors/error.html", 422, code=say("No such list"), what=str(error), do=say("Go back to the holds.")
            )
    words = re.sub("[^a-z0-9]+", "-", f"holds {asked.kind} {now().astimezone(house().zone):%Y %m %d}")
    response = Response(_lines(rows), mimetype="text/csv")
    response.headers["Content-Disposition"] = f'attachment; filename="{words}.csv"'
    return response


@bp.get("/holds/many")
def many() -> AnyResponse:
    """The form for many sheets; those that were ticked in a list stand in it."""
    ticked = [number.strip()[:40] for number in request.args.getlist("number")[:500]]
    kind, deed = request.args.get("hold", ""), request.args.get("deed", "")
    known = {name: value for name, value, among in (("hold", kind, HOLDS), ("deed", deed, DEEDS)) if value in among}
    return _many(ManyForm(formdata=None, numbers="\n".join(ticked), **known))


@bp.post("/holds/many", endpoint="write")
def write() -> AnyResponse:
    """Put or lift them."""
    form = ManyForm()
    if not form.validate():
        return _many(form, 422)
    kind, numbers = str(form.hold.data), numbers_in(form.numbers.data)
    act = put_many if form.deed.data == "put" else lift_many
    what = f"{form.deed.data} {kind} {' '.join(numbers)}"
    answer = done_once(asked("", form.reason.data), lambda desk: act(desk, kind, numbers), what)
    if answer.kind != "done":
        form.numbers.errors = [*answer.lines, *filter(None, [answer.next])]
        return _many(form, 422)
    flash(" ".join((answer.word, *answer.lines)))
    return redirect(url_for("holds.show", kind=kind))


def _many(form: ManyForm, status: int = 200) -> AnyResponse:
    sent = request.form.get("scan_id", "") if status != 200 else ""
    return page("holds/many.html", status, form=form, fresh=sent or secrets.token_urlsafe(16))


def _asked() -> HoldsAsked:
    texts = {name: request.args.get(name, "").strip()[:80] for name in ("kind", "stage", "consignment")}
    return HoldsAsked(late=request.args.get("late") == "1", **texts)


def _lines(rows: list[tuple[str, ...]]) -> Iterator[str]:
    yield BOM
    yield from map(csv_line, rows)
