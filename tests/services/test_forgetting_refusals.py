"""Refused scans are forgotten after the months that the house keeps them, and not before."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from sqlalchemy import insert, select

from app.db.engine import reading, transaction
from app.db.models import RefusedScan, table_of
from app.services.forgetting import forget_refusals
from app.services.room import set_house_rule
from tests.room import Room

REFUSED = table_of(RefusedScan)
NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
YEAR_AGO = datetime(2025, 11, 25, 9, 0, tzinfo=UTC)


def kept(room: Room, *moments: datetime) -> None:
    with transaction(room.database) as session:
        rows = [{"refused_at": moment, "codes": "too-early", "station_id": None} for moment in moments]
        session.execute(insert(REFUSED), rows)


def left(room: Room) -> list[datetime]:
    with reading(room.database) as session:
        return list(session.execute(select(REFUSED.c.refused_at).order_by(REFUSED.c.refused_at)).scalars())


def forgotten(room: Room, now: datetime = NOW) -> int:
    with transaction(room.database) as session:
        return forget_refusals(session, now)


def test_a_refusal_is_kept_for_twelve_months_to_the_second(room: Room) -> None:
    kept(room, YEAR_AGO - timedelta(days=700), YEAR_AGO - timedelta(seconds=1), YEAR_AGO, NOW)
    assert forgotten(room) == 2
    assert left(room) == [YEAR_AGO, NOW]
    assert forgotten(room) == 0


def test_the_house_says_for_how_many_months(room: Room) -> None:
    with transaction(room.database) as session:
        set_house_rule(session, "keep_refusals_months", 1, "nobody looks at older ones", room.now)
    kept(room, datetime(2026, 10, 25, 8, 59, tzinfo=UTC), datetime(2026, 10, 25, 9, 0, tzinfo=UTC))
    assert forgotten(room) == 1 and len(left(room)) == 1


def test_what_is_forgotten_in_a_transaction_that_fails_is_still_there(room: Room) -> None:
    kept(room, YEAR_AGO - timedelta(days=1))
    try:
        with transaction(room.database) as session:
            assert forget_refusals(session, NOW) == 1
            raise RuntimeError("the power went")
    except RuntimeError:
        pass
    assert len(left(room)) == 1
