"""The room itself, as the manager sets it up: what it is furnished with, and by which rules it works."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.queries.cabinets import cabinets
from app.queries.furniture import RuleLine, bundles, consignments, house_rules, number_patterns
from app.queries.health import health
from app.queries.people import changes
from app.queries.press import press_room
from app.queries.room import adhesives
from app.web.render import house, now, page
from app.web.room_forms import FORMS
from app.web.security import visitor

bp = Blueprint("room", __name__)


@bp.get("/room")
def show() -> Response:
    """What is in the room, its rules, and what was changed."""
    return _room({})


@bp.post("/room")
def add() -> AnyResponse:
    """Add something to the room."""
    what = request.form.get("what", "")
    if what not in FORMS:
        abort(400)
    form = FORMS[what]()
    if not form.validate():
        return _room({what: form}, 422, opened=what)
    try:
        with transaction(house().database) as session:
            form.write(session, now(), visitor().worker_id)
    except ValueError as error:
        form.name.errors = [str(error)]
        return _room({what: form}, 422, opened=what)
    flash(f"Added: {what} {form.name.data}.")
    return redirect(url_for("room.show", _anchor=what))


def _room(sent: dict[str, Any], status: int = 200, opened: str = "") -> Response:
    with reading(house().database) as session:
        furniture = {
            "cabinets": cabinets(session), "stacks": press_room(session, now(), house().zone), "bundles": bundles(session),
            "consignments": consignments(session), "patterns": number_patterns(session), "adhesives": adhesives(session),
            "rules": _grouped(house_rules(session)), "changes": changes(session, limit=10),
            "last_backup": _moment(health(session).last_backup),
        }  # fmt: skip
    forms: dict[str, Any] = {what: sent.get(what) or form(formdata=None) for what, form in FORMS.items()}
    for what, form in forms.items():
        _own_ids(form, what)
    return page("room/show.html", status, forms=forms, opened=opened, **furniture)


def _grouped(rules: Sequence[RuleLine]) -> list[tuple[str, list[RuleLine]]]:
    """The rules under the headings of the page, each under the first that fits its name."""
    groups: dict[str, list[RuleLine]] = {words: [] for words, _ in GROUPS}
    for each in rules:
        groups[next(words for words, starts in GROUPS if each.name.startswith(starts))].append(each)
    return list(groups.items())


def _moment(kept: str | None) -> datetime | None:
    return datetime.fromisoformat(kept) if kept else None


def _own_ids(form: Any, what: str) -> None:
    for each in form:
        each.id = each.label.field_id = f"{what}-{each.short_name}"


GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Under weight", ("press_", "gap_", "stack_")),
    ("Drying", ("dry_", "papers_")),
    ("Freezer", ("treat_",)),
    ("How long it may wait", ("limit_", "left_", "wanted_", "hold_", "out_")),
    ("Open days", ("open_",)),
    ("Looking ahead", ("forecast_", "usual_")),
    ("How the work is done", ("",)),
)
