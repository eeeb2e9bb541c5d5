"""House rules that suit a kind of room, set together."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy.orm import Session

from app.db.rules import room_house
from app.domain.house import ONE_PERSON, House
from app.domain.language import say
from app.services.room import set_house_rule


def set_one_person_room(session: Session, reason: str, now: datetime, *, by: int | None = None) -> int:
    """Set the house rules that suit a room where one person does everything, with one reason; return how many changed.

    ValueError without a reason. Rules that are so already are left alone.
    """
    if not reason.strip():
        raise ValueError(say("Say why; it stays in the history of each rule."))
    differing = _differing(room_house(session)[0], ONE_PERSON)
    for name, value in differing.items():
        set_house_rule(session, name, value, reason, now, by=by)
    return len(differing)


def _differing(house: House, wanted: Mapping[str, int]) -> dict[str, int]:
    return {name: value for name, value in wanted.items() if int(getattr(house, name)) != value}
