"""Whether an entry may be taken back like a scan: by whom, until when, and what was written by the same scan with it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Entry, Layer, table_of
from app.db.rules import room_house
from app.db.standing import STANDS
from app.domain.calendar import local_day
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.stages import OF_CHECKS, Step
from app.services.desk import Desk, Occasion, ScanRequest, station_row, workers_at
from app.services.facts import stack_by_id
from app.services.log import standing_rows, workers_of

ENTRY = table_of(Entry)
LAYER = table_of(Layer)
# A subject's kind and id, its entries that go, and those before them.
Tail = tuple[str, int, list[Any], list[Any]]


def to_undo(desk: Desk, entry_id: int) -> tuple[Any, list[Any], list[Tail]]:
    """The entry, all that the same scan wrote, and what goes of each subject; nothing is written.

    Refused: not-last, already-corrected, manager-only or undo-too-late, where it may not be taken back at this desk now.
    """
    entry = entry_of(desk, entry_id)
    together = _same_scan(desk, entry)
    for each in together:
        _may_undo(desk, each)
    ids = {each.id for each in together}
    return entry, together, [_last_of_all(desk, kind, subject_id, ids) for kind, subject_id in _subjects(together)]


def newest_undoable(session: Session, station_id: int, entries: Sequence[int], occasion: Occasion) -> int | None:
    """Of these entries the last that still stands, if whoever works at the station may take it back now; else None.

    Nothing is written. Whoever takes it back is asked the same once more.
    """
    stands = select(ENTRY.c.id).where(ENTRY.c.id.in_(entries), ENTRY.c.step != Step.CORRECT, STANDS)
    newest = session.execute(stands.order_by(ENTRY.c.id.desc()).limit(1)).scalar() if entries else None
    if newest is None:
        return None
    house, patterns = room_house(session)
    here = station_row(session, station_id), *workers_at(session, station_id, house)
    desk = Desk(session, occasion, ScanRequest("", "", station_id), house, patterns, *here, occasion.now)
    try:
        to_undo(desk, newest)
    except Refused:
        return None
    return int(newest)


def entry_of(desk: Desk, entry_id: int) -> Any:
    """The row of an entry that somebody may take back.

    Refused: not-last where there is none, and for a correction or a cabinet check; already-corrected.
    """
    entry = desk.session.execute(select(ENTRY).where(ENTRY.c.id == entry_id)).one_or_none()
    if entry is None or entry.step == Step.CORRECT:
        words = say("A correction cannot be corrected.") if entry else say("There is no such entry.")
        raise Refused(Refusal("not-last", words, say("Write what really happened as a new entry.")))
    _is_of_no_check(entry)
    corrected = select(ENTRY.c.id).where(ENTRY.c.corrects == entry_id)
    if desk.session.execute(corrected).scalar() is not None:
        raise Refused(
            Refusal("already-corrected", say("This entry was already taken back."), say("Nothing more is to be done."))
        )
    return entry


def _subjects(entries: Sequence[Any]) -> list[tuple[str, int]]:
    return list(dict.fromkeys((each.subject_kind, each.subject_id) for each in entries))


def _last_of_all(desk: Desk, kind: str, subject_id: int, ids: set[int]) -> Tail:
    """A subject's entries among these ids and those before them; refused before anything is written if others follow."""
    rows = standing_rows(desk.session, kind, subject_id)
    mine = [row for row in rows if row.id in ids]
    if rows[len(rows) - len(mine) :] != mine:
        raise Refused(
            Refusal(
                "not-last", say("Something else has happened to it since."), say("Ask the manager to put it right.")
            )
        )
    return kind, subject_id, mine, rows[: len(rows) - len(mine)]


def _same_scan(desk: Desk, entry: Any) -> list[Any]:
    if entry.scan_id is None:
        return [entry]
    found = select(ENTRY).where(ENTRY.c.scan_id == entry.scan_id, ENTRY.c.step != Step.CORRECT, STANDS)
    return list(desk.session.execute(found.order_by(ENTRY.c.id)))


def _is_of_no_check(entry: Any) -> None:
    if entry.step in OF_CHECKS:
        words = say("A cabinet check is not taken back like a scan.")
        raise Refused(Refusal("not-last", words, say("Go on with it, or let the manager break it off.")))


def _may_undo(desk: Desk, entry: Any) -> None:
    # The holds of a closing were written with it: each is taken back by itself, and the closing stays.
    _is_of_no_check(entry)
    if entry.step == Step.RENUMBER:
        raise Refused(
            Refusal(
                "not-last", say("A number is not taken back like a scan."), say("Give the sheet its old number again.")
            )
        )
    if entry.step in (Step.WEIGHTS_ON, Step.WEIGHTS_OFF):
        _weights_may_be_undone(desk, entry)
    if desk.request.manages:
        return
    mine = set(workers_of(desk.session, entry.id)) & {worker.worker_id for worker in desk.by}
    if not mine:
        raise Refused(
            Refusal(
                "manager-only", say("Somebody else scanned this."), say("Ask them, or the manager, to take it back.")
            )
        )
    zone = desk.occasion.zone
    if local_day(entry.recorded_at, zone) != local_day(desk.now, zone):
        raise Refused(
            Refusal(
                "undo-too-late", say("This was scanned on an earlier day."), say("Ask the manager to take it back.")
            )
        )


def _weights_may_be_undone(desk: Desk, entry: Any) -> None:
    limit = timedelta(minutes=desk.house.undo_weights_min)
    moved = select(LAYER.c.id).where(
        LAYER.c.stack_id == entry.subject_id, (LAYER.c.laid_entry_id > entry.id) | (LAYER.c.out_entry_id > entry.id)
    )
    if desk.now - entry.recorded_at <= limit and desk.session.execute(moved).first() is None:
        return
    name = stack_by_id(desk.session, entry.subject_id)["name"]
    words = say("The weights of {name} were written too long ago to be undone, or sheets were moved since.", name=name)
    raise Refused(Refusal("undo-too-late", words, say("Scan the card of {name} as you find it now.", name=name)))
