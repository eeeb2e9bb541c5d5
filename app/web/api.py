"""The interface for scanners and scripts: it does what the pages do, through the same services."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from flask import Blueprint, Response, abort, request
from werkzeug.exceptions import UnsupportedMediaType

from app.db.engine import reading, transaction
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.queries.board import board_json
from app.queries.health import has_entry, health, signed_in_ids
from app.queries.listing import list_json, list_sheets
from app.queries.sheets import sheet_json
from app.services.corrections import undo
from app.services.desk import Desk
from app.services.holding import lift_many, put_many
from app.services.listed import take_in_list
from app.services.people import Holder
from app.services.scripts import Sent, answer_once, stack_card
from app.web.api_door import at_the_door
from app.web.api_door import holder as holder_or_none
from app.web.api_fields import correction_sent, holding_sent, scan_sent, sheets_sent, weights_sent
from app.web.api_reading import BadBody, body_of, one_of, text, whole
from app.web.board import kept_board
from app.web.problems import answer_response, json_response, problem, refused_response
from app.web.render import house, now, teller
from app.web.scans import occasion
from app.web.week import read_week, week_json

bp = Blueprint("api", __name__, url_prefix="/api")
bp.before_request(at_the_door)
SMALL_BODY = 256 * 1024
LARGE_BODY = 8 * 1024 * 1024
MOST_LISTED = 200


@bp.errorhandler(BadBody)
def malformed(error: BadBody) -> Response:
    """What cannot be read is named, and nothing is written."""
    return problem(400, str(error))


@bp.errorhandler(Refused)
def refused(error: Refused) -> Response:
    """A refusal that is kept nowhere."""
    return refused_response(error.refusals, teller())


@bp.errorhandler(UnsupportedMediaType)
def not_json(_error: UnsupportedMediaType) -> Response:
    """Only JSON is read."""
    return problem(415, say("Send the body as JSON, with Content-Type: application/json."))


@bp.post("/scans")
def scans() -> Response:
    """One scan."""
    return _answer(scan_sent(body_of(SMALL_BODY), _holder()))


@bp.post("/stacks/<code>/weights")
def weights(code: str) -> Response:
    """The weights of a stack went on, or off."""
    sent, on = weights_sent(body_of(SMALL_BODY), _holder(), code)
    with reading(house().database) as session:
        card = stack_card(session, code, on)
    if card is None:
        abort(404)
    return _answer(replace(sent, request=replace(sent.request, code=card)))


@bp.post("/sheets")
def add_sheets() -> Response:
    """One sheet or a list is taken in."""
    sent, sheets, consignment = sheets_sent(body_of(LARGE_BODY), _holder(), secrets.token_urlsafe(16))
    return _answer(sent, lambda desk: take_in_list(desk, sheets, consignment))


@bp.post("/holds")
def holds() -> Response:
    """One hold is put on many sheets, or lifted from them."""
    sent, kind, numbers, lifts = holding_sent(body_of(SMALL_BODY), _holder())
    return _answer(sent, lambda desk: (lift_many if lifts else put_many)(desk, kind, numbers))


@bp.post("/entries/<entry>/correction")
def correction(entry: str) -> Response:
    """The last entry of a sheet or a stack is taken back."""
    entry_id = int(entry) if entry.isascii() and entry.isdigit() and len(entry) <= 18 else 0
    sent = correction_sent(body_of(SMALL_BODY), _holder(), entry_id)
    with reading(house().database) as session:
        if not has_entry(session, entry_id):
            abort(404)
    return _answer(sent, lambda desk: _undo(desk, entry_id))


@bp.get("/sheets/<number>")
def sheet(number: str) -> Response:
    """One sheet and its log."""
    who = _holder()
    with reading(house().database) as session:
        here = signed_in_ids(session, who.station_id)
        found = sheet_json(session, number, now(), house().zone, by_names=who.scope == "manage", worker_ids=here)
    if found is None:
        abort(404)
    return json_response(found)


@bp.get("/sheets")
def sheets() -> Response:
    """One page of a list of sheets."""
    asked = _asked()
    with reading(house().database) as session:
        try:
            found = list_sheets(session, now(), house().zone, **asked)
        except ValueError as error:
            raise BadBody(str(error)) from error
        body = list_json(found)
    return json_response({**body, "next": _place_word(found.next_after)})


@bp.get("/board", endpoint="board")
def whole_board() -> Response:
    """The board."""
    return json_response(board_json(kept_board().board_for_script()))


@bp.get("/weeks/<label>", endpoint="week")
def one_week(label: str) -> Response:
    """The report of one week; workers only for a manager's key."""
    found = read_week(label, named=_holder().scope == "manage")
    if found is None:
        return problem(404, say("There is no week {label} here. Weeks are written like 2026-W48.", label=label))
    return json_response(week_json(found))


@bp.get("/health", endpoint="health")
def how_it_is() -> Response:
    """Whether the room's database answers; more for whoever brings a key."""
    try:
        with reading(house().database) as session:
            found = health(session)
    except Exception:  # whatever is wrong with the database, it is not well
        return problem(
            503, say("The room's database does not answer. Tell whoever looks after the computer."), ok=False
        )
    if holder_or_none() is None:
        return json_response({"ok": True})
    moment = now().astimezone(house().zone).isoformat(timespec="seconds")
    clock = {"now": moment, "doubtful": occasion().clock_doubtful}
    return json_response({"ok": True, "revision": found.revision, "database": found.database,
                          "last_backup": found.last_backup, "clock": clock})  # fmt: skip


def _answer(sent: Sent, act: Callable[[Desk], Answer] | None = None) -> Response:
    with transaction(house().database) as session:
        answer = answer_once(session, sent, _holder(), occasion(), act)
    return answer_response(answer)


def _holder() -> Holder:
    found = holder_or_none()
    # The door has let nobody in here without a key.
    assert found is not None
    return found


def _undo(desk: Desk, entry_id: int) -> Answer:
    if not desk.request.reason.strip():
        raise Refused(
            Refusal("reason-needed", say("A reason is needed; it stays in the log."), say("Say why."), "which-one")
        )
    return undo(desk, entry_id, desk.request.reason)


def _asked() -> dict[str, Any]:
    """What the address asks for; unknown and repeated names are refused as in a body."""
    asked: dict[str, Any] = {}
    for name, values in request.args.lists():
        if name not in ASKED:
            raise BadBody(
                say("{name} is not asked for here. There are: {fields}.", name=name[:60], fields=", ".join(ASKED))
            )
        try:
            asked[name] = ASKED[name](values[0]) if len(values) == 1 else _twice()
        except ValueError as error:
            raise BadBody(f"{name} {error}.") from error
    return asked


def _twice() -> Any:
    raise ValueError(say("is there twice"))


def _place_word(after: str) -> str | None:
    """A place in a list as a word that an address can hold as it is."""
    return after.encode().hex() if after else None


def _place(word: str) -> str:
    try:
        return bytes.fromhex(word).decode()
    except ValueError as error:
        raise ValueError(say("is no place in a list: begin at its first page")) from error


def _limit(value: str) -> int:
    is_number = value.isascii() and value.isdigit() and len(value) < 6
    return int(whole(1, MOST_LISTED)(int(value) if is_number else None))


ASKED: dict[str, Callable[[str], Any]] = {
    "stage": text(40), "cabinet": text(80), "stalled": lambda value: one_of("true", "false")(value) == "true",
    "q": text(200), "after": lambda value: _place(text(400)(value)), "limit": _limit,
}  # fmt: skip
