"""A room with a freezer, for the tests: its verbs besides those of the room."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Cabinet, FreezerLoad, table_of
from app.domain.answer import Answer
from app.domain.stages import Step
from app.services import room as rooms
from app.services.audit import audit
from app.services.loads import make_load
from tests.room import Room

LOAD = table_of(FreezerLoad)
CABINET = table_of(Cabinet)


class Freezers:
    """A room with one freezer or more, and a station beside them."""

    def __init__(self, room: Room, **colder: float) -> None:
        self.room = room
        with transaction(room.database) as session:
            for name, c in {"Freezer": -20.0, **colder}.items():
                rooms.add_cabinet(session, name, None, room.now, freezes_to_c=c)
            room.station["freezer"] = rooms.add_station(session, "freezer", "Freezer", [Step.FREEZE], room.now)
        room.signs_in("piet", "freezer")

    def code(self, freezer: str = "Freezer") -> str:
        with reading(self.room.database) as session:
            return str(session.execute(select(CABINET.c.code).where(CABINET.c.name == freezer)).scalar_one())

    def begins(self, *numbers: str) -> str:
        """A load is begun and sheets are scanned into it; its card."""
        with transaction(self.room.database) as session:
            code = str(make_load(session, self.room.now)["code"])
        self.room.scans(code, "freezer")
        for number in numbers:
            answer = self.room.scans(number, "freezer")
            assert answer.kind == "done", answer
        return code

    def goes_in(self, code: str, freezer: str = "Freezer") -> Answer:
        self.room.scans(code, "freezer", step=None)
        return self.room.scans(self.code(freezer), "freezer")

    def frozen(self, *numbers: str) -> str:
        """A load with these sheets that lies in the freezer; its card."""
        code = self.begins(*numbers)
        answer = self.goes_in(code)
        assert answer.kind == "done", answer
        return code

    def comes_out(self, code: str, **more: Any) -> Answer:
        return self.room.scans(code, "freezer", step=Step.LOAD_OUT, **more)

    def opens(self, code: str, **more: Any) -> Answer:
        return self.room.scans(code, "freezer", step=Step.LOAD_OPENED, **more)

    def treated(self, *numbers: str) -> str:
        """A load that lay in the freezer for long enough and was opened in time."""
        code = self.frozen(*numbers)
        self.room.wait(days=8)
        assert self.comes_out(code).word == "Out of the freezer."
        self.room.wait(hours=24)
        assert self.opens(code).word == "Opened."
        return code

    def load(self, code: str) -> Any:
        with reading(self.room.database) as session:
            return session.execute(select(LOAD).where(LOAD.c.code == code)).mappings().one()

    def differences(self) -> list[str]:
        with reading(self.room.database) as session:
            return [each.sentence for each in audit(session, self.room.zone)]
