"""Late entries: what was done while nobody could scan, written up by the manager from paper or memory."""

from __future__ import annotations

from typing import Any, cast

from sqlalchemy.engine import RowMapping

from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.numbers import Kind
from app.domain.reading import Exact, read
from app.domain.stages import Step
from app.services.custody import standing_of
from app.services.deeds import sheet_asked
from app.services.desk import Desk, station_row
from app.services.facts import sheet_by_number
from app.services.places import place_by_name
from app.services.registering import take_in_new
from app.services.sheets import take_step

LATE_STEPS = (
    Step.TAKE_IN, Step.LAY_TO_DRY, Step.PAPERS_CHANGED, Step.PASS_AS_DRY, Step.ARRIVE_DRY, Step.ARRIVE_MOUNTED,
    Step.TAKE_UP, Step.PUT_BACK, Step.MOUNT, Step.PUT_UNDER_WEIGHT, Step.TAKE_OUT, Step.FOUND_OUT, Step.RE_GLUE,
    Step.BACK_TO_TABLE, Step.INSPECT, Step.FILE, Step.BRING_BACK, Step.SHELVE,
)  # fmt: skip
_KEPT_OF_STATION = ("id", "slug", "name", "code", "steps")


def write_late(desk: Desk, step: Step, station_id: int | None) -> Answer:
    """Take one step with one sheet at the time that the request names, at the station where it was really done.

    It may not lie before the sheet's last entry; a number that nobody knew yet can be taken in late, too.
    Refused: manager-only, unknown-number, out-of-order, and whatever the rules refuse.
    """
    if not desk.is_late:
        raise Refused(Refusal("manager-only", say("Only the manager writes late entries."), say("Ask the manager.")))
    row = _sheet(desk, step)
    if row["last_at"] is not None and desk.happened_at < row["last_at"]:
        words = say("Something else has happened to this sheet since then ({last}).")
        next_ = say("Give a later time, or take back what was written since.")
        raise Refused(Refusal("out-of-order", words, next_, facts={"last": row["last_at"]}))
    _stand_there(desk, station_id)
    try:
        return take_step(desk, row, standing_of(row), step)
    finally:
        # What the station has in hand now is not what this entry is about.
        desk.station, desk.keeps = None, {}


def _sheet(desk: Desk, step: Step) -> RowMapping:
    code = desk.request.code
    if step is Step.TAKE_IN and sheet_by_number(desk.session, code) is None:
        reading = read(code, desk.patterns)
        if isinstance(reading, Exact) and reading.kind is Kind.SHEET:
            return take_in_new(desk, reading.text)
    return sheet_asked(desk)


def _stand_there(desk: Desk, station_id: int | None) -> None:
    station = station_row(desk.session, station_id)
    if station is not None:
        then: dict[str, Any] = {name: station[name] if name in _KEPT_OF_STATION else None for name in station}
        desk.station = cast(RowMapping, then)
    if desk.request.cabinet:
        place = place_by_name(desk.session, desk.request.cabinet, desk.request.shelf)
        desk.keep(cabinet_id=place.cabinet_id, shelf_id=place.shelf_id)
