"""Bundles in the drying room: made, hung in a dryer, tied anew and closed; and how what lies in them dries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import func, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Bundle, Cabinet, Sheet, table_of
from app.domain.answer import Answer
from app.domain.drying import HEATED, METHOD_WORDS, METHODS, pressed_moment
from app.domain.errors import Refusal, Refused
from app.domain.language import mark, say, say_n
from app.domain.moves import refusals
from app.domain.sheet import Place
from app.domain.stages import Step
from app.services import saying
from app.services.changes import changed
from app.services.custody import Writing, enter_many, standing_of
from app.services.desk import Desk, behind, somebody_is_here
from app.services.facts import make_attempt
from app.services.in_hand import lands
from app.services.room import add_bundle

BUNDLE, CABINET, SHEET = table_of(Bundle), table_of(Cabinet), table_of(Sheet)
LONGEST_NAME = 80
KINDS = ("plant press", "tray", "bag", "box", "parcel")
# The kinds are stored as they stand above, and said as these.
KIND_WORDS = (mark("plant press"), mark("tray"), mark("bag"), mark("box"), mark("parcel"))


def make_bundle(session: Session, name: str, now: datetime, by: int | None, *, kind: str = KINDS[0],
                method: str = "", dryer: str = "") -> RowMapping:  # fmt: skip
    """Make a bundle with a card of its own, dried so, in the dryer of this name. Without a name it gets the next of its kind.

    ValueError, in a sentence, for a name that another bundle in use has, for another kind or method, and for no such dryer.
    """
    if kind not in KINDS:
        raise ValueError(say("A bundle is one of: {kinds}.", kinds=", ".join(map(say, KIND_WORDS))))
    called = " ".join(name.split())[:LONGEST_NAME] or _next_name(session, kind)
    same = select(BUNDLE.c.id).where(func.lower(BUNDLE.c.name) == called.lower(), BUNDLE.c.closed_at.is_(None))
    if session.execute(same).first() is not None:
        raise ValueError(say("There is a bundle called {name} already. Give it another name.", name=called))
    bundle_id = add_bundle(session, called, kind)
    changed(session, now, by, "bundle", bundle_id, "added", new=called)
    if method or dryer:
        hang(session, bundle_id, method, dryer, now, by)
    return bundle_by_id(session, bundle_id)


def bundle_by_id(session: Session, bundle_id: int) -> RowMapping:
    """The bundle's row, locked until the transaction ends."""
    return session.execute(select(BUNDLE).where(BUNDLE.c.id == bundle_id).with_for_update()).mappings().one()


def bundle_in_use(session: Session, code: str) -> RowMapping:
    """The bundle in use with this code, its row locked; ValueError, in a sentence, where there is none."""
    found = select(BUNDLE).where(BUNDLE.c.code == code, BUNDLE.c.closed_at.is_(None)).with_for_update()
    row = session.execute(found).mappings().one_or_none()
    if row is None:
        raise ValueError(say("There is no such bundle in use. Load the page again."))
    return row


def hang(session: Session, bundle_id: int, method: str, dryer: str, now: datetime, by: int | None) -> None:
    """Say how a bundle is dried from now on, and in which dryer it lies ("" for none).

    What lies in it already keeps the way that is written on each sheet, until it is laid to dry anew. ValueError for no
    such method or dryer, and for a dryer that is named for what dries without heat.
    """
    if method and method not in METHODS:
        raise ValueError(say("It is dried {methods}.", methods=say(" or ").join(map(say, METHOD_WORDS.values()))))
    row, dryer_id = bundle_by_id(session, bundle_id), _dryer_id(session, dryer)
    method = method or (HEATED if dryer_id else row["method"] or "")
    if dryer_id and method != HEATED:
        raise ValueError(say("What lies in a dryer dries with heat. Say so, or choose no dryer."))
    session.execute(update(BUNDLE).where(BUNDLE.c.id == bundle_id).values(method=method or None, dryer_id=dryer_id))
    was, is_now = (_hung(session, each) for each in (row, bundle_by_id(session, bundle_id)))
    if was != is_now:
        changed(session, now, by, "bundle", bundle_id, "how it dries", old=was or None, new=is_now or None)


def say_pressed(session: Session, code: str, day: date, desk: tuple[datetime, Any], by: int | None) -> None:
    """Say on which day the plants of a bundle were pressed: those laid to dry in it from now on count from then.

    `desk` is now and the room's zone. ValueError, in a sentence, for a day to come, or long past.
    """
    now, zone = desk
    row, moment = bundle_in_use(session, code), pressed_moment(day, zone, now)
    session.execute(update(BUNDLE).where(BUNDLE.c.id == row["id"]).values(pressed_at=moment))
    changed(session, now, by, "bundle", row["id"], "pressed", old=_iso(row["pressed_at"]), new=moment.isoformat())


def close_bundle(session: Session, code: str, now: datetime, by: int | None) -> str:
    """An empty bundle is no longer in use; its name. ValueError while anything lies in it by the log."""
    row = bundle_in_use(session, code)
    lying = len(lying_in(session, row["id"]))
    if lying:
        raise ValueError(
            say_n(
                "By the log {n} sheet lies in it. Tie them into another first.",
                "By the log {n} sheets lie in it. Tie them into another first.",
                lying,
            )
        )
    values = {"closed_at": now, "dryer_id": None}
    session.execute(update(BUNDLE).where(BUNDLE.c.id == row["id"]).values(values))
    changed(session, now, by, "bundle", row["id"], "closed", old=row["name"])
    return str(row["name"])


