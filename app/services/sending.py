"""Duplicates that are free to go are sent in exchange: withdrawn together in one act, with one reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.domain.answer import Answer
from app.domain.consigned import SENT
from app.domain.errors import Refusal, Refused
from app.domain.holds import AWAY, HOLDS, stopping
from app.domain.language import say, say_n
from app.domain.numbers import shown
from app.domain.sheet import Standing
from app.domain.stages import STAGES, Stage, Step
from app.services.custody import Writing, enter_many, standing_of
from app.services.desk import Desk
from app.services.exchange import MOST, SUSPECTED, is_free, is_suspected, sheets_of
from app.services.facts import make_attempt, sheet_by_id, sheet_by_number
from app.services.many_sheets import NAMED, UNKNOWN, Left, answered, why_not
from app.services.wanted import end_wish
from app.services.writers import writing_for

MAY_LEAVE = (Stage.INTAKE, Stage.READY, Stage.DRY, Stage.FILED)


def send(desk: Desk, numbers: Sequence[str], whom: str, *, told: bool = False) -> Answer:
    """Withdraw these specimens, with all their sheets, because they are sent in exchange to somebody: one act, one reason.

    Those that are not free, or may not leave as they stand, stay and are named. Refused as a whole: not-signed-in,
    reason-needed where it is not said to whom, misread-number for none or too many.
    """
    _sending_may_be_asked(desk, numbers, whom)
    desk.request = replace(desk.request, reason=SENT + " ".join(whom.split()))
    going, done, left = list[tuple[int, Standing, Writing]](), list[str](), Left()
    for rows in _specimens(desk.session, numbers, left):
        whys = [why for row in rows if (why := _why_not(desk, row, told))]
        left += [{"number": rows[0]["number"], "why": whys[0]}] if whys else []
        if not whys:
            going += [_going(desk, row) for row in rows]
            done += [row["number"] for row in rows]
    if going:
        enter_many(desk, going)
    for number in done:
        row = sheet_by_number(desk.session, number)
        if row is not None and row["wanted_at"] is not None:
            end_wish(desk, row["id"], Step.WITHDRAW)
    return _said(desk, done, left)


def _specimens(session: Session, numbers: Sequence[str], left: Left) -> list[list[RowMapping]]:
    """The sheets of each specimen that is named and free; what is not is put to those that are left."""
    found = dict[int, list[RowMapping]]()
    for number in dict.fromkeys(numbers):
        row = sheet_by_number(session, number)
        if row is None or row["closed_as"] is not None or not is_free(session, row):
            left.append({"number": number[:40], "why": say(UNKNOWN) if row is None else say("it is not free to go.")})
        elif row["specimen_id"] not in found:
            found[row["specimen_id"]] = [sheet_by_id(session, each) for each in sheets_of(session, row)]
    return list(found.values())


def _why_not(desk: Desk, row: RowMapping, told: bool) -> str:
    standing = standing_of(row)
    held = [*stopping(standing.holds, Step.TAKE_UP), *sorted(standing.holds & AWAY)]
    if standing.stage not in MAY_LEAVE or standing.fresh or standing.place.table_id is not None:
        return say("it {state}.", state=_stands(standing))
    if held:
        return say("it is held: {state}.", state=HOLDS[held[0]].words)
    if is_suspected(desk.session, row) and not told:
        return say(SUSPECTED)
    return why_not(desk, row, make_attempt(desk, row, standing, Step.WITHDRAW))


def _stands(standing: Standing) -> str:
    if standing.place.table_id is not None:
        return say("lies on a table")
    if standing.stage is None:
        return say("is not taken in")
    stands = say(STAGES[standing.stage].stands)
    return say("{stands}, and is still fresh", stands=stands) if standing.fresh else stands


def _going(desk: Desk, row: RowMapping) -> tuple[int, Standing, Writing]:
    attempt = make_attempt(desk, row, standing_of(row), Step.WITHDRAW)
    return row["id"], attempt.sheet, replace(writing_for(desk, row, attempt), reason=attempt.reason)


def _sending_may_be_asked(desk: Desk, numbers: Sequence[str], whom: str) -> None:
    asked = (
        (not desk.by, Refusal("not-signed-in", say("Nobody is signed in here."), say("Sign in first."))),
        (
            not whom.strip(),
            Refusal("reason-needed", say("To whom are they sent?"), say("Say the herbarium's name."), "which-one"),
        ),
        (
            not 0 < len(numbers) <= MOST,
            Refusal("misread-number", say("Tick 1 to {most} of them.", most=MOST), say("Tick them in the list.")),
        ),
    )
    if found := [refusal for is_so, refusal in asked if is_so]:
        raise Refused(*found)


def _said(desk: Desk, done: Sequence[str], left: Left) -> Answer:
    lines = [
        say_n(
            "{n:,} sheet is withdrawn: {why}.", "{n:,} sheets are withdrawn: {why}.", len(done), why=desk.request.reason
        )
    ]
    lines += [
        say("{number} stays: {why}", number=shown(each["number"], desk.patterns), why=each["why"])
        for each in left[:NAMED]
    ]
    lines += [say_n("{n} more stays.", "{n} more stay.", len(left) - NAMED)] if len(left) > NAMED else []
    return answered(desk, Step.WITHDRAW, say("Sent."), lines, done, left)
