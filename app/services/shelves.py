"""A whole shelf moved by scanning shelf and shelf: one scan, an entry for each sheet; what may not go is named and stays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.engine import RowMapping

from app.db.models import Sheet, Shelf, table_of
from app.domain.answer import WORDS, Answer, Choice
from app.domain.attempt import Attempt, ShelfFacts
from app.domain.errors import Refusal, Refused
from app.domain.holds import AWAY, HOLDS
from app.domain.language import mark, say, say_n
from app.domain.moves import refusals
from app.domain.numbers import COMMANDS, shown
from app.domain.sheet import Place, Standing
from app.domain.stages import Step
from app.domain.words import sheets_said
from app.services import saying
from app.services.custody import Writing, enter_many, standing_of
from app.services.describing import describe
from app.services.desk import QUESTION_STANDS, Desk, behind, somebody_is_here
from app.services.facts import make_attempt, place_words, shelf_facts
from app.services.places import scan_place
from app.services.shelf_words import Left, caution_lines, moved, shelf_name
from app.services.writers import writing_for

SHEET = table_of(Sheet)
SHELF = table_of(Shelf)
Going = list[tuple[int, Standing, Writing]]


def begin_whole_shelf(desk: Desk) -> Answer:
    """The card: ask which shelf is emptied; or, where it was chosen so, leave the shelf as it is."""
    if desk.station is None:
        raise Refused(
            Refusal(
                "unknown-station", say("A card is scanned at a station."), say("Name the shelves and the step shelve.")
            )
        )
    if Step.SHELVE not in desk.steps:
        words = say("Sheets are not put on shelves at this place.")
        raise Refused(Refusal("wrong-stage", words, say("Scan this card where they are.")))
    if desk.request.facts.get("leave"):
        desk.keep(pending=None)
        return Answer(
            "done", say("Left as it is."), (say("No sheet was moved."),), say("Scan a sheet, a shelf or a card.")
        )
    somebody_is_here(desk)
    desk.keep(last_sheet_id=None)
    _keep_question(desk, None)
    return _ask((say("A whole shelf is moved."),), say("Which shelf is emptied? Scan it."))


def scan_shelf(desk: Desk, place: Place) -> Answer:
    """A shelf was scanned: the next step of moving a whole one, or else where the sheet in the hands is put.

    A script names the shelf to empty as the code, and where its sheets go as cabinet and shelf.
    """
    if desk.request.step is Step.SHELVE and desk.request.cabinet:
        to = Place(desk.in_hand("cabinet_id"), desk.in_hand("shelf_id"))
        return _move_all(desk, _one_shelf(desk, place), to, desk.request.facts.get("all_but", ()))
    question = _question(desk)
    if question is None:
        return scan_place(desk, place)
    if question["whole_shelf"] is None:
        return _count_first(desk, place)
    return _answered(desk, place, question["whole_shelf"], question["all_but"])


def leave_on_shelf(desk: Desk, row: RowMapping) -> Answer | None:
    """While it is asked where a shelf's sheets go, one of them that is scanned is left out; None when nothing is asked."""
    question = _question(desk)
    if question is None or question["whole_shelf"] is None or desk.request.step is not None:
        return None
    shelf_id, left_out = question["whole_shelf"], list(dict.fromkeys((*question["all_but"], row["number"])))
    number, sheet = shown(row["number"], desk.patterns), describe(desk.session, row, desk.patterns)
    if row["shelf_id"] != shelf_id:
        line = _not_on(number, shelf_name(desk, shelf_id), place_words(desk.session, standing_of(row).place))
        next_ = say("It does not go with the others. Lay it aside, and scan it when they are moved.")
        return replace(_ask((line,), next_), sheet=sheet)
    _keep_question(desk, shelf_id, left_out)
    rest = len(_on(desk, shelf_id)) - len(left_out)
    line = say_n(
        "{number} is left out; {n} other would go.", "{number} is left out; {n} others would go.", rest, number=number
    )
    return replace(_ask((line,), say("Scan the next exception, or the shelf they go on.")), sheet=sheet)


def _not_on(number: str, shelf: str, where: str) -> str:
    if where:
        return say("{number} is not on {shelf} by the log: it is in {where}.", number=number, shelf=shelf, where=where)
    return say("{number} is not on {shelf} by the log.", number=number, shelf=shelf)


def _count_first(desk: Desk, place: Place) -> Answer:
    shelf_id = _one_shelf(desk, place)
    rows = _on(desk, shelf_id)
    if not rows:
        raise Refused(_empty(desk, shelf_id))
    _keep_question(desk, shelf_id)
    line = say(
        "{name}: {sheets}. Where do they go?", name=place_words(desk.session, place), sheets=sheets_said(len(rows))
    )
    return _ask(
        (line, *caution_lines(desk, rows)), say("Scan exceptions first, if there are any; then the shelf they go on.")
    )


