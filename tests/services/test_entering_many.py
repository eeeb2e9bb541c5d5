"""Many entries at once: the same rows as one by one."""

from __future__ import annotations

from sqlalchemy import select

from app.db.engine import transaction
from app.db.models.base import Base
from app.domain.sheet import NOWHERE, Standing
from app.domain.stages import Stage, Step
from app.services.custody import Writing, enter, enter_many
from app.services.desk import Desk, ScanRequest
from app.services.opening import open_desk
from app.services.registering import register
from tests.databases import number_anew
from tests.room import Room
from tests.services.parcels import number


def test_many_entered_at_once_are_written_as_they_would_be_one_by_one(room: Room) -> None:
    written = []
    with transaction(room.database) as session:
        for at_once in (False, True):
            tried = session.begin_nested()
            request = ScanRequest("", "", worker_ids=(room.worker["hedda"], room.worker["olwen"]))
            desk, _ = open_desk(session, request, room.occasion)
            _take_in_and_lay_to_dry(desk, at_once)
            names = ("sheet", "entry", "entry_worker", "tally_day", "tally_stay", "hold", "layer")
            tables = [Base.metadata.tables[name] for name in names]
            written.append(
                [[tuple(row) for row in session.execute(select(each).order_by(*each.primary_key))] for each in tables]
            )
            tried.rollback()
            number_anew(session)
    assert written[0] == written[1] and [len(each) for each in written[0]] == [4, 8, 16, 4, 1, 2, 0]


def _take_in_and_lay_to_dry(desk: Desk, at_once: bool) -> None:
    ids = [register(desk, number(place))["id"] for place in range(4)]
    held = Writing(Step.TAKE_IN, Stage.INTAKE, NOWHERE, {"fresh": True, "bulk": "bulky"}, ("label-to-come",))
    taken = [held, Writing(Step.TAKE_IN, Stage.INTAKE, NOWHERE, {"fresh": False})] * 2
    on = Writing(
        Step.LAY_TO_DRY, Stage.DRYING, NOWHERE, {"method": "heated", "pressed_at": desk.now}, facts={"why": "damp"}
    )
    if at_once:
        stands = enter_many(desk, [(each, Standing(), writing) for each, writing in zip(ids, taken, strict=True)])
        enter_many(desk, [(each, was, on) for each, was in zip(ids, stands, strict=True)])
        return
    stands = [enter(desk, each, Standing(), writing)[1] for each, writing in zip(ids, taken, strict=True)]
    for each, was in zip(ids, stands, strict=True):
        enter(desk, each, was, on)
