"""Practice at a station: which room answers a request, and what the page and a kept scan say of it.

A browser whose station is set to practise is answered from the practice room, whatever it asks for. Where somebody is signed
in by password as well, only the station's own screen is: they see to the real room from there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from flask import Flask, current_app, g, request

from app.db.engine import reading
from app.domain.answer import WORDS, Answer
from app.domain.language import mark, say
from app.domain.numbers import shown
from app.domain.practice import REAL, practice_sheets
from app.queries.printed import shelf_labels, stack_cards
from app.services.practice_room import FILE_NAME, PracticeRoom, practice_pattern_of
from app.web.render import House, house, running_house
from app.web.security import Visitor, visitor

KEPT_AS = "blotter-practice"
MOST_CARDS = 12
ALWAYS_REAL = ("static", "doors.", "api.")
# Where stations are set up is the manager's page of the real room; the rest of `stations.` is a station's own screen.
SCREEN = ("stations.", "practice.", "line.")
SET_UP = frozenset(
    {"stations.every", "stations.add", "stations.enrol", "stations.leave", "practice.set", "practice.slips"}
)


@dataclass(frozen=True, slots=True)
class Practice:
    """What a page says of the practice that it belongs to: the mark that its scans carry, and by how many days its clock was
    moved on.
    """

    mark: str
    days: int


def set_up(app: Flask) -> None:
    """Answer from the practice room where people practise; after the door has let them in."""
    app.before_request(_step_in)
    app.context_processor(_told)


def practice_room() -> PracticeRoom:
    """The practice room of the running room."""
    kept: PracticeRoom = current_app.extensions.setdefault(
        KEPT_AS, PracticeRoom(running_house().config.data / FILE_NAME)
    )
    return kept


def practice_now() -> Practice | None:
    """The practice that this request belongs to; None in the real room."""
    found: Practice | None = g.get("practice")
    return found


def room_mark() -> str:
    """The mark of the room that answers this request: what a scan is made with, so that the other never writes it."""
    practice = practice_now()
    return practice.mark if practice is not None else REAL


def made_elsewhere(sent: Mapping[str, str]) -> Answer | None:
    """The answer to a scan that was made in the other room, or in a practice that was begun again since; None for any other.

    A scan that says nothing of it was made in the real room.
    """
    made_in = sent.get("room") or REAL
    if made_in == room_mark():
        return None
    practises = practice_now() is not None
    if made_in == REAL:
        line = say("This scan was made before this screen was set to practise; nothing was written.")
        next_ = say("Take the sheet to a real station, or write it on the paper form. Then load this page again.")
    else:
        line = say("This scan was made in a practice that is over; nothing was written.")
        on, over = (
            say("Load this page again, and practise on."),
            say("Load this page again. From here on it is real work."),
        )
        next_ = on if practises else over
    code = " ".join(sent.get("code", "").split())[:40]
    lines = (say("Scanned: {code}.", code=code), line) if code else (line,)
    refusal = {"code": "practice-screen", "words": line}
    return Answer("stop", say(WORDS["stop"]), lines, next_, refusals=(refusal,), status=422)


def cards_to_try(session: Any) -> list[tuple[str, list[tuple[str, str]]]]:
    """What a learner may scan by pressing a button: the practice slips by where they begin, and the cards of stacks and
    shelves; each group with its labels and codes.
    """
    pattern = practice_pattern_of(session)
    slips: dict[str, list[tuple[str, str]]] = {}
    for sheet in practice_sheets(pattern):
        slips.setdefault(say("Slips: {begins}", begins=say(sheet.start.value)), []).append(
            (shown(sheet.number, [pattern]), sheet.number)
        )
    stacks = [(say("{name} {side}", name=card.name, side=say(side)), code) for card in stack_cards(session)[:MOST_CARDS]
              for side, code in ((mark("off"), card.code_off), (mark("on"), card.code_on))]  # fmt: skip
    shelves = {label.cabinet: (say("{cabinet}, shelf {shelf}", cabinet=label.cabinet, shelf=label.shelf), label.code)
               for label in reversed(shelf_labels(session)) if label.shelf}  # fmt: skip
    found = [
        *slips.items(),
        (say("Stack cards"), stacks),
        (say("Shelf labels"), list(reversed(shelves.values()))[:MOST_CARDS]),
    ]
    return [(words, cards) for words, cards in found if cards]


def step_into(practice_house: House, practice: Practice) -> None:
    """From here on this request is answered from the practice room."""
    g.house, g.practice = practice_house, practice


def opened_practice() -> tuple[House, Practice]:
    """The practice room as a house of its own, on its own clock. ValueError while no station was ever set to practise."""
    real = running_house()
    with reading(real.database) as session:
        found = practice_room().opened(session, real.clock(), real.zone)
    mine = replace(real, database=found.database, clock=lambda: real.clock() + found.ahead, kept={})
    return mine, Practice(found.mark, found.ahead.days)


def forget_practised() -> None:
    """Begin practice again where anybody practised, so that what has gone from the room is gone from there too."""
    real = running_house()
    with reading(real.database) as session:
        practice_room().forget(session, real.clock(), real.zone)


def _step_in() -> None:
    endpoint, who = request.endpoint or "", visitor()
    if who.practises and not endpoint.startswith(ALWAYS_REAL) and _is_for_practice(endpoint, who):
        step_into(*opened_practice())


def _is_for_practice(endpoint: str, who: Visitor) -> bool:
    if endpoint in SET_UP:
        return False
    return who.worker_id is None or endpoint.startswith(SCREEN) or (endpoint == "sheets.one" and _is_practice_slip())


def _is_practice_slip() -> bool:
    number = str((request.view_args or {}).get("number", ""))
    with reading(house().database) as session:
        return practice_pattern_of(session).holds(number)


def _told() -> dict[str, object]:
    return {"practice": practice_now(), "room_mark": room_mark()}
