"""What the manager does with a check: closing it, breaking it off, and writing sheets where they were found."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from sqlalchemy import update
from sqlalchemy.engine import RowMapping

from app.db.checked import reckoned
from app.domain.answer import Answer
from app.domain.checking import Fate
from app.domain.errors import Refusal, Refused
from app.domain.language import ENGLISH, say, say_n, speaking
from app.domain.moves import refusals
from app.domain.numbers import shown
from app.domain.sheet import Place, Standing
from app.domain.stages import Step
from app.domain.words import dated, sheets_said
from app.services.checks import CHECK, cabinet_entry, check_by_id, check_name
from app.services.custody import Writing, enter_many, standing_of
from app.services.desk import Desk, behind
from app.services.facts import make_attempt, place_words, sheet_by_id, shelf_facts
from app.services.saying import desk_tell
from app.services.sheets import take_step

NOT_FOUND = "not-found"
Missing = list[tuple[int, Standing, Writing]]


def close_check(desk: Desk, check_id: int) -> Answer:
    """Close a check that is through: what was expected and not found is held as not found, under one scan.

    Refused: manager-only, out-of-order for one that is closed already or not through.
    """
    check = _to_close(desk, check_id)
    if check.done_at is None:
        words = say(
            "The check of {name} is not through: what was not scanned yet is not missing.", name=check_name(desk, check)
        )
        raise Refused(Refusal("out-of-order", words, say("Go on with it, say that it is done, or break it off.")))
    missing = [each for each in reckoned(desk.session, check) if each.fate is Fate.MISSING]
    holds, reason = Missing(), _reason(desk, check)
    for each in missing:
        row = sheet_by_id(desk.session, each.sheet_id)
        if behind(desk, row["last_at"]) is None and NOT_FOUND not in row["holds"].split():
            holds.append((each.sheet_id, standing_of(row), _held(desk, check, row, reason)))
    if holds:
        enter_many(desk, holds)
    _close(desk, check, len(missing))
    line = say_n("{n} sheet not found, and held so until somebody scans it.",
                 "{n} sheets not found, and held so until somebody scans them.", len(missing))  # fmt: skip
    return Answer("done", say("Closed."), (line if missing else say("Nothing is missing."),), "")


def break_off(desk: Desk, check_id: int) -> Answer:
    """Close a check that nobody goes on with: nothing is called missing by it. Refused: manager-only, reason-needed."""
    check = _to_close(desk, check_id)
    if not desk.request.reason.strip():
        raise Refused(
            Refusal("reason-needed", say("A reason is needed; it stays with the check."), say("Say why."), "which-one")
        )
    if check.done_at is not None:
        desk.session.execute(update(CHECK).where(CHECK.c.id == check.id).values(done_at=None))
    _close(desk, check, 0)
    return Answer("done", say("Broken off."), (say("What was seen stays written; nothing is called missing."),), "")


def write_there(desk: Desk, check_id: int, sheet_ids: Iterable[int]) -> Answer:
    """Write sheets that were found elsewhere than the log says where they were found; each by the rules of any shelf.

    What may not lie there is named with its reason, and left for somebody to carry. Refused: manager-only.
    """
    check = check_by_id(desk, check_id)
    _is_manager(desk)
    asked = set(sheet_ids)
    found = [each for each in reckoned(desk.session, check)
             if each.sheet_id in asked and each.fate in (Fate.ELSEWHERE, Fate.WRONG_SHELF)]  # fmt: skip
    moved, left = [], []
    for each in found:
        row = sheet_by_id(desk.session, each.sheet_id)
        place = Place(check.cabinet_id, each.shelf_id or check.shelf_id)
        why = _shelve(desk, row, place)
        if why:
            left.append({"number": row["number"], "why": why})
        else:
            moved.append(row["number"])
    lines = (
        [say("{sheets} written in {name}.", sheets=sheets_said(len(moved)), name=check_name(desk, check))]
        if moved
        else []
    )
    lines += [f"{shown(each['number'], desk.patterns)}: {each['why']}" for each in left]
    word = say("Written.") if moved else say("Nothing was written.")
    return Answer("done" if moved else "stop", word, tuple(lines), "", moved=tuple(moved), left=tuple(left))


def _shelve(desk: Desk, row: RowMapping, place: Place) -> str:
    """Write one sheet on a shelf; why not, if it may not lie there."""
    shelf = shelf_facts(desk.session, place.cabinet_id, place.shelf_id)
    attempt = make_attempt(desk, row, standing_of(row), Step.SHELVE, shelf=shelf)
    if (late := behind(desk, row["last_at"])) is not None:
        return late.said(desk_tell(desk))
    if found := refusals(attempt):
        return " ".join(refusal.said(desk_tell(desk)) for refusal in found)
    desk.keep(cabinet_id=place.cabinet_id, shelf_id=place.shelf_id)
    desk.request = replace(desk.request, step=Step.SHELVE, reason="Found there in the cabinet check.")
    take_step(desk, row, attempt.sheet, Step.SHELVE)
    return ""


def _to_close(desk: Desk, check_id: int) -> Any:
    _is_manager(desk)
    check = check_by_id(desk, check_id)
    if check.closed_at is not None:
        words = say("This check of {name} is closed already.", name=check_name(desk, check))
        raise Refused(Refusal("out-of-order", words, say("Begin another one.")))
    return check


def _is_manager(desk: Desk) -> None:
    if not desk.request.manages:
        raise Refused(Refusal("manager-only", say("Only the manager closes a check."), say("Ask the manager.")))


@speaking(ENGLISH)
def _held(desk: Desk, check: Any, row: RowMapping, reason: str) -> Writing:
    was = standing_of(row)
    where = place_words(desk.session, was.place)
    last = f" Last place {where}." if where else ""
    return Writing(
        Step.PUT_HOLD, was.stage, was.place, holds=(NOT_FOUND,), facts={"check": check.id}, reason=reason + last
    )


@speaking(ENGLISH)
def _reason(desk: Desk, check: Any) -> str:
    return (
        f"Not there in the check of {check_name(desk, check)} of {dated(check.begun_at, desk.occasion.zone, desk.now)}."
    )


def _close(desk: Desk, check: Any, missing: int) -> None:
    why = desk.request.reason.strip()
    facts = {"check": check.id, "missing": missing}
    cabinet_entry(desk, check.cabinet_id, Step.CLOSE_CHECK, facts, why)
    values = {"closed_at": desk.happened_at, "closed_by": desk.by[0].worker_id if desk.by else None, "why": why or None}
    desk.session.execute(update(CHECK).where(CHECK.c.id == check.id).values(**values))