def _answered(desk: Desk, to: Place, shelf_id: int, left_out: Sequence[str]) -> Answer:
    """Move what is asked about; as long as nothing went, the question stands."""
    if not _on(desk, shelf_id):
        # Somebody else has moved them meanwhile.
        _keep_question(desk, None)
        raise Refused(_empty(desk, shelf_id))
    answer = _move_all(desk, shelf_id, to, left_out)
    if answer.moved:
        desk.keep(pending=None)
        return answer
    _keep_question(desk, shelf_id, left_out)
    return replace(answer, choices=(_LEAVE,), carry=_CARD)


def _move_all(desk: Desk, shelf_id: int, to: Place, left_out: Sequence[str]) -> Answer:
    somebody_is_here(desk)
    _another_place(desk, shelf_id, to)
    rows, shelf = _on(desk, shelf_id), shelf_facts(desk.session, to.cabinet_id, to.shelf_id)
    if not rows or shelf is None:
        raise Refused(_empty(desk, shelf_id))
    going, left = _sorted_out(desk, rows, shelf, left_out)
    if going:
        enter_many(desk, going)
    ids = {sheet_id for sheet_id, _, _ in going}
    return moved(
        desk, (shelf_name(desk, shelf_id), shelf.name), [row["number"] for row in rows if row["id"] in ids], left
    )


def _sorted_out(
    desk: Desk, rows: Sequence[RowMapping], shelf: ShelfFacts, left_out: Sequence[str]
) -> tuple[Going, Left]:
    """What goes, each judged with those before it already there; and what stays, with the reason."""
    going, left = Going(), Left()
    for row in rows:
        there = replace(shelf, sheets=shelf.sheets + len(going))
        attempt = make_attempt(desk, row, standing_of(row), Step.SHELVE, shelf=there)
        why = say("left out.") if row["number"] in left_out else _why_not(desk, row, attempt)
        if why:
            left.append({"number": row["number"], "why": why})
        else:
            going.append((row["id"], attempt.sheet, replace(writing_for(desk, row, attempt), reason=attempt.reason)))
    return going, left


def _why_not(desk: Desk, row: RowMapping, attempt: Attempt) -> str:
    away = [HOLDS[kind].words for kind in HOLDS if kind in AWAY & attempt.sheet.holds]
    if away:
        # Nobody has it in the hands: that its shelf is moved does not bring it back.
        return say("{state} by the log. If it lies there, scan it by itself.", state=say(" and ").join(map(say, away)))
    if (late := behind(desk, row["last_at"])) is not None:
        return late.said(saying.desk_tell(desk))
    found = refusals(attempt)
    return " ".join(refusal.said(saying.desk_tell(desk)) for refusal in found)


def _one_shelf(desk: Desk, place: Place) -> int:
    if place.shelf_id is None:
        words = say(
            "{name} is a whole cabinet, and one shelf is emptied at a time.",
            name=place_words(desk.session, place),
        )
        next_ = say("Scan the shelf. What is on no shelf is scanned sheet by sheet.")
        raise Refused(Refusal("no-cabinet", words, next_, "which-one"))
    return place.shelf_id


def _another_place(desk: Desk, shelf_id: int, to: Place) -> None:
    if to.shelf_id == shelf_id:
        words = say("{name} is the shelf that is emptied.", name=shelf_name(desk, shelf_id))
        raise Refused(Refusal("no-cabinet", words, say("Scan the shelf they go on."), "which-one"))
    if (
        to.shelf_id is None
        and desk.session.execute(select(SHELF.c.id).where(SHELF.c.cabinet_id == to.cabinet_id)).first()
    ):
        words = say("{name} has several shelves.", name=place_words(desk.session, to))
        raise Refused(Refusal("no-cabinet", words, say("Scan the shelf of it they go on."), "which-one"))


def _empty(desk: Desk, shelf_id: int) -> Refusal:
    return Refusal(
        "wrong-cabinet",
        say("{name} is empty by the log.", name=shelf_name(desk, shelf_id)),
        say("Scan the shelf that is emptied."),
    )


def _on(desk: Desk, shelf_id: int) -> list[RowMapping]:
    """The sheets on a shelf by the log, by number; their rows are locked until the transaction ends."""
    found = select(SHEET).where(SHEET.c.shelf_id == shelf_id, SHEET.c.closed_as.is_(None)).order_by(SHEET.c.number)
    return list(desk.session.execute(found.with_for_update()).mappings())


def _question(desk: Desk) -> Mapping[str, Any] | None:
    """What is asked of a whole shelf here and still stands."""
    pending: Mapping[str, Any] = desk.in_hand("pending") or {}
    if "whole_shelf" not in pending:
        return None
    if desk.now - datetime.fromisoformat(pending["at"]) > QUESTION_STANDS:
        desk.keep(pending=None)
        return None
    return pending


def _keep_question(desk: Desk, shelf_id: int | None, left_out: Sequence[str] = ()) -> None:
    desk.keep(pending={"whole_shelf": shelf_id, "all_but": list(left_out), "at": desk.now.isoformat()})


def _ask(lines: Sequence[str], next_: str) -> Answer:
    return Answer("which-one", WORDS["which-one"], tuple(lines), next_, choices=(_LEAVE,), carry=_CARD)


_LEAVE = Choice(mark("Leave the shelf as it is"), "facts.leave", "yes")
_CARD = {"code": COMMANDS["whole-shelf"]}
