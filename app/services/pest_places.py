"""What follows where a pest was seen: on a sheet, in a cabinet, bundle, stack or load, or with a consignment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import ColumnElement, func, insert, or_, select
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Bundle, Cabinet, Consignment, FreezerLoad, LoadBundle, PestSeen, Sheet, Stack, table_of
from app.domain.answer import Answer
from app.domain.consigned import why_closed
from app.domain.errors import Refusal, Refused
from app.domain.holds import AWAY
from app.domain.language import ENGLISH, say, say_n, speaking
from app.domain.numbers import shown
from app.domain.pests import BAG_IT, LOOKS_BACK, SEEN, SEEN_THERE, SEEN_WITH, SHUT_IT, STOP, what_now
from app.domain.sheet import Place
from app.domain.stages import Step
from app.services.back import back_words
from app.services.custody import enter, standing_of
from app.services.describing import describe
from app.services.desk import Desk
from app.services.facts import place_words
from app.services.places import place_by_code
from app.services.quarantine import HELD, Quarantined, lose_their_clean, quarantine, rows_of, writing_of

SHEET = table_of(Sheet)
PEST = table_of(PestSeen)
BUNDLE = table_of(Bundle)
STACK = table_of(Stack)
LOAD = table_of(FreezerLoad)
CONSIGNMENT = table_of(Consignment)


def on_sheet(desk: Desk, row: RowMapping) -> Answer:
    """A pest was seen on one sheet: it is in quarantine from now on, and its cabinet no longer clean."""
    reason, standing = _reason(desk, SEEN), standing_of(row)
    pest_id = _sighting(desk, sheet_id=row["id"], cabinet_id=row["cabinet_id"] or row["kept_in_id"])
    lines, entry_id = _closed_line(row), None
    if standing.stage is not None and standing.closed_as is None:
        writing = writing_of(desk, row, standing, reason, {"pest": pest_id, "found_with": pest_id})
        # Whoever says so has it in the hands: it is no longer missing, or out.
        writing = replace(writing, lifts=tuple(sorted(standing.holds & AWAY)))
        entry_id, stands = enter(desk, row["id"], standing, writing)
        already = HELD in standing.holds
        lines = [
            *back_words(desk, row, stands),
            say("It was in quarantine already.") if already else say("It is in quarantine now."),
        ]
    unclean = lose_their_clean(desk, {row["cabinet_id"] or row["kept_in_id"]} - {None}, reason)
    sheet = describe(desk.session, row, desk.patterns)
    return Answer("stop", STOP, (*lines, *_no_longer_clean(unclean)), what_now(standing.stage), sheet,
                  Step.QUARANTINE.value, entry_id)  # fmt: skip


def on_no_sheet(desk: Desk, number: str) -> Answer:
    """A pest was seen on something that the log does not know: it is kept all the same."""
    _sighting(desk, what=f"on {number}, which has not been taken in")
    return Answer(
        "stop", STOP, (say("{number} has not been taken in. The manager hears of it.", number=number),), BAG_IT
    )


def in_place(desk: Desk, code: str) -> Answer:
    """A pest was seen in a cabinet or on a shelf, by its code: what lies there is in quarantine."""
    place = place_by_code(desk.session, code)
    where = SHEET.c.shelf_id == place.shelf_id if place.shelf_id else SHEET.c.cabinet_id == place.cabinet_id
    words = place_words(desk.session, Place(place.cabinet_id, place.shelf_id))
    with speaking(ENGLISH):
        kept = place_words(desk.session, Place(place.cabinet_id, place.shelf_id))
    return _all_in(desk, where, words, SHUT_IT, reason=SEEN_THERE.format(place=kept), cabinet_id=place.cabinet_id,
                   what=f"in {kept}")  # fmt: skip


def cabinet_code(session: Session, name: str) -> str | None:
    """The code of the cabinet with this name, if there is one."""
    found: str | None = session.execute(select(Cabinet.code).where(func.lower(Cabinet.name) == name.lower())).scalar()
    return found


def in_bundle(desk: Desk, code: str) -> Answer:
    """A pest was seen in a bundle, by its card."""
    row = desk.session.execute(select(BUNDLE.c.id, BUNDLE.c.name).where(BUNDLE.c.code == code)).one_or_none()
    if row is None:
        return on_no_sheet(desk, code)
    return _all_in(desk, SHEET.c.bundle_id == row.id, row.name, BAG_IT, what=f"in {row.name}")


def in_load(desk: Desk, code: str) -> Answer:
    """A pest was seen in the bag of a freezer load, by its card."""
    row = desk.session.execute(
        select(LOAD.c.id, LOAD.c.name, LOAD.c.bundle_id).where(LOAD.c.code == code)
    ).one_or_none()
    if row is None:
        return on_no_sheet(desk, code)
    tied = select(LoadBundle.bundle_id).where(LoadBundle.load_id == row.id)
    where = or_(SHEET.c.bundle_id == row.bundle_id, SHEET.c.bundle_id.in_(tied))
    return _all_in(desk, where, row.name, say("Keep its bag closed. Tell the manager."), what=f"in {row.name}")


def in_stack(desk: Desk, code: str) -> Answer:
    """A pest was seen in a stack, by either side of its card."""
    mine = or_(STACK.c.code_on == code, STACK.c.code_off == code)
    row = desk.session.execute(select(STACK.c.id, STACK.c.name).where(mine)).one_or_none()
    if row is None:
        return on_no_sheet(desk, code)
    next_ = say("What lies in it stays until its time has come, then comes out straight into a bag. Tell the manager.")
    kept = f"stack {row.name}"
    return _all_in(desk, SHEET.c.stack_id == row.id, say("stack {name}", name=row.name), next_,
                   reason=SEEN_THERE.format(place=kept), what=f"in {kept}")  # fmt: skip


def in_consignment(desk: Desk, code: str) -> Answer:
    """A pest was seen in what came with a consignment. Refused: unknown-consignment."""
    mine = CONSIGNMENT.c.code == code.strip().upper()
    row = desk.session.execute(select(CONSIGNMENT.c.id, CONSIGNMENT.c.name).where(mine)).one_or_none()
    if row is None:
        words = say("There is no consignment with the code {code}.", code=code.strip()[:40])
        raise Refused(
            Refusal(
                "unknown-consignment",
                words,
                say("{bag_it} Read its code off the list, or scan one of its sheets.", bag_it=BAG_IT),
            )
        )
    came = (SHEET.c.consignment_id == row.id) & SHEET.c.stage.is_not(None)
    return _all_in(desk, came, row.name, BAG_IT, reason=SEEN_WITH.format(consignment=row.name), consignment_id=row.id)


def _all_in(desk: Desk, where: ColumnElement[bool], name: str, next_: str, *, reason: str = "", **of: Any) -> Answer:
    said = _reason(desk, reason or SEEN_THERE.format(place=name))
    ids = desk.session.execute(select(SHEET.c.id).where(where, SHEET.c.closed_as.is_(None))).scalars()
    rows, pest_id = rows_of(desk, ids), _sighting(desk, **of)
    done = quarantine(desk, rows, said, {"pest": pest_id, "found_with": pest_id})
    unclean = (
        *done.cabinets,
        *lose_their_clean(desk, [each for each in (of.get("cabinet_id"),) if each is not None], said),
    )
    desk.keep(last_sheet_id=None)
    entry = desk.written[-1] if desk.written else None
    return Answer("stop", STOP, (*_held_lines(desk, name, done), *_no_longer_clean(unclean)), next_, step=Step.QUARANTINE.value,
                  entry=entry, moved=done.held, left=done.left)  # fmt: skip


def _held_lines(desk: Desk, name: str, done: Quarantined) -> list[str]:
    lines = [
        say_n(
            "{name}: {n:,} sheet put in quarantine.",
            "{name}: {n:,} sheets put in quarantine.",
            len(done.held),
            name=name,
        )
    ]
    already = [shown(each["number"], desk.patterns) for each in done.left]
    return [*lines, say("{count} there already.", count=len(already))] if already else lines


def _sighting(desk: Desk, *, sheet_id: int | None = None, cabinet_id: int | None = None, consignment_id: int | None = None,
              what: str | None = None) -> int:  # fmt: skip
    by = desk.by[0].worker_id if desk.by else None
    values = {
        "sheet_id": sheet_id, "cabinet_id": cabinet_id, "consignment_id": consignment_id, "seen_at": desk.happened_at,
        "seen_by": by, "station_id": desk.station_id, "what": what, "since_at": desk.happened_at - LOOKS_BACK,
    }  # fmt: skip
    pest_id: int = desk.session.execute(insert(PEST).values(values).returning(PEST.c.id)).scalar_one()
    return pest_id


def _reason(desk: Desk, words: str) -> str:
    told = " ".join(desk.request.reason.split())
    return f"{words} {told}" if told else words


def _closed_line(row: RowMapping) -> list[str]:
    if row["closed_as"] is not None:
        return [
            say(
                "By the log it was closed: {closed_as}. The manager hears of it.",
                closed_as=why_closed(row["closed_as"]),
            )
        ]
    return [say("By the log it has never been taken in. The manager hears of it.")]


def _no_longer_clean(names: Sequence[str]) -> list[str]:
    called = say(" and ").join(dict.fromkeys(names))
    return (
        [say_n("{names} is no longer clean.", "{names} are no longer clean.", len(set(names)), names=called)]
        if names
        else []
    )
