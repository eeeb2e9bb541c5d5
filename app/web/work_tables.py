"""What a mounting table has beside its screen: what it takes for a sheet, what was used today, and the order of work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from flask import Blueprint
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.domain.hazards import DEFERS
from app.domain.house import House
from app.domain.language import mark, say
from app.domain.order_of_work import order_of_work
from app.domain.press import BULKS
from app.domain.sheet_drawing import size_of, zones
from app.domain.stages import Step
from app.domain.used import USES
from app.queries.brief import brief_of
from app.queries.house import house_now
from app.queries.lot_cards import Pot, pots_for
from app.queries.room import adhesives
from app.queries.stations import StationView
from app.queries.used import Used, table_takes, used_on_day
from app.web.render import house, now, page
from app.web.sheet_page import no_such_sheet, seen_by_visitor

bp = Blueprint("briefs", __name__)
GLUES = frozenset({Step.MOUNT.value, Step.RE_GLUE.value})
POTS = GLUES | {Step.INSPECT.value}
# How the choices are headed, in the order in which they are needed.
TITLES = {
    "packet": mark("Packet"),
    "adhesive_id": mark("Adhesive"),
    "straps": mark("Straps and thread"),
    "bulk": mark("Bulk"),
}


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing that a table may take, as a button: the value it sends, its words, and whether it is what holds now."""

    value: str
    words: str
    holds: bool


@dataclass(frozen=True, slots=True)
class Takes:
    """What a table takes of one kind: the field's name, its heading, and the buttons."""

    name: str
    title: str
    choices: tuple[Choice, ...]


@bp.get("/sheets/<number>/brief")
def one(number: str) -> AnyResponse:
    """The brief of one sheet, with where things go on it and the order of work: to be read, or printed small."""
    with reading(house().database) as session:
        sheet = seen_by_visitor(session, number)
        if sheet is None:
            return no_such_sheet()
        brief = brief_of(session, sheet.sheet_id, now(), house().zone)
        rules = house_now(session)
    return page("table/brief.html", sheet=sheet, brief=brief, defers=DEFERS, work=work_at(rules))


def of_table(session: Any, view: StationView | None, rules: House) -> dict[str, Any]:
    """What a station's page shows of a table: `takes` is empty where nothing is glued, `work` is None where nothing is mounted."""
    if view is None or not GLUES & set(view.steps):
        return {"takes": (), "pots": pots_here(session, view), "used": (), "work": None}
    mounts = Step.MOUNT.value in view.steps
    return {
        "takes": takes_of(session, view),
        "pots": pots_here(session, view),
        "used": used_here(session, view),
        "work": work_at(rules) if mounts else None,
    }


def pots_here(session: Any, view: StationView | None) -> tuple[Pot, ...]:
    """The pots of adhesive that may be opened at a station; nothing where nothing is glued or mended."""
    if view is None or not POTS & set(view.steps):
        return ()
    return pots_for(session, view.station_id, now())


def used_here(session: Any, view: StationView | None) -> tuple[Used, ...]:
    """What was used at a station today; nothing where nothing is glued."""
    if view is None or not GLUES & set(view.steps):
        return ()
    return used_on_day(session, now(), house().zone, station_id=view.station_id)


def takes_of(session: Any, view: StationView) -> tuple[Takes, ...]:
    """The buttons that change what a station takes; packet and straps only where sheets are mounted."""
    holds: dict[str, str] = {"bulk": view.bulk, **table_takes(session, view.station_id)}
    room = [(str(each.adhesive_id), each.name) for each in adhesives(session)]
    holds["adhesive_id"] = next((value for value, words in room if words == view.adhesive), "")
    known = {
        "packet": list(USES["packet"].items()), "straps": list(USES["straps"].items()),
        "adhesive_id": [*room, ("", say("not said"))],
        "bulk": [("", say("as its slip says")), *((each, say(each)) for each in BULKS)],
    }  # fmt: skip
    mounts = Step.MOUNT.value in view.steps
    return tuple(_takes(name, known[name], holds.get(name, "")) for name in TITLES if mounts or name not in USES)


def work_at(rules: House) -> dict[str, Any]:
    """The room's sheet to proportion: its size, its zones, and the order of work."""
    size = size_of(rules)
    return {"size": size, "zones": zones(size), "steps": order_of_work(rules.code_top_left)}


def set_by(sent: Any) -> dict[str, dict[str, str]]:
    """Of a form that was sent, what the table is to take besides its adhesive; nothing where it says nothing of it."""
    uses = {name: str(sent[name]) for name in USES if name in sent}
    return {"uses": uses} if uses else {}


def _takes(name: str, known: Sequence[tuple[str, str]], holds: str) -> Takes:
    return Takes(name, TITLES[name], tuple(Choice(value, words, value == holds) for value, words in known))
