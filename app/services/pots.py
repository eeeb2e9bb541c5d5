"""Pots of adhesive at the tables: which lot is open where since when, by one scan of its card; undone, and put right."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import insert, select
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Adhesive, Entry, Lot, LotOpening, Station, Supply, table_of
from app.db.standing import OPENING_STANDS
from app.domain.answer import Answer
from app.domain.calendar import local_day
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.stages import Step
from app.domain.words import date_said
from app.services.changes import changed, reason_given
from app.services.desk import Desk, somebody_is_here
from app.services.lots import adhesive_of, lot_row
from app.services.supplies import Told

LOT, OPENING, SUPPLY = table_of(Lot), table_of(LotOpening), table_of(Supply)
ENTRY, STATION = table_of(Entry), table_of(Station)
GLUED_AT = frozenset({Step.MOUNT, Step.RE_GLUE, Step.INSPECT})
# As long as the card “undo” looks back.
UNDONE_WITHIN = timedelta(hours=12)
_STANDING = select(OPENING).where(OPENING_STANDS)
_BY_CODE = (
    select(LOT, SUPPLY.c.adhesive_id, Adhesive.name.label("adhesive"))
    .join(SUPPLY, SUPPLY.c.id == LOT.c.supply_id)
    .join(Adhesive, Adhesive.id == SUPPLY.c.adhesive_id)
)


def scan_lot(desk: Desk, code: str) -> Answer:
    """The card of a lot: a pot of it is open here from now on, and what is glued here is glued with it.

    Refused: not-signed-in, unknown-station where nothing is glued, unknown-number for no such lot, or in a practice room,
    where nothing is used up; wrong-stage for a lot that is out of use.
    """
    lot = _lot_here(desk, code)
    now_open = open_here(desk.session, desk.station_id, lot["adhesive_id"], desk.happened_at)
    name = say("{adhesive}, lot {number}", adhesive=lot["adhesive"], number=lot["number"])
    old = _old_label(desk, lot["label_on"])
    where = desk.station["name"] if desk.station else ""
    if now_open is not None and now_open["id"] == lot["id"]:
        desk.keep(adhesive_id=lot["adhesive_id"])
        lines = (say("It is the pot that is open at {where}.", where=where), *old)
        return Answer("done", f"{name}.", lines, say("Scan the next sheet."))
    _open(desk, lot["adhesive_id"], lot["id"])
    desk.keep(adhesive_id=lot["adhesive_id"])
    lines = (say("Open at {where} from now on.", where=where),)
    if now_open is not None:
        lines = (*lines, say("Lot {number} is put away.", number=now_open["number"]))
    return Answer(
        "done", f"{name}.", (*lines, *old), say("Scan the next sheet. If it is the wrong pot, scan the right one.")
    )


def undo_opening(desk: Desk) -> Answer | None:
    """Take back that a pot was opened here, if that was the last that was scanned here; None where it was not.

    Refused: manager-only where somebody else opened it.
    """
    last = _last_opening(desk)
    if last is None:
        return None
    if last["opened_by"] not in {each.worker_id for each in desk.by}:
        raise Refused(
            Refusal(
                "manager-only", say("Somebody else scanned this."), say("Ask them, or the manager, to take it back.")
            )
        )
    _write(
        desk.session, {**_as_it_is(last), "is_void": True, "corrects": last["id"]}, Told(desk.now, last["opened_by"])
    )
    desk.keep(adhesive_id=last["adhesive_before_id"])
    back = open_here(desk.session, desk.station_id, last["adhesive_id"], desk.now)
    line = say("Lot {number} is open here again.", number=back["number"]) if back else say("No lot is known here now.")
    return Answer(
        "done", say("Undone."), (say("Taken back: a pot opened."), line), say("Scan the card of the pot that is open.")
    )


def put_opening_right(session: Session, opening_id: int, lot_id: int | None, told: Told, why: str) -> None:
    """It was another lot's pot that was opened then, or with None none was: a new line takes the place of the old one.

    With `told.at` it was at another moment. ValueError without a reason, and for a line that no longer stands.
    """
    row = session.execute(_STANDING.where(OPENING.c.id == opening_id)).mappings().one_or_none()
    if row is None:
        raise ValueError(say("That line no longer stands. Load the page again."))
    why = reason_given(why)
    if told.at is not None and told.at > told.now:
        raise ValueError(say("That time has not come yet."))
    new = {**_as_it_is(row), "corrects": opening_id, "why": why, "opened_at": told.at or row["opened_at"]}
    if lot_id is not None and adhesive_of(session, lot_id) != row["adhesive_id"]:
        raise ValueError(say("That lot is of another adhesive."))
    _write(session, {**new, "is_void": lot_id is None, "lot_id": lot_id}, told)
    changed(session, told.now, told.by, "lot", row["lot_id"], "opened",
            new=lot_row(session, lot_id)["number"] if lot_id is not None else None, why=why)  # fmt: skip


def write_opening(session: Session, lot_id: int, station_id: int, told: Told, why: str, *, away: bool = False) -> None:
    """Write up that a pot was opened at a station at `told.at`, or `away` that none of a known lot was open from then on.

    ValueError without a reason, for a moment to come, and for no such lot.
    """
    if not why.strip():
        raise ValueError(say("Say where you know it from; it stays in the history."))
    if told.at is None or told.at > told.now:
        raise ValueError(say("Say when it was; that time must have come."))
    values = {"station_id": station_id, "adhesive_id": adhesive_of(session, lot_id), "lot_id": None if away else lot_id,
              "opened_at": told.at, "adhesive_before_id": None, "scan_id": None, "is_void": False, "corrects": None,
              "why": why.strip()}  # fmt: skip
    _write(session, values, told)
    at = session.execute(select(STATION.c.name).where(STATION.c.id == station_id)).scalar()
    what = "put away" if away else "opened"
    changed(session, told.now, told.by, "lot", lot_id, what, new=at, why=why.strip())


def open_here(session: Session, station_id: int | None, adhesive_id: int, at: datetime) -> RowMapping | None:
    """The lot whose pot was open at a station for an adhesive at a moment; None where none is known."""
    here = (OPENING.c.station_id == station_id, OPENING.c.adhesive_id == adhesive_id, OPENING.c.opened_at <= at)
    last = _STANDING.where(*here).order_by(OPENING.c.opened_at.desc(), OPENING.c.id.desc()).limit(1)
    found = session.execute(last).mappings().one_or_none()
    return lot_row(session, found["lot_id"]) if found is not None and found["lot_id"] is not None else None


def _lot_here(desk: Desk, code: str) -> RowMapping:
    if desk.session.info["database"].is_practice:
        words = say("This pot belongs to the room itself: practice uses nothing up.")
        raise Refused(Refusal("unknown-number", words, say("Go on with the next sheet; here every pot is as good.")))
    somebody_is_here(desk)
    if not GLUED_AT & set(desk.steps):
        raise Refused(
            Refusal(
                "unknown-station",
                say("Nothing is glued at this place."),
                say("Scan it where the pot stands."),
            )
        )
    row = desk.session.execute(_BY_CODE.where(LOT.c.code == code)).mappings().one_or_none()
    if row is None:
        raise Refused(
            Refusal("unknown-number", say("No lot here has this card."), say("Give the card to the manager."))
        )
    if row["ended_at"] is not None:
        words = say("Lot {number} is out of use: nothing more is glued with it.", number=row["number"])
        raise Refused(Refusal("wrong-stage", words, say("Put the pot aside for the manager, and take another.")))
    return row


def _old_label(desk: Desk, label_on: date | None) -> tuple[str, ...]:
    if label_on is None or label_on >= local_day(desk.now, desk.occasion.zone):
        return ()
    return (say("The date on its label is past: {day}. Tell the manager.", day=date_said(label_on)),)


def _open(desk: Desk, adhesive_id: int, lot_id: int) -> None:
    values = {"station_id": desk.station_id, "adhesive_id": adhesive_id, "lot_id": lot_id, "opened_at": desk.happened_at,
              "scan_id": desk.request.scan_id, "adhesive_before_id": desk.in_hand("adhesive_id"), "is_void": False,
              "why": None, "corrects": None}  # fmt: skip
    _write(desk.session, values, Told(desk.now, desk.by[0].worker_id))


def _last_opening(desk: Desk) -> RowMapping | None:
    since = desk.now - UNDONE_WITHIN
    mine = _STANDING.where(
        OPENING.c.station_id == desk.station_id, OPENING.c.recorded_at >= since, OPENING.c.corrects.is_(None)
    )
    last = desk.session.execute(mine.order_by(OPENING.c.id.desc()).limit(1)).mappings().one_or_none()
    if last is None:
        return None
    here = (
        ENTRY.c.station_id == desk.station_id,
        ENTRY.c.recorded_at >= last["recorded_at"],
        ENTRY.c.step != Step.CORRECT,
    )
    return None if desk.session.execute(select(ENTRY.c.id).where(*here).limit(1)).first() is not None else last


def _as_it_is(row: RowMapping) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name != "id"}


def _write(session: Session, values: dict[str, Any], told: Told) -> None:
    session.execute(insert(OPENING).values(**{**values, "recorded_at": told.now, "opened_by": told.by}))
