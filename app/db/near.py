"""Plants whose names have one letter unlike what was typed, for those who read and for those who write."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.db.models import NearName, PlantName, table_of
from app.db.prepared import prepared
from app.domain.nearness import LEAST_BEGUN, LONGEST_WORD, is_near, least, pieces

NEAR = table_of(NearName)
PLANT = table_of(PlantName)
MOST_WORDS = 6
# Of a word that is still being typed many names may be meant: so many of each beginning are looked at.
MOST_BEGUN = 300
# Past every letter that a folded key holds, so that a beginning is a range of the index.
AFTER_ALL = "\U0010ffff"

_NAMES = select(PLANT.c.id, PLANT.c.search_key).join(NEAR, NEAR.c.plant_name_id == PLANT.c.id)
_WHOLE = prepared(_NAMES.where(NEAR.c.piece.in_(bindparam("pieces", expanding=True))))
_BEGUN = prepared(
    _NAMES.where(NEAR.c.piece >= bindparam("low"), NEAR.c.piece < bindparam("high")).limit(bindparam("most"))
)


def near_plants(session: Session, key: str, most: int) -> list[int]:
    """The plants' names that fit this folded key but for one letter of one word, by the alphabet; at most so many.

    Whole words are all found; of a last word that is only begun (5 letters at least), the first names of each piece.
    """
    words = key.split()
    if len(words) > MOST_WORDS or any(len(word) > LONGEST_WORD or not word.isalpha() for word in words):
        return []
    found: dict[int, str] = {}
    for rows in _whole(session, words):
        _keep(found, rows, key)
    for rows in _begun(session, words) if len(found) < most else ():
        _keep(found, rows, key)
        if len(found) >= most:
            break
    return sorted(found, key=lambda row_id: (found[row_id], row_id))[:most]


def _keep(found: dict[int, str], rows: Iterable[Any], key: str) -> None:
    # The same name comes by several of its pieces.
    found.update((row_id, name) for row_id, name in dict(map(tuple, rows)).items() if is_near(name, key))


def _whole(session: Session, words: list[str]) -> Iterator[Iterable[Any]]:
    for word in words:
        if len(word) >= least(len(words)):
            yield session.execute(_WHOLE, {"pieces": sorted(pieces(word))})


def _begun(session: Session, words: list[str]) -> Iterator[Iterable[Any]]:
    if words and len(words[-1]) >= LEAST_BEGUN:
        for piece in sorted(pieces(words[-1])):
            yield session.execute(_BEGUN, {"low": piece, "high": piece + AFTER_ALL, "most": MOST_BEGUN})
