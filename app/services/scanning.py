"""One scan from its arrival to its stored answer: the same id again gets the same answer and writes nothing."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from sqlalchemy import bindparam, insert, select
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Scan, table_of
from app.db.prepared import ask_ahead, prepared
from app.domain.answer import Answer, answer_from
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.numbers import COMMANDS, Kind
from app.domain.reading import Exact, Misread, Partial, Unreadable, read
from app.domain.stages import Step
from app.services import saying
from app.services.ahead import desk_ahead
from app.services.apart import divide, tell_apart
from app.services.bundles import bundle_by_code, leave_out, scan_bundle
from app.services.cards import scan_badge, scan_command, scan_station
from app.services.coming_again import come_again
from app.services.counting import count_scan, in_check
from app.services.desk import Desk, Occasion, ScanRequest, behind, keep_at_station
from app.services.double_read import double_read
from app.services.facts import sheet_by_number
from app.services.freezing import new_load, scan_freezer, scan_load
from app.services.kept_times import is_unread, refuse_too_late
from app.services.labels import label_waits
from app.services.load_bundles import bundle_into_load
from app.services.loads import being_filled, fill
from app.services.misreads import ask_misread, ask_partial, ask_second, chosen
from app.services.opening import open_desk
from app.services.pests import pest_waits
from app.services.places import place_by_code, place_by_name
from app.services.pots import scan_lot
from app.services.practice_slips import foreign_slip
from app.services.registering import another_sheet, take_in_new
from app.services.sheets import scan_sheet
from app.services.shelves import leave_on_shelf, scan_shelf
from app.services.sightings import keep_refusal, seen
from app.services.since_backup import lost_card, lost_sheet, taken_in_again
from app.services.specimens import part_waits
from app.services.stack_cards import scan_stack
from app.services.yes_or_no import take_offer

SCAN = table_of(Scan)
_BY_ID = prepared(select(SCAN.c.fingerprint, SCAN.c.answer).where(SCAN.c.scan_id == bindparam("scan")))
_KEEP_SCAN = prepared(insert(SCAN))


def scan(session: Session, request: ScanRequest, occasion: Occasion) -> Answer:
    """Answer one scan and write what follows from it; a refusal is an answer too, and is kept.

    The same id and content again give the stored answer. Refused: scan-id-reused for one id with another content.
    """
    return once(session, request, occasion, act_on_code)


def once(session: Session, request: ScanRequest, occasion: Occasion, act: Callable[[Desk], Answer], what: str = "",
         *, is_new: bool = False) -> Answer:  # fmt: skip
    """Do something once for its scan id, and `is_new` for one just looked for; `what` tells apart requests alike in all else."""
    if not is_new:
        ask_ahead(session, desk_ahead(session, request, request.station_id))
        if (kept := answered(session, request, what)) is not None:
            return kept
    desk, opened = open_desk(session, request, occasion)
    if opened is not None and request.manages:
        # A script of the manager that was refused was not at the station which it names, and that was not heard of by it.
        desk.station = None
    if what or not request.code:
        # Something else was done here in between: the same code again is no double read.
        desk.keep(last_code=None)
    answer = _try(desk, act, opened)
    if answer.kind != "done" and is_unread(desk):
        desk.keep(pending=None)
    keep_at_station(desk)
    told = answer.kept()
    session.execute(_KEEP_SCAN, {"scan_id": request.scan_id, "fingerprint": fingerprint(request, what), "answer": told,
                                 "station_id": desk.station_id, "received_at": desk.now})  # fmt: skip
    return answer_from(told)


def answered(session: Session, request: ScanRequest, what: str = "") -> Answer | None:
    """The answer that this scan was given before; None for a new one. Refused: scan-id-reused."""
    kept = session.execute(_BY_ID, {"scan": request.scan_id}).one_or_none()
    return _same_again(kept, fingerprint(request, what)) if kept is not None else None


def fingerprint(request: ScanRequest, what: str = "") -> str:
    """What tells one scan from another with the same id: everything that was asked, and by which door.

    Not when it happened: a station that got no answer sends the scan again, and tells its time only then.
    """
    asked = request.asked or {name: getattr(request, name) for name in _ASKED} | {"happened_at": None}
    text = json.dumps([what, asked], sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def act_on_code(desk: Desk) -> Answer:
    """Do what the code that was scanned asks for at this desk."""
    again = double_read(desk) if not in_check(desk) else None
    return again if again is not None else _act(desk)


def _act(desk: Desk) -> Answer:
    if desk.request.shelf or desk.request.cabinet:
        place = place_by_name(desk.session, desk.request.cabinet, desk.request.shelf)
        desk.keep(cabinet_id=place.cabinet_id, shelf_id=place.shelf_id)
    reading = read(desk.request.code, desk.patterns)
    if isinstance(reading, Exact):
        pest = pest_waits(desk, reading.kind, reading.text)
        return pest or count_scan(desk) or _exact(desk, reading)
    if (foreign := foreign_slip(desk)) is not None:
        raise Refused(foreign)
    return count_scan(desk) or _not_exact(desk, reading)


def _exact(desk: Desk, reading: Exact) -> Answer:
    try:
        return HANDLERS[reading.kind](desk, reading.text)
    except Refused as refused:
        if reading.kind is Kind.SHEET:
            raise
        raise lost_card(desk, reading, refused) from refused


def _same_again(kept: Any, print_: str) -> Answer:
    if kept.fingerprint != print_:
        refusal = Refusal(
            "scan-id-reused", say("This scan id was used for another scan."), say("Give every scan an id of its own.")
        )
        raise Refused(refusal)
    return answer_from(kept.answer)


def _try(desk: Desk, act: Callable[[Desk], Answer], opened: Refusal | None) -> Answer:
    try:
        answer = act(desk) if opened is None else saying.refused(desk, [opened])
    except Refused as refused:
        if desk.written:
            # Something was written before the refusal: nothing of it may stay.
            raise
        answer = saying.refused(desk, refused.refusals)
    if answer.refusals:
        keep_refusal(desk, answer)
    elif answer.sheet is not None and not desk.written:
        seen(desk, answer.sheet.number)
    return answer


def _not_exact(desk: Desk, reading: Misread | Partial | Unreadable) -> Answer:
    if isinstance(reading, Unreadable):
        words = say("This is not a number or a card that is used here.")
        raise Refused(Refusal("misread-number", words, say("Scan it again, or type the number off the slip.")))
    facts = desk.request.facts
    if isinstance(reading, Misread) and facts.get("read_as") and not facts.get("second"):
        return ask_second(desk, reading)
    if (row := chosen(desk, reading)) is not None:
        return _pick_up(desk, row)
    return ask_misread(desk, reading) if isinstance(reading, Misread) else ask_partial(desk, reading)


def _pick_up(desk: Desk, row: RowMapping) -> Answer:
    if (found := behind(desk, row["last_at"])) is not None:
        return saying.refused(desk, [found], row)
    left_out = leave_out(desk, row) or leave_on_shelf(desk, row) or part_waits(desk, row) or label_waits(desk, row)
    if left_out is not None:
        return left_out
    if desk.request.step in PARTING:
        return PARTING[desk.request.step](desk, row)
    if desk.request.step is Step.TAKE_OUT and desk.request.already_done:
        desk.request = replace(desk.request, step=Step.FOUND_OUT)
    _take_pending(desk)
    return scan_sheet(desk, row)


def _take_pending(desk: Desk) -> None:
    pending = desk.in_hand("pending") or {}
    if desk.request.step in (None, Step.FREEZE) and (load := being_filled(desk)) is not None:
        fill(desk, load)
        desk.request = replace(desk.request, step=Step.FREEZE)
    elif "bundle" not in pending:
        desk.keep(pending=None)
    if pending.get("next_step") and desk.request.step is None:
        desk.request = replace(desk.request, step=Step(pending["next_step"]))


def _sheet(desk: Desk, number: str) -> Answer:
    row = sheet_by_number(desk.session, number)
    if row is None:
        return taken_in_again(desk, number, _pick_up(desk, _unknown(desk, number)))
    return _pick_up(desk, row)


def _unknown(desk: Desk, number: str) -> RowMapping:
    takes_in = desk.request.step is Step.TAKE_IN or (desk.request.step is None and Step.TAKE_IN in desk.steps)
    if takes_in and desk.by:
        refuse_too_late(desk, Step.TAKE_IN)
        return take_in_new(desk, number)
    if takes_in:
        raise Refused(
            Refusal("not-signed-in", say("Nobody is signed in here."), say("Scan your badge first, then the sheet."))
        )
    words = say("No sheet here has this number.")
    otherwise = Refusal("unknown-number", words, say("Take it in first, at the intake station."))
    raise Refused(lost_sheet(desk, number) or otherwise)


def _place(desk: Desk, code: str) -> Answer:
    place = place_by_code(desk.session, code)
    return scan_freezer(desk, place) or scan_shelf(desk, place)


def _command(desk: Desk, code: str) -> Answer:
    if code == COMMANDS["new-load"]:
        return new_load(desk)
    if code != COMMANDS["yes"]:
        return scan_command(desk, code)
    otherwise = take_offer(desk)
    return otherwise if otherwise is not None else _act(desk)


_ASKED = ("code", "station_id", "worker_ids", "step", "stack", "cabinet", "shelf", "facts", "early", "already_done",
          "reason", "token_id")  # fmt: skip
PARTING: dict[Step | None, Callable[[Desk, RowMapping], Answer]] = {  # of two sheets at once, or of a closed one
    Step.ANOTHER_SHEET: another_sheet, Step.TELL_APART: tell_apart, Step.DIVIDE: divide, Step.COME_AGAIN: come_again,
}  # fmt: skip
HANDLERS: dict[Kind, Callable[[Desk, str], Answer]] = {
    Kind.SHEET: _sheet,
    Kind.STACK_ON: scan_stack,
    Kind.STACK_OFF: scan_stack,
    Kind.CABINET: _place,
    Kind.SHELF: _place,
    Kind.BADGE: scan_badge,
    Kind.BUNDLE: lambda desk, code: (
        bundle_into_load(desk, bundle := bundle_by_code(desk, code)) or scan_bundle(desk, bundle)
    ),
    Kind.COMMAND: _command,
    Kind.STATION: scan_station,
    Kind.LOAD: scan_load,
    Kind.LOT: scan_lot,
}
