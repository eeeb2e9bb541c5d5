"""The facts that the rules ask for, read and locked in the transaction that will write."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import bindparam, func, or_, select
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Cabinet, FormerNumber, Layer, Sheet, Shelf, Stack, Station, WeightSpan, table_of
from app.db.prepared import Question, prepared
from app.domain.attempt import Attempt, PressClock, ShelfFacts, StackFacts
from app.domain.language import say
from app.domain.limits import treatment_holds
from app.domain.press import Span, Stay, ready_at, under_weight
from app.domain.sheet import Place, Standing
from app.domain.stages import Stage, Step
from app.services.desk import Desk
from app.services.difficulty import with_difficulty
from app.services.suspected import suspected_ahead, unnamed_for

SHEET = table_of(Sheet)
STACK = table_of(Stack)
LAYER = table_of(Layer)
SPAN = table_of(WeightSpan)
CABINET = table_of(Cabinet)
SHELF = table_of(Shelf)
STATION = table_of(Station)

_BY_NUMBER = prepared(select(SHEET).where(SHEET.c.number == bindparam("number")).with_for_update())
_BY_ID = prepared(select(SHEET).where(SHEET.c.id == bindparam("sheet")).with_for_update())
FORMER = table_of(FormerNumber)
_FORMER = prepared(select(FORMER.c.sheet_id).where(FORMER.c.number == bindparam("number")))
_STACK = prepared(select(STACK).where(STACK.c.id == bindparam("stack")).with_for_update())
_LYING = prepared(
    select(func.count()).select_from(LAYER).where(LAYER.c.stack_id == bindparam("stack"), LAYER.c.out_at.is_(None))
)
_STAYS = prepared(
    select(LAYER.c.stack_id, LAYER.c.laid_at, LAYER.c.out_at)
    .where(LAYER.c.sheet_id == bindparam("sheet"), LAYER.c.laid_at >= bindparam("since"))
    .order_by(LAYER.c.laid_at, LAYER.c.id)
)
_SPANS = prepared(
    select(SPAN.c.stack_id, SPAN.c.on_at, SPAN.c.off_at)
    .where(
        SPAN.c.stack_id.in_(bindparam("stacks", expanding=True)),
        or_(SPAN.c.off_at.is_(None), SPAN.c.off_at > bindparam("since")),
    )
    .order_by(SPAN.c.on_at)
)
_WAS_ON = prepared(
    select(SPAN.c.id).where(
        SPAN.c.stack_id == bindparam("stack"), SPAN.c.on_at <= bindparam("at"),
        or_(SPAN.c.off_at.is_(None), SPAN.c.off_at > bindparam("at")),
    )
)  # fmt: skip
_PLACE_NAMES = prepared(
    select(CABINET.c.name, SHELF.c.name.label("shelf"))
    .outerjoin(SHELF, SHELF.c.id == bindparam("shelf"))
    .where(CABINET.c.id == bindparam("cabinet"))
)
_CABINET = prepared(select(CABINET).where(CABINET.c.id == bindparam("cabinet")))
_SHELF = prepared(select(SHELF).where(SHELF.c.id == bindparam("shelf")))
_ON_SHELF = prepared(select(func.count()).select_from(SHEET).where(SHEET.c.shelf_id == bindparam("place")))
_IN_CABINET = prepared(select(func.count()).select_from(SHEET).where(SHEET.c.cabinet_id == bindparam("place")))
_NAMES = {table: prepared(select(table.c.name).where(table.c.id == bindparam("of_row"))) for table in (STACK, STATION)}


def sheet_by_number(session: Session, number: str) -> RowMapping | None:
    """The sheet with this number, or that once had it; its row is locked until the transaction ends."""
    row = session.execute(_BY_NUMBER, {"number": number}).mappings().one_or_none()
    if row is None or row["closed_as"] is not None:
        # A number that was given up, or closed as the same sheet as another, finds that other one.
        former = session.execute(_FORMER, {"number": number}).scalar()
        return sheet_by_id(session, former) if former is not None else row
    return row


def number_ahead(number: str) -> Question:
    """What is asked of a number that was scanned."""
    return _BY_NUMBER, {"number": number}


def facts_ahead(desk: Desk, row: RowMapping, standing: Standing) -> Iterator[Question]:
    """What the rules of most steps ask of a sheet that was scanned."""
    place, in_hand = standing.place, desk.in_hand("stack_id")
    yield suspected_ahead(row)
    if place.table_id is not None:
        yield _NAMES[STATION], {"of_row": place.table_id}
    elif place.cabinet_id is not None:
        yield _PLACE_NAMES, {"cabinet": place.cabinet_id, "shelf": place.shelf_id}
    for stack_id in filter(None, dict.fromkeys((place.stack_id, in_hand))):
        yield _STACK, {"stack": stack_id}
        yield _LYING, {"stack": stack_id}


def sheet_by_id(session: Session, sheet_id: int) -> RowMapping:
    """The sheet's row, locked until the transaction ends."""
    return session.execute(_BY_ID, {"sheet": sheet_id}).mappings().one()


def stack_by_id(session: Session, stack_id: int) -> RowMapping:
    """The stack's row, locked until the transaction ends."""
    return session.execute(_STACK, {"stack": stack_id}).mappings().one()


