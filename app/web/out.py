"""What goes out of the room: sheets as a table or an archive, the log, and what is handed over to the collection's catalogue."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from flask import Blueprint, Response, abort, flash, redirect, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.calendar import local_day
from app.domain.language import say, say_n
from app.queries.out_hand_overs import (
    HandOverLine,
    Ready,
    hand_over,
    hand_over_archive,
    hand_over_table,
    hand_overs,
    ready,
)
from app.queries.out_log import LogAsked, log_out
from app.queries.out_sheets import Asked, archive_out, cabinet_names, outgoing, table_out
from app.queries.sieve import Sieve
from app.services.hand_over import MOST, call_back_hand_over, make_hand_over, receive_hand_over
from app.web.fields import own_ids
from app.web.out_files import CSV, XES, Files, text_file, zip_file
from app.web.out_forms import CallBackForm, LogForm, MakeForm, ReceiveForm, SheetsForm, log_form, sheets_form
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("out", __name__)
TITLE = "Sheets of a preparation room"
LOG = "The log of a preparation room"


@bp.get("/out")
def show() -> Response:
    """What may be handed on, and the hand-overs that were made."""
    return _show()


@bp.get("/out/sheets.csv")
def sheets() -> Response:
    """Sheets as a table."""
    form, moment, zone = _sheets_form(), now(), house().zone

    def make_file(session: Any) -> Iterator[str]:
        return table_out(outgoing(session, _asked(form), moment, zone), bom=not form.no_mark.data)

    return _file(form, lambda: text_file(make_file, CSV, f"sheets-{_day()}.csv"))


@bp.get("/out/archive.zip")
def archive() -> Response:
    """Sheets as a Darwin Core archive."""
    form, moment, zone = _sheets_form(), now(), house().zone

    def make_files(session: Any) -> Files:
        return archive_out(outgoing(session, _asked(form), moment, zone), TITLE, moment)

    return _file(form, lambda: zip_file(make_files, f"archive-{_day()}.zip"))


@bp.get("/out/log.xes")
def log() -> Response:
    """The log as an event log."""
    form, zone = log_form(), house().zone

    def make_file(session: Any) -> Iterator[str]:
        return log_out(session, _log_asked(form), LOG, zone)

    return _file(form, lambda: text_file(make_file, XES, f"log-{_day()}.xes"))


@bp.post("/out/hand-overs")
def make() -> AnyResponse:
    """Make the next hand-over."""
    form = MakeForm()

    def act(session: Any, by: int | None) -> str:
        exact = bool(form.exact_places.data)
        number = make_hand_over(session, form.to_whom.data or "", now(), house().zone, by, exact_places=exact)
        return say("Hand-over {number} is made. Save it, and give it to whoever takes it.", number=number)

    return _done(form, form.to_whom, act, make_form=form)


@bp.post("/out/hand-overs/<int:hand_over_id>/received")
def receive(hand_over_id: int) -> AnyResponse:
    """Say that a hand-over was received."""
    form = ReceiveForm()

    def act(session: Any, by: int | None) -> str:
        receive_hand_over(session, hand_over_id, form.who.data or "", now(), by)
        return say("Written: hand-over {number} was received.", number=hand_over_id)

    return _done(form, form.who, act, refused=(hand_over_id, "received", form))


@bp.post("/out/hand-overs/<int:hand_over_id>/called-back")
def call_back(hand_over_id: int) -> AnyResponse:
    """Call the last hand-over back."""
    form = CallBackForm()

    def act(session: Any, by: int | None) -> str:
        call_back_hand_over(session, hand_over_id, form.why.data or "", now(), by)
        return say("Hand-over {number} is called back. What it told lies ready again.", number=hand_over_id)

    return _done(form, form.why, act, refused=(hand_over_id, "called-back", form))


@bp.get("/out/hand-overs/<int:hand_over_id>.csv")
def table_of(hand_over_id: int) -> Response:
    """A hand-over as a table, the same whenever it is asked for."""
    line = _line(hand_over_id)
    return text_file(lambda session: hand_over_table(session, line), CSV, f"hand-over-{line.number}.csv")


@bp.get("/out/hand-overs/<int:hand_over_id>.zip")
def archive_of(hand_over_id: int) -> Response:
    """A hand-over as an archive, the same whenever it is asked for."""
    line, zone = _line(hand_over_id), house().zone
    return zip_file(
        lambda session: hand_over_archive(session, line, TITLE, zone), f"hand-over-{line.number}.zip", packed=False
    )


def _line(number: int) -> HandOverLine:
    with reading(house().database) as session:
        return hand_over(session, number) or abort(404)


def _sheets_form() -> SheetsForm:
    with reading(house().database) as session:
        return sheets_form(cabinet_names(session))


def _asked(form: SheetsForm) -> Asked:
    sieve = Sieve(stage=form.stage.data or "", cabinet=form.cabinet.data or "")
    code = (form.consignment.data or "").strip()
    return Asked(code, sieve, withdrawn=form.withdrawn.data, exact_places=form.exact_places.data)


def _log_asked(form: LogForm) -> LogAsked:
    code = (form.consignment.data or "").strip()
    return LogAsked(form.since.data, form.until.data, code, workers=form.workers.data, everything=form.everything.data)


def _file(form: FlaskForm, make_file: Callable[[], Response]) -> Response:
    """The file that is asked for, or the page again with what is wrong."""
    name = "log" if isinstance(form, LogForm) else "sheets"
    if not form.validate():
        return _show(422, **{f"{name}_form": form})
    try:
        return make_file()
    except ValueError as error:
        form.consignment.errors = [str(error)]
        return _show(422, **{f"{name}_form": form})


def _done(form: FlaskForm, field: Any, act: Callable[[Any, int | None], str], **again: Any) -> AnyResponse:
    if not form.validate():
        return _show(422, **again)
    try:
        with transaction(house().database) as session:
            words = act(session, visitor().worker_id)
    except ValueError as error:
        field.errors = [str(error)]
        return _show(422, **again)
    flash(words)
    return redirect(url_for("out.show"))


def _show(status: int = 200, make_form: MakeForm | None = None, refused: tuple[int, str, FlaskForm] | None = None,
          **forms: Any) -> Response:  # fmt: skip
    with reading(house().database) as session:
        lies_ready, lines, cabinets = ready(session, house().zone), hand_overs(session), cabinet_names(session)
    shown: dict[str, Any] = {
        "sheets_form": sheets_form(cabinets, asked=False),
        "log_form": log_form(asked=False),
        **forms,
    }
    shown["make_form"] = make_form or MakeForm(formdata=None)
    for name, form in shown.items():
        own_ids(form, name.removesuffix("_form"))
    ends = {line.number: _ends(line, refused) for line in lines if line.is_open}
    return page("out/show.html", status, ready=_lies_ready(lies_ready), lines=lines, ends=ends, most=MOST,
                opened=(refused[0], refused[1]) if refused else None, **shown)  # fmt: skip


def _lies_ready(found: Ready) -> str:
    """What lies ready for the next hand-over, in words; empty for nothing."""
    filed = say_n("{n:,} sheet filed", "{n:,} sheets filed", found.filed) if found.filed else ""
    otherwise = say_n(
        "{n:,} sheet told otherwise than before", "{n:,} sheets told otherwise than before", found.corrections
    )
    what = filed or (otherwise if found.corrections else "")
    if filed and found.corrections:
        what = say("{filed}, {otherwise}", filed=filed, otherwise=otherwise)
    return say("{what}, and more that was not counted", what=what) if found.more else what


def _ends(line: HandOverLine, refused: tuple[int, str, FlaskForm] | None) -> dict[str, FlaskForm]:
    """How a hand-over may end: received, or called back as long as it is the last."""
    forms: dict[str, FlaskForm] = {"received": ReceiveForm(formdata=None)}
    if line.is_last:
        forms["called-back"] = CallBackForm(formdata=None)
    if refused is not None and refused[0] == line.number:
        forms[refused[1]] = refused[2]
    for deed, form in forms.items():
        own_ids(form, f"{deed}-{line.number}")
    return forms


def _day() -> str:
    return local_day(now(), house().zone).isoformat()
