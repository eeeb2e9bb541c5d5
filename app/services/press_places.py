"""In which stacks a glued sheet may be laid: what each is filling for, and how much room it has."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import bindparam, case, func, select

from app.db.models import Adhesive, Layer, Sheet, Stack, WeightSpan, table_of
from app.db.prepared import Question, prepared
from app.domain.answer import Choice
from app.domain.attempt import Attempt
from app.domain.language import say
from app.domain.laying import Spot, makeshifts, places_to_lay
from app.domain.press import minimum_s
from app.domain.sheet import Standing
from app.domain.stages import Step
from app.domain.words import duration
from app.services.desk import Desk
from app.services.facts import stack_by_id

STACK = table_of(Stack)
LAYER = table_of(Layer)
SHEET = table_of(Sheet)
SPAN = table_of(WeightSpan)
ADHESIVE = table_of(Adhesive)
_CLASS = prepared(select(ADHESIVE.c["class"]).where(ADHESIVE.c.id == bindparam("adhesive")))
# One row for each stack, however many sheets lie there: it is asked after every gluing.
_LYING = (
    select(LAYER.c.stack_id, func.count().label("sheets"), func.min(SHEET.c.minimum_s).label("least"),
           func.max(SHEET.c.minimum_s).label("most"), func.min(LAYER.c.laid_at).label("first"),
           func.max(case((SHEET.c.bulk == "bulky", 1), else_=0)).label("bulky"))
    .join(SHEET, SHEET.c.id == LAYER.c.sheet_id)
    .where(LAYER.c.out_at.is_(None))
    .group_by(LAYER.c.stack_id)
    .subquery()
)  # fmt: skip
_LAST_OFF = select(func.max(SPAN.c.off_at)).where(SPAN.c.stack_id == STACK.c.id).scalar_subquery()
_STACKS = prepared(
    select(STACK.c.name, STACK.c.weights_on, STACK.c.capacity, _LAST_OFF.label("last_off"), _LYING.c.sheets,
           _LYING.c.least, _LYING.c.most, _LYING.c.bulky, _LYING.c.first)
    .outerjoin(_LYING, _LYING.c.stack_id == STACK.c.id)
    .where(STACK.c.closed_at.is_(None))
    .order_by(func.length(STACK.c.name), STACK.c.name)
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Offered:
    """A stack that may take the sheet, and what is to be known of it first; empty where it simply fits."""

    name: str
    but: str


def stacks_ahead(standing: Standing) -> Iterator[Question]:
    """What is asked where a gluing may be laid in."""
    yield _STACKS, {}
    if standing.minimum_s is None and standing.adhesive_id is not None:
        yield _CLASS, {"adhesive": standing.adhesive_id}


def stacks_offered(desk: Desk, standing: Standing, without: str = "") -> list[Offered]:
    """The stacks for a sheet as it stands, the best first, and none that is full; those that do not fit come last."""
    needs, is_bulky = needs_s(desk, standing), standing.bulk == "bulky"
    spots = [spot for spot in _spots(desk) if spot.name != without]
    fitting = [Offered(spot.name, say("Lift its weights first.") if spot.weights_on else "")
               for spot in places_to_lay(needs, is_bulky, spots)]  # fmt: skip
    return [*fitting, *(Offered(spot.name, _but(spot, needs)) for spot in makeshifts(needs, is_bulky, spots))]


def stack_choices(desk: Desk, standing: Standing, without: str = "") -> tuple[Choice, ...]:
    """The same as buttons, which lay the sheet in where they are pressed."""
    lay = f"step={Step.PUT_UNDER_WEIGHT.value}"
    return tuple(
        Choice(say("Stack {name}", name=each.name), "choose", f"stack={each.name}&{lay}", detail=each.but)
        for each in stacks_offered(desk, standing, without)
    )


def which_stack(desk: Desk, attempt: Attempt, codes: set[str]) -> tuple[Choice, ...]:
    """The ways on with a sheet that has no place yet: the stack that was meant, once its weights are off, and the others."""
    meant = attempt.stack
    lifted: tuple[Choice, ...] = ()
    if meant is not None and "weights-on" in codes and "stack-full" not in codes:
        code_off = stack_by_id(desk.session, meant.stack_id)["code_off"]
        lifted = (Choice(say("The weights of {name} are off now", name=meant.name), "choose", f"code={code_off}"),)
    return (*lifted, *stack_choices(desk, attempt.sheet, meant.name if meant is not None else ""))


def needs_s(desk: Desk, standing: Standing) -> int:
    """The seconds under weight that a gluing needs: as it was laid in, or else by the rules of now."""
    if standing.minimum_s is not None:
        return standing.minimum_s
    adhesive = standing.adhesive_id
    class_ = desk.session.execute(_CLASS, {"adhesive": adhesive}).scalar() if adhesive is not None else None
    return minimum_s(desk.house, class_, standing.bulk)


def _spots(desk: Desk) -> list[Spot]:
    return [_spot(row) for row in desk.session.execute(_STACKS)]


def _spot(row: Any) -> Spot:
    sheets = row.sheets or 0
    # Once weights have lain on what lies there, the stack is no longer being filled.
    is_filling = bool(sheets) and not row.weights_on and (row.last_off is None or row.last_off <= row.first)
    minimums = frozenset({row.least or 0, row.most or 0} if sheets else ())
    return Spot(row.name, row.weights_on, is_filling, sheets, row.capacity - sheets, minimums, bool(row.bulky))


def _but(spot: Spot, needs: int) -> str:
    if not spot.is_filling:
        return say("Its sheets have lain under weight already.")
    if spot.minimums_s != {needs}:
        longest = duration(max(spot.minimums_s))
        return (
            say("Its sheets need {longest}.", longest=longest)
            if len(spot.minimums_s) == 1
            else say("Its sheets need up to {longest}.", longest=longest)
        )
    return say("A bulky sheet lies in it.")
