"""Backups on the page of the room: made now, and the second place to which each is copied."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.backups import PLACE_WORDS
from app.domain.language import say
from app.services.backup import Backup, back_up, keep_backup
from app.services.backup_places import name_place
from app.web.forms import PlaceForm
from app.web.render import house, now
from app.web.room import room_page
from app.web.security import visitor

FOLDER = "backups"
bp = Blueprint("backups", __name__)


@bp.post("/backup")
def make() -> AnyResponse:
    """Back the room up now."""
    moment = now()
    try:
        with reading(house().database) as session:
            made = back_up(session, house().config.data / FOLDER, moment, house().zone)
    except ValueError as error:
        flash(say("Nothing was backed up: {why}", why=error))
        return redirect(url_for("room.show"))
    with transaction(house().database) as session:
        keep_backup(session, made, moment, by=visitor().worker_id)
    flash(say("Backed up: {said}, {found}. {second}", said=made.said, found=made.found, second=_second(made)))
    return redirect(url_for("room.show"))


@bp.post("/backup/second-place")
def second_place() -> AnyResponse:
    """Name the folder on another disk to which every backup is copied, or none any more."""
    form = PlaceForm()
    if not form.validate():
        return room_page({"place": form}, 422, opened="backup")
    try:
        with transaction(house().database) as session:
            state = name_place(session, form.folder.data or "", house().config.data, now(), by=visitor().worker_id)
    except ValueError as error:
        form.folder.errors = [str(error)]
        return room_page({"place": form}, 422, opened="backup")
    words = PLACE_WORDS[state]
    flash(say("The backups {words}.", words=words) if words else say("Every backup is copied there from now on."))
    return redirect(url_for("room.show"))


def _second(made: Backup) -> str:
    words = PLACE_WORDS[made.second]
    if not words:
        return say("A copy lies in the second place, read there again.")
    return say("The backups {words}. {why}", words=words, why=made.why).strip()
