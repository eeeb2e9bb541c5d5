"""Numbers that do not read right: never chosen by their number, but by what is written on the sheet."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.engine import RowMapping

from app.db.models import Collector, PlantName, Sheet, table_of
from app.domain.answer import WORDS, Answer, Ask, Choice
from app.domain.errors import Refusal, Refused
from app.domain.folding import folded
from app.domain.language import say
from app.domain.numbers import shown
from app.domain.reading import Misread, Partial
from app.services.describing import describe
from app.services.desk import Desk
from app.services.facts import sheet_by_number

SHEET = table_of(Sheet)
ENOUGH = 6


def ask_misread(desk: Desk, reading: Misread) -> Answer:
    """Show the sheets that a wrongly read number could have been, none preferred; taking one asks for a second fact."""
    rows = _existing(desk, reading.could_be)
    if len(rows) == 1:
        rows = [*rows, *_neighbours(desk, rows[0])]
    words = say("The check character does not fit this number.")
    if not rows:
        raise Refused(
            Refusal(
                "misread-number",
                say("{misread} No sheet here has a number like it.", misread=words),
                say("Read it off the slip again."),
            )
        )
    choices = tuple(_choice(desk, row, needs_fact=True) for row in sorted(rows, key=_by_plant))
    return Answer(
        "which-one",
        WORDS["which-one"],
        (say("{misread} It could be:", misread=words),),
        say("Look at the label, not at the number."),
        refusals=({"code": "misread-number", "words": words, "could_be": [row["number"] for row in rows]},),
        choices=choices,
        carry={"code": reading.typed},
        status=422,
    )


def ask_partial(desk: Desk, reading: Partial) -> Answer:
    """Show the sheets that a shortened number may mean; it is only ever confirmed by a person, never done."""
    rows = _existing(desk, reading.could_be)
    words = say("This is only a part of a number.")
    if not rows:
        raise Refused(
            Refusal(
                "misread-number",
                say("{partial} No sheet here fits it.", partial=words),
                say("Scan or type the whole number."),
            )
        )
    choices = tuple(_choice(desk, row, needs_fact=False) for row in rows)
    return Answer(
        "which-one",
        WORDS["which-one"],
        (say("{partial} Do you mean:", partial=words),),
        say("Hold it against the label before you say yes."),
        refusals=({"code": "misread-number", "words": words, "could_be": [row["number"] for row in rows]},),
        choices=choices,
        carry={"code": reading.typed},
        status=422,
    )


def ask_second(desk: Desk, reading: Misread) -> Answer:
    """Ask for one more thing off the label of the sheet that was picked."""
    carry = {"code": reading.typed, "facts.read_as": str(desk.request.facts["read_as"])}
    ask = Ask("facts.second", say("The collector's number, or the plant's name, as the label has it"))
    return Answer(
        "which-one", WORDS["which-one"], (say("One more thing off its label, to be sure."),), ask=ask, carry=carry
    )


def chosen(desk: Desk, reading: Misread | Partial) -> RowMapping | None:
    """The sheet that was picked out of those offered, if its second fact fits what its label says."""
    number = desk.request.facts.get("read_as")
    if number is None:
        return None
    row = sheet_by_number(desk.session, str(number))
    offered = set(reading.could_be) | {other["number"] for other in _neighbours_of(desk, reading)}
    if row is None or row["number"] not in offered:
        raise Refused(
            Refusal("misread-number", say("That sheet was not among those offered."), say("Scan the number again."))
        )
    if isinstance(reading, Misread) and not _fits(desk, row, str(desk.request.facts.get("second", ""))):
        words = say("That does not fit what is known of this sheet.")
        raise Refused(
            Refusal(
                "misread-number", words, say("Type the collector's number or the plant's name as the label has it.")
            )
        )
    return row


def _existing(desk: Desk, numbers: Sequence[str]) -> list[RowMapping]:
    found = select(SHEET).where(SHEET.c.number.in_(numbers), SHEET.c.closed_as.is_(None)).order_by(SHEET.c.number)
    return list(desk.session.execute(found.limit(ENOUGH)).mappings())


def _neighbours(desk: Desk, row: RowMapping) -> list[RowMapping]:
    following = (
        select(SHEET).where(SHEET.c.number > row["number"], SHEET.c.closed_as.is_(None)).order_by(SHEET.c.number)
    )
    before = (
        select(SHEET).where(SHEET.c.number < row["number"], SHEET.c.closed_as.is_(None)).order_by(SHEET.c.number.desc())
    )
    for found in (following, before):
        rows = list(desk.session.execute(found.limit(1)).mappings())
        if rows:
            return rows
    return []


def _neighbours_of(desk: Desk, reading: Misread | Partial) -> list[RowMapping]:
    rows = _existing(desk, reading.could_be)
    return _neighbours(desk, rows[0]) if len(rows) == 1 and isinstance(reading, Misread) else []


def _choice(desk: Desk, row: RowMapping, *, needs_fact: bool) -> Choice:
    sheet = describe(desk.session, row, desk.patterns)
    place = "" if row["is_sensitive"] else row["locality"] or ""
    detail = " · ".join(filter(None, (sheet.detail, place)))
    return Choice(shown(row["number"], desk.patterns), "facts.read_as", row["number"], sheet.plant, detail, needs_fact)


def _by_plant(row: RowMapping) -> int:
    return int(row["plant_name_id"] or 0)


def _fits(desk: Desk, row: RowMapping, said: str) -> bool:
    key = folded(said)
    if not key:
        return False
    number = folded(row["record_number"] or "")
    names = select(PlantName.search_key).where(PlantName.id == row["plant_name_id"])
    collectors = select(Collector.search_key).where(Collector.id == row["collector_id"])
    known = [desk.session.execute(query).scalar() or "" for query in (names, collectors)]
    return key == number or any(key == text or (len(key) > 3 and key in text.split()) for text in known)
