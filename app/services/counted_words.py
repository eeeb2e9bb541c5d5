"""What is said of a sheet that was scanned in a cabinet check: whether it belongs there, and what to do with it now."""

from __future__ import annotations

from typing import Any

from app.db.checked import reckoned
from app.domain.answer import Answer
from app.domain.checking import Fate, Lies, Reckoned
from app.domain.consigned import why_closed
from app.domain.language import mark, say
from app.domain.sheet import Place
from app.services.checks import progress
from app.services.custody import standing_of
from app.services.describing import describe
from app.services.desk import Desk
from app.services.facts import place_words
from app.services.saying import desk_tell

TROLLEY = mark("Leave it out on the trolley: it is taken there when the check is through.")


def said_of(desk: Desk, check: Any, row: Any, counted: bool, back: tuple[str, ...]) -> Answer:
    """The answer to a sheet that was just counted; `counted` when it had been before, `back` what is said of one that was away."""
    found = reckoned(desk.session, check, row["id"])[0]
    kind, word, lines, next_ = _by_fate(desk, check, row, found)
    if counted:
        word, lines = say("Already counted."), (*(() if kind == "done" else (word,)), *lines)
    sheet = describe(desk.session, row, desk.patterns)
    return Answer(kind, word, (*back, *lines, progress(desk, check)), next_, sheet)


def _by_fate(desk: Desk, check: Any, row: Any, found: Reckoned) -> tuple[Any, str, tuple[str, ...], str]:
    if found.fate is Fate.WRONG_SHELF:
        where = belongs_words(desk, found.belongs)
        put = say("Put it there.") if check.shelf_id is None else TROLLEY
        return (
            "stop",
            say("Wrong shelf."),
            (say("It belongs in {where}.", where=where) if where else say("It belongs on no shelf of it."),),
            put,
        )
    if found.fate is Fate.CLOSED:
        line = say("By the log it is withdrawn: {closed_as}.", closed_as=why_closed(row["closed_as"]))
        return "stop", say("Withdrawn."), (line,), say("Leave it out, with a slip. The manager decides.")
    if found.fate is Fate.ELSEWHERE:
        return "stop", say("Not its place."), (_elsewhere(desk, row, found),), TROLLEY
    lines = (
        (say("It is not one of those drawn, and it is in its place."),)
        if found.fate is Fate.NOT_DRAWN
        else _since(desk, found)
    )
    return "done", say("Found."), lines, say("Put it back. Scan the next.")


def belongs_words(desk: Desk, lies: Lies) -> str:
    """Where a sheet belongs by the log, in words; empty when nobody has said."""
    if lies.cabinet_id is not None:
        return place_words(desk.session, Place(lies.cabinet_id, lies.shelf_id))
    return lies.where


def _elsewhere(desk: Desk, row: Any, found: Reckoned) -> str:
    place = standing_of(row).place
    where = place_words(desk.session, place) or belongs_words(desk, found.belongs)
    if found.turn is not None and found.expected:
        at = desk_tell(desk)(found.turn.happened_at)
        if where:
            return say("By the log it left at {hour} for {place}.", hour=at, place=where)
        return say("By the log it left at {hour}.", hour=at)
    if place.table_id is not None:
        return say("By the log it is at {where}.", where=where)
    return (
        say("By the log it belongs in {where}.", where=where)
        if where
        else say("By the log nobody has said where it belongs.")
    )


def _since(desk: Desk, found: Reckoned) -> tuple[str, ...]:
    if found.fate is Fate.CAME and found.turn is not None:
        return (
            say(
                "It came at {hour}, when the check had begun.",
                hour=desk_tell(desk)(found.turn.happened_at),
            ),
        )
    return ()