def stack_facts(session: Session, stack_id: int | None, at: datetime) -> StackFacts | None:
    """A stack as the rules see it; for a late entry, with its weights as they lay when it happened."""
    if stack_id is None:
        return None
    row = stack_by_id(session, stack_id)
    lying = session.execute(_LYING, {"stack": stack_id}).scalar_one()
    is_late = row["last_at"] is not None and at < row["last_at"]
    on = session.execute(_WAS_ON, {"stack": stack_id, "at": at}).first() is not None if is_late else row["weights_on"]
    return StackFacts(stack_id, row["name"], on, lying, row["capacity"])


def shelf_facts(session: Session, cabinet_id: int | None, shelf_id: int | None) -> ShelfFacts | None:
    """A cabinet, or one shelf of it, as the rules see it; sheets are counted only where there is a capacity."""
    if cabinet_id is None:
        return None
    cabinet = session.execute(_CABINET, {"cabinet": cabinet_id}).mappings().one()
    shelf = session.execute(_SHELF, {"shelf": shelf_id}).mappings().one() if shelf_id else None
    capacity = shelf["capacity"] if shelf else cabinet["capacity"]
    counted = (_ON_SHELF, shelf_id) if shelf else (_IN_CABINET, cabinet_id)
    held = session.execute(counted[0], {"place": counted[1]}).scalar_one() if capacity else 0
    name = place_words(session, Place(cabinet_id, shelf_id))
    stage = Stage(cabinet["stage"]) if cabinet["stage"] else None
    return ShelfFacts(cabinet_id, shelf_id, name, stage, cabinet["is_clean"], held, capacity)


def stays_and_spans(
    session: Session, sheet_id: int, since: datetime | None
) -> tuple[list[Stay], dict[int, list[Span]]]:
    """Where a sheet has lain since it was glued, and when the weights lay on those stacks."""
    begin = since or _LONG_AGO
    stays = [Stay(*row) for row in session.execute(_STAYS, {"sheet": sheet_id, "since": begin})]
    spans: dict[int, list[Span]] = {}
    if stays:
        found = {"stacks": sorted({stay.stack_id for stay in stays}), "since": stays[0].laid_at}
        for stack_id, on_at, off_at in session.execute(_SPANS, found):
            spans.setdefault(stack_id, []).append(Span(on_at, off_at))
    return stays, spans


def press_clock(session: Session, sheet_id: int, standing: Standing, now: datetime) -> PressClock | None:
    """A glued sheet's time under weight; None for a sheet that was never laid in with a minimum."""
    if standing.minimum_s is None:
        return None
    stays, spans = stays_and_spans(session, sheet_id, standing.glued_at)
    minimum = timedelta(seconds=standing.minimum_s)
    return PressClock(under_weight(stays, spans, now), minimum, ready_at(minimum, stays, spans, now))


def place_words(session: Session, place: Place) -> str:
    """Where a place is, said as one would walk there: "M1, shelf 2", "stack P3"; empty when nobody has said."""
    if place.stack_id is not None:
        return say("stack {name}", name=_name(session, STACK, place.stack_id))
    if place.table_id is not None:
        return str(_name(session, STATION, place.table_id))
    if place.cabinet_id is None:
        return ""
    row = session.execute(_PLACE_NAMES, {"cabinet": place.cabinet_id, "shelf": place.shelf_id}).one()
    return say("{name}, shelf {shelf}", name=row.name, shelf=row.shelf) if row.shelf else str(row.name)


def make_attempt(desk: Desk, row: RowMapping, standing: Standing, step: Step, **more: Any) -> Attempt:
    """Gather every fact that the rules of this step may ask for."""
    session, request = desk.session, desk.request
    pressing = standing.stage is Stage.UNDER_PRESS
    own = stack_facts(session, standing.place.stack_id, desk.happened_at) if pressing else None
    clock = press_clock(session, row["id"], standing, desk.happened_at) if pressing else None
    facts: Mapping[str, Any] = request.facts
    values: dict[str, Any] = {
        "by": desk.by, "beside": desk.beside, "table_id": desk.station_id, "other_table": _other_table(desk, standing),
        "where": place_words(session, standing.place), "own_stack": own, "clock": clock, "facts": facts,
        "treated": treatment_holds(row["treated_until"], desk.happened_at), "specimen_complete": _is_complete(session, row, step),
        "early": request.early, "reason": request.reason, "clock_doubtful": desk.occasion.clock_doubtful,
    }  # fmt: skip
    values["unnamed"] = unnamed_for(desk, row, step, more.get("by", desk.by))
    attempt = Attempt(standing, step, desk.happened_at, desk.house, desk.calendar, **{**values, **more})
    return with_difficulty(desk, row, attempt) if desk.house.sign_offs else attempt


def _other_table(desk: Desk, standing: Standing) -> str:
    table = standing.place.table_id
    if table is None or table == desk.station_id or standing.stage is not Stage.READY:
        return ""
    return str(_name(desk.session, STATION, table))


def _is_complete(session: Session, row: RowMapping, step: Step) -> bool:
    if step is not Step.FILE or row["specimen_id"] is None:
        return True
    others = select(SHEET.c.stage).where(
        SHEET.c.specimen_id == row["specimen_id"], SHEET.c.id != row["id"], SHEET.c.closed_as.is_(None)
    )
    stages: Sequence[str | None] = session.execute(others).scalars().all()
    return all(stage in (Stage.DRY, Stage.FILED) for stage in stages)


def _name(session: Session, table: Any, row_id: int) -> Any:
    return session.execute(_NAMES[table], {"of_row": row_id}).scalar_one()


_LONG_AGO = datetime.fromisoformat("1900-01-01T00:00:00+00:00")
