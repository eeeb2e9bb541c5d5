"""The filing round on screen, on paper and as a table, live while it is walked; and the room's own order of families."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from flask import Blueprint, Response, flash, make_response, redirect, render_template, request, url_for
from flask_wtf import FlaskForm
from markupsafe import Markup
from werkzeug.wrappers import Response as AnyResponse
from wtforms import StringField, TextAreaField
from wtforms.validators import DataRequired, Length

from app.db.engine import reading, transaction
from app.domain.cells import BOM, csv_line
from app.domain.hazards import DEFERS
from app.domain.language import mark, say
from app.queries.families import families_in_order
from app.queries.filing import filing_round, round_rows
from app.services.filing import set_families
from app.web.permissions import PERMISSIONS
from app.web.press_kept import KeptParts, Part
from app.web.render import house, kept_here, now, page
from app.web.security import visitor

bp = Blueprint("filing", __name__)
ROUND = mark("the round")


class FamiliesForm(FlaskForm):  # type: ignore[misc]
    """The order of families, one a line, and why it is changed."""

    families = TextAreaField(
        mark("Families, one a line"), [Length(max=100_000)], render_kw={"rows": 16, "spellcheck": "false"}
    )
    reason = StringField(mark("Why?"), [DataRequired(mark("Say why; it stays in the history.")), Length(max=500)])


@bp.get("/filing")
def show() -> Response:
    """The round; with `shown`, only what has changed since that mark."""
    if "shown" in request.args:
        part = _kept().drawn_now(ROUND, _drawn)
        return make_response("", 204) if part.mark == request.args["shown"] else make_response(_live(part))
    part = _kept().drawn_anew(ROUND, _drawn)
    may_order = bool(visitor().roles & PERMISSIONS["filing.families"])
    return page("filing/round.html", drawn=_live(part), now=now(), may_order=may_order)


@bp.get("/filing.csv")
def table() -> Response:
    """What is still to be filed, as a table, in the order of the round."""
    with reading(house().database) as session:
        rows = list(round_rows(session, now(), house().zone))
    response = Response(_lines(rows), mimetype="text/csv")
    words = re.sub("[^a-z0-9]+", "-", f"filing round {now().astimezone(house().zone):%Y %m %d}")
    response.headers["Content-Disposition"] = f'attachment; filename="{words}.csv"'
    return response


@bp.route("/filing/families", methods=["GET", "POST"])
def families() -> AnyResponse:
    """The room's own order of families, and its history."""
    form = FamiliesForm()
    if request.method == "GET":
        with reading(house().database) as session:
            form.families.data = "\n".join(families_in_order(session).families)
        return _families(form)
    if not form.validate():
        return _families(form, 422)
    try:
        with transaction(house().database) as session:
            text, why = form.families.data or "", str(form.reason.data)
            count = set_families(session, text, now(), visitor().worker_id, why)
    except ValueError as error:
        form.families.errors = [str(error)]
        return _families(form, 422)
    flash(say("{count} families stand in this order.", count=count) if count else say("Families go by the alphabet."))
    return redirect(url_for("filing.families"))


def _families(form: FamiliesForm, status: int = 200) -> Response:
    with reading(house().database) as session:
        found = families_in_order(session)
    return page("filing/families.html", status, form=form, found=found)


def _kept() -> KeptParts:
    kept: KeptParts = kept_here().setdefault("blotter-filing", KeptParts(house()))
    return kept


def _drawn(session: Any) -> str:
    found = filing_round(session, now(), house().zone)
    has_cautions = any(line.cautions for group in found.groups for line in group.lines)
    return render_template("filing/_round.html", found=found, defers=DEFERS if has_cautions else "")


def _live(part: Part) -> Markup:
    asks = url_for("filing.show", shown=part.mark)
    return Markup(render_template("filing/_live.html", body=Markup(part.body), asks=asks))


def _lines(rows: list[tuple[str, ...]]) -> Iterator[str]:
    yield BOM
    yield from map(csv_line, rows)
