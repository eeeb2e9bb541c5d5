"""Days in a room for the tests: much of what can happen there, one thing after the other."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

from app.db.engine import Database, reading, transaction
from app.domain.answer import Answer
from app.domain.numbers import COMMANDS
from app.domain.stages import Step
from app.services import room as setting_up
from app.services.audit import audit
from app.services.differences import Difference
from tests.databases import Rooms
from tests.room import LONDON, Room


def new_room(rooms: Rooms, folder: Path) -> Room:
    """A room of its own in this folder, for tests that need many; whoever asks closes its engine."""
    return Room(rooms.open(folder / "blotter.sqlite3"))


def differences(database: Database) -> list[Difference]:
    """Everything that the audit names."""
    with reading(database) as session:
        return list(audit(session, LONDON))


def sentences(database: Database) -> str:
    """Everything that the audit names, one sentence a line."""
    return "\n".join(each.sentence for each in differences(database))


def done(answer: Any) -> Any:
    """The answer, which must be done."""
    assert answer.kind == "done", answer
    return answer


def codes(answer: Answer) -> list[str]:
    return [str(refusal["code"]) for refusal in answer.refusals]


def minutes_left(answer: Answer) -> int:
    """How many minutes a refused sheet still needs, rounded up, as the answer says."""
    return next(int(refusal["remaining_minutes"]) for refusal in answer.refusals if refusal["code"] == "too-early")


def card(command: str) -> str:
    """The code of a command card."""
    return COMMANDS[command]


def pressed(room: Room, stack: str = "P1", **facts: Any) -> str:
    """A sheet laid in, and the weights on at once."""
    room.weights("off", stack)
    number = room.sheet_in(stack, **facts)
    done(room.weights("on", stack))
    return number


def busy_days(room: Room) -> dict[str, str]:
    """Three days of work with corrections, holds, a bundle, a stray sheet and a late card; returns sheets by nickname."""
    sheets = {name: room.sheet_mounted() for name in ("straight", "strayed", "glued-again", "undone", "doubted")}
    sheets["moved"] = room.sheet_mounted(bulk="bulky")
    done(room.weights("off", "P1"))
    for name in ("straight", "strayed", "glued-again", "undone", "doubted"):
        room.wait(seconds=40)
        done(room.scans(sheets[name], "press", step=Step.PUT_UNDER_WEIGHT, stack="P1"))
    done(room.scans(sheets["moved"], "press", step=Step.PUT_UNDER_WEIGHT, stack="P2"))
    room.wait(minutes=1)
    done(room.undoes(room.log(sheets["undone"])[-1]["id"], "press"))
    done(room.scans(sheets["undone"], "press", step=Step.PUT_UNDER_WEIGHT, stack="P1"))
    for stack in ("P1", "P2"):
        done(room.weights("on", stack, facts={"counted": 5}))
    room.wait(hours=5)
    done(room.scans(sheets["strayed"], "press", step=Step.FOUND_OUT))
    done(room.weights("off", "P2"))
    room.wait(minutes=2)
    done(room.weights("off", "P3"))
    done(room.scans(sheets["moved"], "press", step=Step.PUT_UNDER_WEIGHT, stack="P3"))
    done(room.weights("on", "P3"))
    _a_tray(room)
    room.wait(hours=20)
    _the_second_day(room, sheets)
    return sheets


def _a_tray(room: Room) -> None:
    with transaction(room.database) as session:
        setting_up.add_bundle(session, "Tray 4")
    numbers = [room.new_number() for _ in range(4)]
    card = room.code("bundle", "Tray 4")
    room.scans(card, "intake")
    for number in numbers:
        done(room.scans(number, "intake", step=Step.TAKE_IN))
    room.wait(minutes=2)
    assert room.scans(card, "drying", step=Step.LAY_TO_DRY).kind == "which-one"
    done(room.scans(card, "drying", step=Step.LAY_TO_DRY, facts={"all": True, "all_but": [numbers[0]]}))


def _the_second_day(room: Room, sheets: dict[str, str]) -> None:
    done(room.weights("off", "P1"))
    room.wait(minutes=3)
    for name in ("straight", "glued-again", "doubted"):
        done(room.takes_out(sheets[name]))
    done(room.scans(sheets["strayed"], "press", step=Step.PUT_UNDER_WEIGHT, stack="P1"))
    done(room.weights("on", "P1"))
    room.wait(minutes=10)
    done(room.scans(sheets["straight"], "inspection", step=Step.INSPECT, facts={"outcome": "to-be-mended"}))
    done(room.scans(sheets["straight"], "inspection", step=Step.INSPECT, facts={"outcome": "passed"}))
    done(room.scans(sheets["straight"], "filing", step=Step.FILE, cabinet="F1", shelf="1"))
    done(room.scans(sheets["glued-again"], "inspection", step=Step.RE_GLUE, facts={"adhesive": "straps"}))
    early = {"early": True, "reason": "a visitor leaves with it", "who": "hedda"}
    assert room.takes_out(sheets["moved"], **early).kind == "not-yet"
    done(room.weights("off", "P3"))
    done(room.takes_out(sheets["moved"], **early))
    room.wait(hours=1)
    _a_late_card(room, sheets)
    done(room.takes_back(room.log(sheets["straight"])[-1]["id"], "the wrong cabinet"))


def _a_late_card(room: Room, sheets: dict[str, str]) -> None:
    # The weights of P1 had been off for two hours on the first day; it is written in only now.
    laid_at = room.log(sheets["doubted"])[-2]["happened_at"]
    for state, hours in (("off", 1), ("on", 3)):
        late = {"happened_at": laid_at + timedelta(hours=hours), "manages": True, "who": "hedda"}
        done(room.scans(room.code(state, "P1"), "press", **late))
