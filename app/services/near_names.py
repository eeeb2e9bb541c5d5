"""What the search needs to find a plant whose name has a letter wrong: the pieces of each word, kept beside the name."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import bindparam, delete, insert, select, update
from sqlalchemy.orm import Session

from app.db.models import NearName, PlantName, table_of
from app.domain.folding import folded_plant
from app.domain.nearness import LONGEST_WORD, pieces

NEAR = table_of(NearName)
PLANT = table_of(PlantName)
AT_ONCE = 2000


def learn(session: Session, names: Iterable[tuple[int, str]]) -> None:
    """Keep the pieces of new names: pairs of a name's row and its search key."""
    rows = [
        {"piece": piece, "plant_name_id": row_id}
        for row_id, key in names
        for piece in sorted({each for word in key.split() if len(word) <= LONGEST_WORD for each in pieces(word)})
    ]
    for first in range(0, len(rows), AT_ONCE):
        session.execute(insert(NEAR), rows[first : first + AT_ONCE])


def are_unlearned(session: Session) -> bool:
    """Whether the room has plants' names of which no pieces are kept, as an upgrade of the schema leaves it."""
    if session.execute(select(NEAR.c.piece).limit(1)).first() is not None:
        return False
    return session.execute(select(PLANT.c.id).where(PLANT.c.search_key != "").limit(1)).first() is not None


def learn_all(session: Session) -> None:
    """Fold every plant's name anew, and keep the pieces of all of them."""
    session.execute(delete(NEAR))
    keys = [(row.id, folded_plant(row.name)) for row in session.execute(select(PLANT.c.id, PLANT.c.name))]
    fold = update(PLANT).where(PLANT.c.id == bindparam("of_name")).values(search_key=bindparam("key"))
    if keys:
        session.execute(fold, [{"of_name": row_id, "key": key} for row_id, key in keys])
    learn(session, keys)
