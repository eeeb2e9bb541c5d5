"""The orders of a list of sheets, and the place in it where a page ended: the next begins behind it, whatever came or went."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, case, func, literal, select, tuple_
from sqlalchemy.orm import Session

from app.db.models import PlantName, Sheet, table_of
from app.domain.language import mark

SHEET = table_of(Sheet)
PLANT = table_of(PlantName)
ORDERS = {
    "waited": mark("longest waiting"),
    "number": mark("number"),
    "plant": mark("plant name"),
    "family": mark("family"),
}
BY_NAME = ("plant", "family")
NO_PLACE = mark("This is no place in the list. Begin at its first page.")

_PLANT = func.coalesce(PLANT.c.search_key, "")
_UNNAMED = case((PLANT.c.id.is_(None), 1), else_=0)
_NO_FAMILY = case((func.coalesce(PLANT.c.family, "") == "", 1), else_=0)
_FAMILY = func.coalesce(PLANT.c.family, "")
# Not a column any more: a few rows are sorted, where the index of all numbers would be walked from end to end for them.
_NUMBER_OF_FEW = SHEET.c.number.concat("")
_KEYS: dict[str, tuple[ColumnElement[Any], ...]] = {
    "waited": (SHEET.c.came_at, SHEET.c.id),
    "number": (_NUMBER_OF_FEW,),
    "plant": (_UNNAMED, _PLANT, _NUMBER_OF_FEW),
    "family": (_NO_FAMILY, _FAMILY, _UNNAMED, _PLANT, _NUMBER_OF_FEW),
}
_OF_ALL = (SHEET.c.number,)


def page_of_ids(session: Session, where: Sequence[ColumnElement[bool]], order: str, after: str, limit: int, *,
                of_all: bool = False) -> tuple[list[int], str]:  # fmt: skip
    """The ids of one page in this order, and the mark to ask for the next page by; it is empty at the end.

    `of_all`: next to nothing is left out, so the index of the numbers is walked. ValueError for a mark no page gave.
    """
    keys = _OF_ALL if of_all and order == "number" else _KEYS[order]
    statement = _joined(order, select(SHEET.c.id, *keys)).where(*where).order_by(*keys).limit(limit + 1)
    if order == "waited":
        statement = statement.where(SHEET.c.came_at.is_not(None))
    if after:
        statement = statement.where(_behind(keys, _PLACES[order](after)))
    rows = session.execute(statement).all()
    more = len(rows) > limit
    return [row[0] for row in rows[:limit]], _MARKS[order](rows[limit - 1][1:]) if more else ""


def _joined(order: str, statement: Select[Any]) -> Select[Any]:
    if order not in BY_NAME:
        return statement.select_from(SHEET)
    return statement.select_from(SHEET).outerjoin(PLANT, PLANT.c.id == SHEET.c.plant_name_id)


def _behind(keys: Sequence[ColumnElement[Any]], values: Sequence[Any]) -> ColumnElement[bool]:
    places = [literal(value, key.type) for key, value in zip(keys, values, strict=True)]
    return tuple_(*keys) > tuple_(*places) if len(keys) > 1 else keys[0] > places[0]


def _moment_and_id(after: str) -> tuple[datetime, int]:
    moment, _, sheet_id = after.partition(" ")
    try:
        came_at, last = datetime.fromisoformat(moment), int(sheet_id)
    except ValueError:
        raise ValueError(NO_PLACE) from None
    if came_at.tzinfo is None or not 0 <= last < 2**63:
        raise ValueError(NO_PLACE)
    return came_at, last


def _names(*types: type) -> Callable[[str], tuple[Any, ...]]:
    def place(after: str) -> tuple[Any, ...]:
        try:
            found = json.loads(after)
            after.encode(), json.dumps(found, ensure_ascii=False).encode()
        except (ValueError, RecursionError):
            raise ValueError(NO_PLACE) from None
        fits = isinstance(found, list) and [type(each) for each in found] == list(types)
        if not fits or any(isinstance(each, int) and each not in (0, 1) for each in found):
            raise ValueError(NO_PLACE)
        return tuple(found)

    return place


_PLACES: dict[str, Callable[[str], tuple[Any, ...]]] = {
    "waited": _moment_and_id,
    "number": lambda after: (after,),
    "plant": _names(int, str, str),
    "family": _names(int, str, int, str, str),
}
_MARKS: dict[str, Callable[[Sequence[Any]], str]] = {
    "waited": lambda values: f"{values[0].isoformat()} {values[1]}",
    "number": lambda values: str(values[0]),
    "plant": lambda values: json.dumps(list(values), ensure_ascii=False),
    "family": lambda values: json.dumps(list(values), ensure_ascii=False),
}
