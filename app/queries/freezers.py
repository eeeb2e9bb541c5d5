"""The freezers and their loads, as their page shows them: what lies in which, until when, and what still waits to go in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, literal, or_, select
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Consignment, FreezerLoad, LoadBundle, Sheet, table_of
from app.domain.freezing import WARMS
from app.domain.holds import HOLDS
from app.domain.language import mark, say
from app.domain.numbers import shown
from app.domain.stages import STAGES, Stage
from app.queries.in_freezer import not_in_freezer
from app.queries.kinds import IN_QUEUE, MOMENT, untreated
from app.queries.waiting import Judge, judge

LOAD = table_of(FreezerLoad)
TIED = table_of(LoadBundle)
SHEET = table_of(Sheet)
CABINET = table_of(Cabinet)
QUARANTINE = "quarantine"
RECENT = timedelta(days=60)


@dataclass(frozen=True, slots=True)
class LoadView:
    """One load. `state` is filling, in, ready, early, out, warm or opened; `at` is when that changes, None if nobody knows.

    Temperatures in degrees Celsius; `sheets` are those that lie in it by the log now; `is_cold`, whether its days have begun.
    """

    code: str
    shown: str
    name: str
    state: str
    at: datetime | None
    freezer: str
    sheets: int
    put_in_at: datetime | None
    cold_at: datetime | None
    cold_from: str
    enough_at: datetime | None
    out_at: datetime | None
    opens_at: datetime | None
    opened_at: datetime | None
    lowest_c: float | None
    rule_c: float | None
    rule_days: int | None
    treated: bool | None
    is_cold: bool

    @property
    def words(self) -> str:
        """How it stands, before the moment `at`."""
        return STATE_WORDS[self.state]


@dataclass(frozen=True, slots=True)
class LoadCard:
    """The card of a load: its name, and its code as it is kept and as people read it."""

    name: str
    code: str
    shown: str


@dataclass(frozen=True, slots=True)
class FreezerView:
    """One freezer: how cold it gets (`c`, in °C), and the loads that lie in it."""

    name: str
    code: str
    shown: str
    c: float
    loads: tuple[LoadView, ...]


@dataclass(frozen=True, slots=True)
class ToFreeze:
    """Sheets in one place that wait for the freezer: in which stage, since when, and why."""

    place: str
    stage: str
    why: str
    count: int
    oldest: datetime | None


@dataclass(frozen=True, slots=True)
class FreezerPage:
    """The freezers, the loads in the order of what is to be done with them, and what waits to go in."""

    freezers: tuple[FreezerView, ...]
    loads: tuple[LoadView, ...]
    opened: tuple[LoadView, ...]
    to_freeze: tuple[ToFreeze, ...]


def freezer_page(session: Session, now: datetime, zone: ZoneInfo) -> FreezerPage:
    """Everything about the freezers at this moment; loads that were opened in the last two months come by themselves."""
    views = load_views(session, now)
    going = sorted((view for view in views if view.state != "opened"), key=_urgent)
    opened = [view for view in views if view.opened_at and now - view.opened_at < RECENT]
    return FreezerPage(
        _freezers(session, views), tuple(going), tuple(sorted(opened, key=lambda view: view.opened_at or now, reverse=True)),
        tuple(to_freeze(session, judge(session, now, zone))),
    )  # fmt: skip


def load_views(session: Session, now: datetime, code: str = "") -> list[LoadView]:
    """The loads, or the one with this code, as they stand at this moment."""
    found = select(LOAD, CABINET.c.name.label("freezer")).outerjoin(CABINET, CABINET.c.id == LOAD.c.freezer_id)
    found = found.where(LOAD.c.code == code) if code else found
    rows = session.execute(found.order_by(LOAD.c.id)).mappings().all()
    counts = _counts(session)
    return [_view(row, counts.get(row["id"], 0), now) for row in rows]


def to_freeze(session: Session, judged: Judge) -> list[ToFreeze]:
    """What has to go through the freezer before it goes on, and what is held in quarantine, by place; the oldest first."""
    house, conditions = judged.house, []
    if house.treat_before_mounting:
        conditions.append((SHEET.c.stage == Stage.READY) & SHEET.c.table_id.is_(None))
    if house.treat_before_filing:
        conditions.append((SHEET.c.stage == Stage.DRY) & (SHEET.c.outcome == "passed"))
    found = [] if not conditions else _places(session, (or_(*conditions), untreated(literal(judged.now, MOMENT))), "")
    held = SHEET.c.stage.in_((Stage.READY, Stage.DRY)) & SHEET.c.holds.contains(QUARANTINE)
    return sorted(
        [*found, *_places(session, (held,), HOLDS[QUARANTINE].words)], key=lambda each: each.oldest or judged.now
    )


def load_cards(session: Session, code: str = "") -> tuple[LoadCard, ...]:
    """The cards of the loads that are not opened, or of one; ValueError, in a sentence, for one that is not there."""
    found = select(LOAD.c.name, LOAD.c.code).order_by(LOAD.c.id)
    found = found.where(LOAD.c.code == code) if code else found.where(LOAD.c.opened_at.is_(None))
    rows = session.execute(found).all()
    if code and not rows:
        raise ValueError(say("There is no load with this card. Look at the freezer's page."))
    return tuple(LoadCard(row.name, row.code, shown(row.code, ())) for row in rows)


def freezer_names(session: Session) -> tuple[str, ...]:
    """The names of the freezers in use."""
    found = select(CABINET.c.name).where(CABINET.c.freezes_to_c.is_not(None), CABINET.c.closed_at.is_(None))
    return tuple(session.execute(found.order_by(CABINET.c.walk, CABINET.c.name)).scalars())


def _places(session: Session, where: Sequence[Any], why: str) -> list[ToFreeze]:
    alike = (CABINET.c.name, Consignment.name, SHEET.c.stage)
    found = (
        select(*alike, func.count(), func.min(SHEET.c.came_at))
        .select_from(SHEET)
        .outerjoin(CABINET, CABINET.c.id == SHEET.c.cabinet_id)
        .outerjoin(Consignment, Consignment.id == SHEET.c.consignment_id)
        .where(IN_QUEUE, not_in_freezer(), *where)
        .group_by(*alike)
    )
    if not why:
        found = found.where(~SHEET.c.holds.contains(QUARANTINE))
    return [
        ToFreeze(
            cabinet or say("in no cabinet"),
            say(STAGES[Stage(stage)].words),
            say(why) or (consignment or ""),
            count,
            oldest,
        )
        for cabinet, consignment, stage, count, oldest in session.execute(found)
    ]


def _freezers(session: Session, views: Sequence[LoadView]) -> tuple[FreezerView, ...]:
    mine = (CABINET.c.freezes_to_c.is_not(None), CABINET.c.closed_at.is_(None))
    rows = session.execute(select(CABINET).where(*mine).order_by(CABINET.c.walk, CABINET.c.name)).mappings()
    return tuple(
        FreezerView(row["name"], row["code"], shown(row["code"], ()), row["freezes_to_c"],
                    tuple(view for view in views if view.freezer == row["name"] and view.state in INSIDE))
        for row in rows
    )  # fmt: skip


def _counts(session: Session) -> dict[int, int]:
    """How many sheets lie in each load that is not opened, loose or in tied bundles."""
    mine = (SHEET.c.closed_as.is_(None), LOAD.c.opened_at.is_(None))
    loose = select(LOAD.c.id, func.count()).join(SHEET, SHEET.c.bundle_id == LOAD.c.bundle_id)
    tied = select(LOAD.c.id, func.count()).join(TIED, TIED.c.load_id == LOAD.c.id)
    counts: dict[int, int] = {}
    for found in (loose, tied.join(SHEET, SHEET.c.bundle_id == TIED.c.bundle_id)):
        for load_id, many in session.execute(found.where(*mine).group_by(LOAD.c.id)):
            counts[load_id] = counts.get(load_id, 0) + many
    return counts


def _view(row: Any, sheets: int, now: datetime) -> LoadView:
    enough = row["cold_at"] + timedelta(days=row["rule_days"]) if row["cold_at"] and row["rule_days"] else None
    opens = row["out_at"] + WARMS if row["out_at"] else None
    state, at = _state(row, enough, opens, now)
    return LoadView(
        row["code"], shown(row["code"], ()), row["name"], state, at, row["freezer"] or "", sheets,
        row["put_in_at"], row["cold_at"], row["cold_from"] or "", enough, row["out_at"], opens, row["opened_at"], row["lowest_c"],
        row["rule_c"], row["rule_days"], row["treated"], row["cold_at"] is not None and row["cold_at"] <= now,
    )  # fmt: skip


def _state(row: Any, enough: datetime | None, opens: datetime | None, now: datetime) -> tuple[str, datetime | None]:
    if row["opened_at"] is not None:
        return "opened", row["opened_at"]
    if row["put_in_at"] is None:
        return "filling", row["made_at"]
    if opens is None:
        return ("ready", enough) if enough is not None and enough <= now else ("in", enough)
    if enough is None or enough > row["out_at"]:
        return "early", row["out_at"]
    return ("warm", opens) if opens <= now else ("out", opens)


def _urgent(view: LoadView) -> tuple[int, str]:
    return ORDER.index(view.state), view.at.isoformat() if view.at else ""


# What has to be done first comes first: what came out too early, then what may be opened, then what may come out.
ORDER = ("early", "warm", "ready", "out", "in", "filling", "opened")
INSIDE = ("in", "ready")
STATE_WORDS = {
    "early": mark("came out too early: put it back"),
    "warm": mark("may be opened, since"),
    "ready": mark("may come out, since"),
    "out": mark("stays closed until"),
    "in": mark("stays in until"),
    "filling": mark("is being filled, since"),
    "opened": mark("was opened"),
}
