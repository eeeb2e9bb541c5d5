"""The scans of a cabinet check: each sheet is seen and told where it belongs, and none is moved by it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import func, insert, select

from app.db.checked import SEEN
from app.db.models import Scan, table_of
from app.domain.answer import WORDS, Answer, Choice
from app.domain.errors import Refusal, Refused
from app.domain.holds import AWAY
from app.domain.language import ENGLISH, mark, say, say_n, speaking
from app.domain.numbers import COMMANDS, Kind, shown
from app.domain.reading import Exact, Misread, Partial, Unreadable, read
from app.domain.stages import Step
from app.services.back import back_words
from app.services.check_cards import help_card, menu, nothing_to_undo
from app.services.checks import (
    CARD,
    CHECK,
    LEAVE,
    THEN_ON,
    begin_check,
    check_name,
    end_check,
    go_on_scanning,
    out_of_it,
    progress,
)
from app.services.counted_words import said_of
from app.services.custody import Writing, enter, standing_of
from app.services.desk import QUESTION_STANDS, Desk, somebody_is_here
from app.services.facts import place_words, sheet_by_number
from app.services.misreads import ask_misread, ask_partial, ask_second, chosen
from app.services.places import place_by_code

SCAN = table_of(Scan)
# The same card twice within this time is the scanner's double read, not two sheets (common practice, no source).
CARD_TWICE = timedelta(seconds=3)
# Whoever comes back later than this may have something else in mind (common practice, no source).
LEFT_FOR = timedelta(hours=2)
APART = mark("Keep it apart, with a slip that says where it lay. It gets its number when the check is through.")
_NAMES = {code: name for name, code in COMMANDS.items()}


def in_check(desk: Desk) -> bool:
    """Whether the station is in a cabinet check, so that the same code twice is no double read."""
    return desk.in_hand("check_id") is not None


def count_scan(desk: Desk) -> Answer | None:
    """What a scan says and writes while the station is in a check; None for what has nothing to do with it."""
    check = _check_here(desk)
    if check is None:
        return _begun(desk)
    reading = read(desk.request.code, desk.patterns)
    kind = reading.kind if isinstance(reading, Exact) else Kind.SHEET
    if kind not in DEEDS:
        return None
    if kind is not Kind.COMMAND:
        _closed_meanwhile(desk, check)
        if _was_left(desk):
            return _ask_to_go_on(desk, check)
    elif check.closed_at is not None:
        out_of_it(desk)
        return None
    return DEEDS[kind](desk, check, reading.text) if isinstance(reading, Exact) else _not_exact(desk, check, reading)


def _check_here(desk: Desk) -> Any | None:
    check_id = desk.in_hand("check_id")
    if check_id is None:
        return None
    check = desk.session.execute(select(CHECK).where(CHECK.c.id == check_id).with_for_update()).one_or_none()
    if check is None:
        # A room that was copied for practice knows its stations, and none of the checks.
        desk.keep(check_id=None)
    return check


def _closed_meanwhile(desk: Desk, check: Any) -> None:
    if check.closed_at is None:
        return
    out_of_it(desk)
    words = say("The check of {name} was closed meanwhile. This scan was not counted.", name=check_name(desk, check))
    raise Refused(Refusal("out-of-order", words, say("Scan it again for the work that is done at this place.")))


def _begun(desk: Desk) -> Answer | None:
    asked_at = (desk.in_hand("pending") or {}).get("check_asked_at")
    if asked_at is None or desk.now - datetime.fromisoformat(asked_at) > QUESTION_STANDS:
        return None
    reading = read(desk.request.code, desk.patterns)
    if not isinstance(reading, Exact) or reading.kind not in (Kind.CABINET, Kind.SHELF):
        return None
    return begin_check(desk, place_by_code(desk.session, reading.text))


def _was_left(desk: Desk) -> bool:
    last = desk.session.execute(
        select(func.max(SCAN.c.received_at)).where(SCAN.c.station_id == desk.station_id)
    ).scalar()
    return last is not None and desk.now - last > LEFT_FOR


def _ask_to_go_on(desk: Desk, check: Any) -> Answer:
    name, so_far = check_name(desk, check), progress(desk, check)
    line = say("A check of {name} was begun here and left: {progress} Does it go on?", name=name, progress=so_far)
    choices = (Choice(say("Go on with the check"), "facts.check", "on"), LEAVE)
    return Answer("which-one", WORDS["which-one"], (line,), say("This scan is not counted yet: scan it again then."),
                  choices=choices, carry=CARD)  # fmt: skip


def _not_exact(desk: Desk, check: Any, reading: Misread | Partial | Unreadable) -> Answer:
    if isinstance(reading, Unreadable):
        words = say("This is not a number or a card that is used here.")
        raise Refused(
            Refusal(
                "misread-number", words, say("Scan it again. If it cannot be read, scan the card “cannot be read”.")
            )
        )
    facts = desk.request.facts
    if isinstance(reading, Misread) and facts.get("read_as") and not facts.get("second"):
        return ask_second(desk, reading)
    if (row := chosen(desk, reading)) is not None:
        return _count(desk, check, row)
    return ask_misread(desk, reading) if isinstance(reading, Misread) else ask_partial(desk, reading)


def _sheet(desk: Desk, check: Any, number: str) -> Answer:
    somebody_is_here(desk, THEN_ON)
    row = sheet_by_number(desk.session, number)
    if row is not None:
        return _count(desk, check, row)
    again = (SEEN.c.check_id == check.id, SEEN.c.kind == "unknown", SEEN.c.text == number)
    known = desk.session.execute(select(SEEN.c.id).where(*again)).first() is not None
    if not known:
        _write(desk, check, "unknown", text=number)
    line = say("No sheet here has the number {number}.", number=shown(number, desk.patterns))
    return Answer("stop", say("Already counted.") if known else say("Unknown."), (line, progress(desk, check)), APART)


def _count(desk: Desk, check: Any, row: Any) -> Answer:
    somebody_is_here(desk, THEN_ON)
    before = select(SEEN.c.id).where(SEEN.c.check_id == check.id, SEEN.c.sheet_id == row["id"])
    counted = desk.session.execute(before).first() is not None
    desk.keep(last_sheet_id=row["id"])
    _write(desk, check, "sheet", sheet_id=row["id"])
    # Where somebody said that it was through, the sheet in the hand says that it is not.
    go_on_scanning(desk, check)
    return said_of(desk, check, row, counted, _lift(desk, check, row))


def _lift(desk: Desk, check: Any, row: Any) -> tuple[str, ...]:
    """A sheet that was away is here again: its own entry, as with any scan; what is said of it."""
    was = standing_of(row)
    ended = tuple(sorted(was.holds & AWAY))
    if not ended or was.closed_as is not None or (was.last_at is not None and desk.happened_at < was.last_at):
        return ()
    with speaking(ENGLISH):
        reason = f"Seen in the check of {check_name(desk, check)}."
    writing = Writing(Step.LIFT_HOLD, was.stage, was.place, lifts=ended, facts={"check": check.id}, reason=reason)
    _, now_stands = enter(desk, row["id"], was, writing)
    return back_words(desk, row, now_stands)


def _place(desk: Desk, check: Any, code: str) -> Answer:
    place = place_by_code(desk.session, code)
    words, name = place_words(desk.session, place), check_name(desk, check)
    if place.cabinet_id != check.cabinet_id or (
        check.shelf_id is not None and place.shelf_id not in (None, check.shelf_id)
    ):
        next_ = say("Go to {name}; or scan the card “check” to stop this one first.", name=name)
        raise Refused(
            Refusal("wrong-cabinet", say("This is {place}, and {name} is checked.", place=words, name=name), next_)
        )
    desk.keep(cabinet_id=place.cabinet_id, shelf_id=place.shelf_id)
    return Answer(
        "done",
        f"{words}.",
        (say("Check of {name}: {progress}", name=name, progress=progress(desk, check)),),
        say("Scan every sheet that lies there."),
    )


def _bundle(desk: Desk, check: Any, code: str) -> Answer:
    raise Refused(
        Refusal(
            "out-of-order", say("In a check sheets are counted one by one."), say("Scan each sheet that lies in it.")
        )
    )


def _command(desk: Desk, check: Any, code: str) -> Answer | None:
    name = _NAMES.get(code, "")
    if name in PASSED_ON:
        return None
    deed = COMMAND_DEEDS.get(name)
    if deed is not None:
        return deed(desk, check)
    words = say("A check of {name} goes on here: scans only count.", name=check_name(desk, check))
    raise Refused(Refusal("out-of-order", words, say("Scan the card “check” and stop it first.")))


def _unreadable(desk: Desk, check: Any) -> Answer:
    somebody_is_here(desk, THEN_ON)
    station, twice = desk.station, False
    if station is not None and station["last_code"] == desk.request.code and station["last_code_at"] is not None:
        twice = timedelta(0) <= desk.happened_at - station["last_code_at"] < CARD_TWICE
    if not twice:
        _write(desk, check, "unreadable")
    desk.keep(last_code=desk.request.code, last_code_at=desk.happened_at)
    mine = (SEEN.c.check_id == check.id, SEEN.c.kind == "unreadable")
    many = len(desk.session.execute(select(SEEN.c.id).where(*mine)).all())
    line = say_n("{n} sheet in this check could not be read.", "{n} sheets in this check could not be read.", many)
    return Answer("done", say("Not readable."), (line, progress(desk, check)), APART)


def _shelf(desk: Desk, check: Any) -> int | None:
    shelf_id: int | None = desk.in_hand("shelf_id") or check.shelf_id
    return shelf_id


def _write(desk: Desk, check: Any, kind: str, sheet_id: int | None = None, text: str | None = None) -> None:
    # A pest's card, scanned next, is about what was scanned just before.
    desk.keep(last_code=desk.request.code, last_code_at=desk.happened_at)
    # Not by whom: these rows are never changed, and who saw a sheet is kept for some months only.
    values = {
        "check_id": check.id, "seen_at": desk.happened_at, "kind": kind, "sheet_id": sheet_id, "text": text,
        "shelf_id": _shelf(desk, check), "station_id": desk.station_id, "scan_id": desk.request.scan_id,
    }  # fmt: skip
    desk.session.execute(insert(SEEN), values)


Deed = Callable[[Desk, Any, str], Answer | None]
DEEDS: dict[Kind, Deed] = {Kind.SHEET: _sheet, Kind.CABINET: _place, Kind.SHELF: _place, Kind.BUNDLE: _bundle,
                           Kind.COMMAND: _command}  # fmt: skip
# Cards that say something of the room, or stop for a danger; "yes" and "no" answer what is on the screen.
PASSED_ON = frozenset({"yes", "no", "closing", "morning", "pest", "danger"})
COMMAND_DEEDS: dict[str, Callable[[Desk, Any], Answer]] = {
    "check": menu, "done": end_check, "cannot-be-read": _unreadable, "no-number": _unreadable, "help": help_card,
    "undo": nothing_to_undo,
}  # fmt: skip
