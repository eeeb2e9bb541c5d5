"""What a desk has in hand for the step that is written: its shelf, its adhesive, and whose hands these are."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import bindparam, select
from sqlalchemy.engine import RowMapping

from app.db.models import Adhesive, Cabinet, table_of
from app.db.prepared import Question, prepared
from app.domain.attempt import Attempt
from app.domain.moves import lands_in
from app.domain.press import BULKS
from app.domain.sheet import NOWHERE, Place
from app.domain.stages import Stage
from app.domain.used import used_of
from app.services.desk import Desk

ADHESIVE = table_of(Adhesive)
CABINET = table_of(Cabinet)
_ADHESIVE_BY_CODE = prepared(select(ADHESIVE).where(ADHESIVE.c.code == bindparam("known_as")))
_ADHESIVE_BY_ID = prepared(select(ADHESIVE).where(ADHESIVE.c.id == bindparam("known_as")))
_STAGE_OF = prepared(select(CABINET.c.stage).where(CABINET.c.id == bindparam("cabinet")))


def shelf_in_hand(desk: Desk) -> Place:
    """The shelf that the station has in hand, or nowhere."""
    return Place(cabinet_id=desk.in_hand("cabinet_id"), shelf_id=desk.in_hand("shelf_id"))


def shelf_for(desk: Desk, stage: Stage | None) -> Place:
    """The shelf in hand as the place of a sheet that stands in this stage now; nowhere if its cabinet is for another stage.

    A shelf that was named together with the sheet is taken as it was said.
    """
    place = shelf_in_hand(desk)
    if place.cabinet_id is None or desk.request.cabinet:
        return place
    is_for = desk.session.execute(_STAGE_OF, {"cabinet": place.cabinet_id}).scalar()
    return place if is_for is None or is_for == stage else NOWHERE


def adhesive_ahead(desk: Desk) -> Iterator[Question]:
    """What is asked of the table's adhesive."""
    if (adhesive := desk.in_hand("adhesive_id")) is not None:
        yield _ADHESIVE_BY_ID, {"known_as": adhesive}


def adhesive_for(desk: Desk) -> RowMapping | None:
    """The adhesive that was named, else the table's."""
    code = desk.request.facts.get("adhesive")
    if code is None and desk.in_hand("adhesive_id") is None:
        return None
    meant = (_ADHESIVE_BY_CODE, code) if code is not None else (_ADHESIVE_BY_ID, desk.in_hand("adhesive_id"))
    found: RowMapping | None = desk.session.execute(meant[0], {"known_as": meant[1]}).mappings().one_or_none()
    return found


def bulk_meant(desk: Desk, known: str) -> str:
    """The bulk that was named, else the table's, else what is known of the sheet."""
    said = desk.request.facts.get("bulk") or desk.in_hand("bulk") or known
    return str(said) if said in BULKS else known


def used_here(desk: Desk, *, as_usual: bool) -> dict[str, dict[str, str]]:
    """What goes on the sheet besides the adhesive, as facts of its entry: what was said, else, `as_usual`, what the table takes."""
    found = used_of(desk.request.facts, (desk.in_hand("uses") or {}) if as_usual else {})
    return {"used": found} if found else {}


def hands(desk: Desk) -> tuple[int, ...]:
    """Whose hands these are."""
    return tuple(worker.worker_id for worker in desk.by)


def lands(attempt: Attempt) -> Stage | None:
    """The stage in which the sheet stands after this step."""
    return lands_in(attempt.step, attempt.sheet.stage)
