"""Inspection: the sheet as a drawing, what is wrong marked on it or picked from the list, and how the look ends.

The marks so far are kept in the address, so the page works without script, and the way back takes a mark away.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from flask import Blueprint, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.domain.findings import FINDINGS, MOST_MARKS, NOTE_LONGEST, Mark, kinds_for, mark_of, place_of
from app.domain.language import mark, say
from app.domain.pests import BAGGED
from app.domain.sheet_drawing import Zone, place_words, zone_at, zones
from app.domain.stages import Step
from app.queries.inspections import to_inspect
from app.queries.room import adhesives
from app.web.render import house, page
from app.web.sheet_page import no_such_sheet

bp = Blueprint("inspecting", __name__)
# The edge is marked at its middle below; the plant is tapped in nine parts, away from the edge.
EDGE = Zone("edge", mark("Along the edge"), 0, 0, 1000, 1000)
EDGE_AT = (500, 995)
INSET_X, INSET_Y = 90, 65


@dataclass(frozen=True, slots=True)
class Tap:
    """A part of the drawing that can be tapped: what it says, its box in thousandths, and the place that it marks."""

    words: str
    zone: Zone
    at: str


@dataclass(frozen=True, slots=True)
class Marked:
    """A mark of this look, with its number on the drawing, its place in words, and the address of the page without it."""

    place: int
    mark: Mark
    where: str
    without: str


@bp.get("/inspection/<number>")
def show(number: str) -> AnyResponse:
    """A sheet to be looked at. With `kind` one more mark is made; `m` are those made so far, `at` the place that was tapped."""
    marks, wrong = _marks(request.args.getlist("m"))
    kind, at = request.args.get("kind", ""), request.args.get("at", "")
    if kind and not wrong:
        added, wrong = _marks([*(mark.text for mark in marks), _told(kind, at)])
        if not wrong:
            return redirect(_here(number, added))
    return _drawn(number, marks, place_of(at), wrong)


def taps(found: Sequence[Zone]) -> tuple[Tap, ...]:
    """What can be tapped, the lowest first: the edge, the plant in nine parts, then what lies upon it."""
    plant = next(zone for zone in found if zone.name == "plant")
    width, height = (plant.width - 2 * INSET_X) // 3, (plant.height - 2 * INSET_Y) // 3
    thirds = [(across, down) for down in range(3) for across in range(3)]
    cells = [Zone("plant", say("Plant"), plant.x + INSET_X + across * width, plant.y + INSET_Y + down * height, width, height)
             for across, down in thirds]  # fmt: skip
    # Where the middle of a part lies under the label, there is no plant to be tapped.
    parts = [cell for cell in cells if zone_at(found, *cell.centre) == plant]
    upon = [zone for zone in found if zone.name != "plant"]
    whole = Tap(say("Along the edge"), EDGE, _at(EDGE_AT))
    return (whole, *(Tap(_said_of(found, each), each, _at(each.centre)) for each in (*parts, *upon)))


def _drawn(number: str, marks: Sequence[Mark], place: tuple[int, int] | None, wrong: str) -> AnyResponse:
    with reading(house().database) as session:
        view, glues = to_inspect(session, number), adhesives(session)
    if view is None:
        return no_such_sheet()
    found = zones(view.size)
    usual, others = kinds_for(_zone_name(found, place))
    said = {"at": _at(place), "at_words": place_words(found, *place)} if place else {"at": "", "at_words": ""}
    return page("table/inspection.html", 422 if wrong else 200, view=view, zones=found, taps=taps(found),
                marks=_listed(number, marks, found), kept=[mark.text for mark in marks], **said, usual=usual, others=others,
                kinds=FINDINGS, wrong=wrong, note=request.args.get("note", "") if wrong else "",
                here=lambda tapped: _here(number, marks, tapped), adhesives=glues, fresh=secrets.token_urlsafe(16),
                back=_sent_back(marks), bagged=BAGGED, note_longest=NOTE_LONGEST)  # fmt: skip


def _zone_name(found: Sequence[Zone], place: tuple[int, int] | None) -> str:
    if place is None:
        return ""
    zone = zone_at(found, *place)
    return zone.name if zone else EDGE.name


def _said_of(found: Sequence[Zone], each: Zone) -> str:
    words = place_words(found, *each.centre)
    return words[:1].upper() + words[1:]


def _marks(texts: Iterable[str]) -> tuple[tuple[Mark, ...], str]:
    """The marks that are right, each once, and a sentence on what is wrong with the rest."""
    found: dict[Mark, None] = {}
    for text in filter(str.strip, texts):
        try:
            found[mark_of(text)] = None
        except ValueError as error:
            return tuple(found), str(error)
    kept = tuple(found)[:MOST_MARKS]
    return kept, say("{most} findings are enough for one look.", most=MOST_MARKS) if len(found) > MOST_MARKS else ""


def _told(kind: str, at: str) -> str:
    place = f"@{at}" if at else ""
    return f"{kind}{place} {request.args.get('note', '')}"


def _here(number: str, marks: Sequence[Mark], at: str = "") -> str:
    told: dict[str, Any] = {"at": at} if at else {}
    return url_for(
        "inspecting.show", number=number, m=[mark.text for mark in marks], _anchor="what" if at else None, **told
    )


def _listed(number: str, marks: Sequence[Mark], found: Sequence[Zone]) -> list[Marked]:
    return [Marked(place, mark, place_words(found, mark.x, mark.y), _here(number, [each for each in marks if each != mark]))
            for place, mark in enumerate(marks, 1)]  # fmt: skip


def _sent_back(marks: Sequence[Mark]) -> str:
    """What the button sends that gives a sheet back to the table: what was found is the reason, which has to be given."""
    # It is kept in the log, so in the words of the program.
    why = ", ".join(FINDINGS[mark.kind].words + (f" ({mark.note})" if mark.note else "") for mark in marks)
    return urlencode({"step": Step.BACK_TO_TABLE.value, **({"reason": why[:1].upper() + why[1:]} if why else {})})


def _at(place: tuple[int, int]) -> str:
    return f"{place[0]},{place[1]}"
