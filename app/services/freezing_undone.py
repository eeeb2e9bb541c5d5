"""What was said of a load or a freezer, taken back; and the audit of both."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.domain.answer import Answer
from app.domain.language import say
from app.domain.stages import Step
from app.services.custody import enter_thing
from app.services.desk import Desk
from app.services.differences import Difference, plainly
from app.services.freezers import follow_freezer
from app.services.loads import CABINET, LOAD, load_by_id, refold, row_of, times_by_log
from app.services.log import standing_rows
from app.services.treating import tell_again


def correct_load(desk: Desk, load_id: int, tail: Sequence[Any], reason: str) -> None:
    """Take back entries of a load, the last first, and fold it anew."""
    for row in reversed(tail):
        enter_thing(desk, "load", load_id, Step.CORRECT, happened_at=desk.now, facts={}, reason=reason, corrects=row.id)
    refold(desk, load_id)


def correct_freezer(desk: Desk, cabinet_id: int, tail: Sequence[Any], reason: str) -> None:
    """Take back entries of a freezer, the last first, and fold every load anew to which they mattered."""
    for row in reversed(tail):
        enter_thing(
            desk, "cabinet", cabinet_id, Step.CORRECT, happened_at=desk.now, facts={}, reason=reason, corrects=row.id
        )
    follow_freezer(desk, cabinet_id, min(_since(row) for row in tail), is_told=False)


def as_they_count(session: Session) -> dict[int, bool | None]:
    """The loads that were opened, and whether each counts as a treatment now."""
    found = select(LOAD.c.id, LOAD.c.treated).where(LOAD.c.opened_at.is_not(None))
    return {load_id: treated for load_id, treated in session.execute(found)}


def hear_again(desk: Desk, before: Mapping[int, bool | None], but_for: Collection[int] = ()) -> None:
    """After something was taken back: the sheets of loads that no longer count as before hear of it, but for those whose
    own entries were taken back with it.
    """
    for load_id, treated in before.items():
        load = load_by_id(desk.session, load_id)
        if load["treated"] is not treated:
            tell_again(desk, load, but_for)


def thing_undone(desk: Desk, kind: str, subject_id: int, taken: str) -> Answer:
    """The answer after something of a load or a freezer was taken back."""
    if kind == "load":
        load = load_by_id(desk.session, subject_id)
        line = _stands(load)
        return Answer(
            "done", say("Undone."), (taken, line), say("Scan its card to see what comes next."), entry=desk.written[-1]
        )
    name = desk.session.execute(select(CABINET.c.name).where(CABINET.c.id == subject_id)).scalar_one()
    line = say("The loads in {name} are reckoned without it.", name=name)
    return Answer("done", say("Undone."), (taken, line), entry=desk.written[-1])


def load_differences(session: Session) -> Iterator[Difference]:
    """Every difference between what the log says of each load and its freezers, and the load's row."""
    for row in session.execute(select(LOAD).order_by(LOAD.c.id)).mappings().all():
        try:
            expected: dict[str, Any] = row_of(times_by_log(session, row["id"]))
        except (ValueError, TypeError, KeyError) as error:
            yield Difference(
                "load", row["id"], row["name"], "its entries", f"cannot be read ({error})", "another state"
            )
            continue
        last = max((each.happened_at for each in standing_rows(session, "load", row["id"])), default=None)
        for name, by_log in {**expected, "last_at": last}.items():
            if by_log != row[name]:
                words = name.replace("_", " ").removesuffix(" id")
                yield Difference("load", row["id"], row["name"], words, plainly(by_log), plainly(row[name]))


def _since(row: Any) -> datetime:
    begins = row.facts.get("begins")
    return datetime.fromisoformat(begins) if begins else row.happened_at


def _stands(load: Any) -> str:
    name = load["name"]
    if load["opened_at"] is not None:
        return say("By the log {name} is open.", name=name)
    if load["out_at"] is not None:
        return say("By the log {name} is out of the freezer, and closed.", name=name)
    if load["put_in_at"] is not None:
        return say("By the log {name} lies in the freezer.", name=name)
    return say("By the log {name} is being filled.", name=name)
