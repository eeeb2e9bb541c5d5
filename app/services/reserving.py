"""Numbers on their way in: those of a file that is being taken in belong to its sheets, whoever else asks for them."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.db.models import TakenFile, TakenRow, table_of
from app.db.prepared import prepared
from app.domain.errors import Refusal, Refused
from app.domain.language import say

FILE, ROW = table_of(TakenFile), table_of(TakenRow)
UNDER_WAY = ("checked", "going")

_NUMBERS = ROW.c.number.in_(bindparam("numbers", expanding=True))
_RESERVED = prepared(
    select(ROW.c.number, FILE.c.name)
    .join(FILE, FILE.c.id == ROW.c.file_id)
    .where(_NUMBERS, FILE.c.state.in_(UNDER_WAY), ROW.c.file_id != bindparam("but"))
)
_ANY = prepared(select(FILE.c.id).where(FILE.c.state.in_(UNDER_WAY)).limit(1))


def reserved(session: Session, numbers: Sequence[str], but: int = 0) -> dict[str, str]:
    """Which of these numbers belong to files on their way in, and the file's name; `but` is a file left aside."""
    if not numbers or session.execute(_ANY).first() is None:
        return {}
    found = {"numbers": list(numbers), "but": but}
    return {row.number: row.name for row in session.execute(_RESERVED, found)}


def refuse_reserved(session: Session, number: str, said: str) -> None:
    """Refused: number-taken, for the number of a sheet that is just being taken in with a file."""
    if name := reserved(session, [number]).get(number):
        words = say("The sheet {number} is just being taken in with the file {file}.", number=said, file=name[:60])
        raise Refused(Refusal("number-taken", words, say("Keep it here, and scan it again when the file is in.")))
