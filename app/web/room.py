"""The room itself, as the manager sets it up: what it is furnished with, and by which rules it works."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.language import mark, say
from app.queries.backups import backups_kept
from app.queries.cabinets import cabinets
from app.queries.furniture import RuleLine, bundles, consignments, house_rules, number_patterns
from app.queries.people import changes, station_list
from app.queries.press import press_room
from app.queries.room import adhesives
from app.services.registering import mint_by
from app.web.fields import own_ids
from app.web.forms import PlaceForm
from app.web.render import house, now, page
from app.web.room_forms import FORMS
from app.web.security import visitor

bp = Blueprint("room", __name__)

ADDED = {
    "cabinet": mark("cabinet"), "stack": mark("stack"), "bundle": mark("bundle"), "consignment": mark("consignment"),
    "pattern": mark("pattern"), "adhesive": mark("adhesive"),
}  # fmt: skip


@bp.get("/room")
def show() -> Response:
    """What is in the room, its rules, and what was changed."""
    return room_page({})


@bp.post("/room")
def add() -> AnyResponse:
    """Add something to the room."""
    what = request.form.get("what", "")
    if what not in FORMS:
        abort(400)
    form = FORMS[what]()
    if not form.validate():
        return room_page({what: form}, 422, opened=what)
    try:
        with transaction(house().database) as session:
            form.write(session, now(), visitor().worker_id)
    except ValueError as error:
        form.name.errors = [str(error)]
        return room_page({what: form}, 422, opened=what)
    flash(say("Added: {what} {name}.", what=ADDED.get(what, what), name=form.name.data))
    return redirect(url_for("room.show", _anchor=what))


@bp.post("/room/minting")
def mint() -> AnyResponse:
    """Let the room mint its new numbers by one of its patterns."""
    try:
        with transaction(house().database) as session:
            prefix = mint_by(session, request.form.get("pattern", 0, type=int), now(), visitor().worker_id)
        flash(say("The room mints new numbers by {prefix} from now on.", prefix=prefix))
    except ValueError as error:
        flash(str(error))
    return redirect(url_for("room.show", _anchor="pattern"))


def room_page(sent: dict[str, Any], status: int = 200, opened: str = "") -> Response:
    """The page of the room; with a form that was sent as it came back, and what of the page is open then."""
    with reading(house().database) as session:
        furniture: dict[str, Any] = {
            "cabinets": cabinets(session), "stacks": press_room(session, now(), house().zone), "bundles": bundles(session),
            "consignments": consignments(session), "patterns": number_patterns(session), "adhesives": adhesives(session),
            "rules": _grouped(house_rules(session)), "changes": changes(session, limit=10),
            "backups": backups_kept(session), "has_stations": any(each.closed_at is None for each in station_list(session)),
        }  # fmt: skip
    # The first pattern is the one by which the room mints: a room that mints by none can take in no run.
    fresh = {"pattern": {"mints": not any(each.mints for each in furniture["patterns"])}}
    forms: dict[str, Any] = {
        what: sent.get(what) or form(formdata=None, **fresh.get(what, {})) for what, form in FORMS.items()
    }
    for what, form in forms.items():
        own_ids(form, what)
    place = sent.get("place") or PlaceForm(formdata=None, folder=furniture["backups"].place)
    return page("room/show.html", status, forms=forms, opened=opened, place=place, **furniture)


def _grouped(rules: Sequence[RuleLine]) -> list[tuple[str, list[RuleLine]]]:
    """The rules under the headings of the page, each under the first that fits its name."""
    groups: dict[str, list[RuleLine]] = {words: [] for words, _ in GROUPS}
    for each in rules:
        groups[next(words for words, starts in GROUPS if each.name.startswith(starts))].append(each)
    return list(groups.items())


GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (mark("Under weight"), ("press_", "gap_", "stack_")),
    (mark("Drying"), ("dry_", "papers_")),
    (mark("Freezer"), ("treat_",)),
    (mark("How long it may wait"), ("limit_", "left_", "wanted_", "hold_", "out_")),
    (mark("Open days"), ("open_",)),
    (mark("Looking ahead"), ("forecast_", "usual_")),
    (mark("How the work is done"), ("",)),
)
