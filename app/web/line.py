"""The line between a station's browser and the room: what its script must know while there is none, and when there is."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, current_app, jsonify, request

from app.db.engine import reading, transaction
from app.domain.house import House
from app.domain.kept import SAFE_LATE
from app.domain.numbers import COMMANDS, Pattern, card_shapes
from app.domain.stages import Step
from app.queries.may_come_out import may_come_out, stack_in_hand
from app.queries.stations import StationView
from app.services.kept_times import hear_of
from app.services.sheets import NEVER_BY_ITSELF
from app.web.render import house, now
from app.web.scans import whole
from app.web.security import visitor

bp = Blueprint("line", __name__)
WORKER = "station-worker.js"


@bp.post("/station/contact")
def contact() -> Response:
    """The station is here, and says how many scans it holds."""
    with transaction(house().database) as session:
        hear_of(session, station_here(), whole(request.form.get("held", "")) or 0, now())
    return jsonify(station=station_here())


@bp.get("/station/out")
def out() -> Response:
    """What may come out of each stack while its weights stay on, and when: for the press to know without a line."""
    with reading(house().database) as session:
        stacks, in_hand = may_come_out(session, now(), house().zone), stack_in_hand(session, station_here())
    told = [
        {"name": one.name, "on": one.code_on, "off": one.code_off, "weightsOn": one.weights_on, "inHand": one.name == in_hand,
         "sheets": {sheet.number: sheet.ready_at and int(sheet.ready_at.timestamp() * 1000) for sheet in one.sheets}}
        for one in stacks
    ]  # fmt: skip
    return jsonify(at=int(now().timestamp() * 1000), stacks=told)


@bp.get("/station/worker.js")
def worker() -> Response:
    """The script that opens the station's page while the server is away; it looks after that page and no other."""
    response = current_app.send_static_file(WORKER)
    response.headers["Service-Worker-Allowed"] = "/station"
    response.headers["Cache-Control"] = "no-cache"
    return response


def station_here() -> int:
    """The id of this browser's station; nobody gets to a station's addresses without one."""
    station_id = visitor().station_id
    assert station_id is not None
    return station_id


def told_to_the_script(view: StationView | None, rules: House, patterns: tuple[Pattern, ...]) -> dict[str, Any]:
    """What the station's script must know to answer by itself: its steps, what may wait, and how codes are made."""
    if view is None:
        return {}
    bare = [step for step in view.steps if Step(step) not in {*NEVER_BY_ITSELF, Step.WEIGHTS_ON, Step.WEIGHTS_OFF}]
    shapes = [["sheet", each.prefix, each.width, each.check] for each in patterns]
    shapes += [[kind.value, each.prefix, each.width, each.check] for kind, each in card_shapes(patterns).items()]
    return {"station": view.station_id, "name": view.name, "steps": view.steps, "bare": bare,
            "safe": sorted(SAFE_LATE - {Step.COUNT}),
            "shapes": shapes, "cards": COMMANDS, "zone": house().zone.key, "doubleReadMs": rules.double_read_s * 1000}  # fmt: skip