def lying_in(session: Session, bundle_id: int) -> list[RowMapping]:
    """The sheets in a bundle by the log, by number; their rows are locked until the transaction ends."""
    found = select(SHEET).where(SHEET.c.bundle_id == bundle_id, SHEET.c.closed_as.is_(None)).order_by(SHEET.c.number)
    return list(session.execute(found.with_for_update()).mappings())


def tie(desk: Desk, code: str, into: str, numbers: Sequence[str] | None = None) -> Answer:
    """Tie the sheets of one bundle into another, all of them or those with these numbers: an entry for each, one deed.

    Refused: not-signed-in; unknown-number where a bundle is not in use; out-of-order where nothing goes.
    """
    somebody_is_here(desk, mark("Sign in first."))
    source, to = _in_use(desk, code), _in_use(desk, into)
    if source["id"] == to["id"]:
        raise Refused(Refusal("out-of-order", say("That is the same bundle."), say("Choose another one."), "which-one"))
    rows = [row for row in lying_in(desk.session, source["id"]) if numbers is None or row["number"] in numbers]
    going, left = [], list[str]()
    for row in rows:
        attempt = make_attempt(desk, row, standing_of(row), Step.TIE)
        found = [*refusals(attempt), *filter(None, [behind(desk, row["last_at"])])]
        if found:
            left.append(found[0].said(saying.desk_tell(desk)))
        else:
            writing = Writing(Step.TIE, lands(attempt), Place(bundle_id=to["id"]), facts={"from": source["name"]})
            going.append((row["id"], attempt.sheet, writing))
    if not going:
        words = left[0] if left else say("None of these lies in {name} by the log.", name=source["name"])
        raise Refused(Refusal("out-of-order", words, say("Load the page again.")))
    enter_many(desk, going)
    line = say_n("{n:,} sheet of {name} tied into {bundle}.", "{n:,} sheets of {name} tied into {bundle}.", len(going),
                 name=source["name"], bundle=to["name"])  # fmt: skip
    return Answer("done", say("Tied."), (line, *dict.fromkeys(left)), "", step=Step.TIE.value, entry=desk.written[-1])


def dryer_by_name(session: Session, name: str) -> RowMapping:
    """The dryer with this name; ValueError, in a sentence, where there is none."""
    mine = (CABINET.c.name == name, CABINET.c.is_dryer, CABINET.c.closed_at.is_(None))
    row = session.execute(select(CABINET).where(*mine)).mappings().one_or_none()
    if row is None:
        raise ValueError(say("There is no such dryer. Load the page again."))
    return row


def how_it_dries(desk: Desk, bundle_id: int | None, known: Mapping[str, Any]) -> dict[str, Any]:
    """How a sheet is dried that is laid to dry now, and since when it is pressed: what was said, else as its bundle is."""
    row = bundle_by_id(desk.session, bundle_id) if bundle_id is not None else {"method": None, "pressed_at": None}
    said = desk.request.facts.get("drying")
    method = said or row["method"] or desk.in_hand("method") or known["method"] or "unheated"
    pressed = known["pressed_at"] or row["pressed_at"] or desk.happened_at
    return {"method": str(method), "pressed_at": min(pressed, desk.happened_at), "papers_at": desk.happened_at}


def came_pressed(desk: Desk, fresh: bool) -> dict[str, Any]:
    """Since when a plant is pressed that is taken in now, where somebody said the day; Refused: misread-number for none."""
    said = desk.request.facts.get("pressed_on")
    if not said or not fresh:
        return {}
    try:
        day = said if isinstance(said, date) else _day_typed(str(said))
        return {"pressed_at": pressed_moment(day, desk.occasion.zone, desk.happened_at)}
    except ValueError as error:
        next_ = say("Say on which day it was pressed.")
        raise Refused(Refusal("misread-number", str(error), next_, "which-one")) from error


def _day_typed(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise ValueError(say("That is not a day.")) from error


def _in_use(desk: Desk, code: str) -> RowMapping:
    try:
        return bundle_in_use(desk.session, code)
    except ValueError as error:
        raise Refused(
            Refusal("unknown-number", say("There is no such bundle in use."), say("Load the page again."))
        ) from error


def _dryer_id(session: Session, name: str) -> int | None:
    return int(dryer_by_name(session, name)["id"]) if name else None


def _hung(session: Session, row: RowMapping) -> str:
    mine = select(CABINET.c.name).where(CABINET.c.id == row["dryer_id"])
    dryer = session.execute(mine).scalar() if row["dryer_id"] else None
    return ", in ".join(filter(None, (METHOD_WORDS.get(row["method"] or "", ""), dryer)))


def _next_name(session: Session, kind: str) -> str:
    called, number = set(session.execute(select(func.lower(BUNDLE.c.name))).scalars()), 1
    while f"{kind} {number}" in called:
        number += 1
    return f"{kind.capitalize()} {number}"


def _iso(moment: datetime | None) -> str | None:
    return moment.isoformat() if moment else None
