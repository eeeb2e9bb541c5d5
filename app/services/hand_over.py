"""Hand-overs to the collection's catalogue: made of what was filed and changed since the last, received, or called back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import islice
from zoneinfo import ZoneInfo

from sqlalchemy import func, insert, select
from sqlalchemy.engine import RowMapping
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.db.bulk import insert_many
from app.db.hand_over_due import CALLED_BACK, HAND_OVER, HANDED, WORD, DueSheet, due_sheets, hold_the_log, last_entry
from app.db.rules import room_house
from app.domain.language import say
from app.domain.out_told import as_kept
from app.services.changes import changed
from app.services.codes_given import HAND_OVERS, next_number

# So many are told at once that nobody waits for it; what is left lies ready for the next.
MOST = 5_000


def make_hand_over(session: Session, to_whom: str, now: datetime, zone: ZoneInfo, by: int | None, *,
                   exact_places: bool = False) -> int:  # fmt: skip
    """Make the next hand-over of all that is due, MOST sheets of it, and return its number. It stays as it is.

    ValueError, in a sentence, where nobody is named or nothing is due.
    """
    if not (to_whom := " ".join(to_whom.split())):
        raise ValueError(say("Say who takes it."))
    hold_the_log(session)
    last = last_entry(session)
    found = list(islice(due_sheets(session, zone), MOST + 1))
    if not found:
        raise ValueError(say("Nothing was filed or changed since the last hand-over."))
    # What was found by a later entry is found again by it; so is one of these that has such an entry.
    lines, until = found[:MOST], found[MOST].entry_id - 1 if len(found) > MOST else last
    corrections = sum(each.corrects_id is not None for each in lines)
    number = next_number(session, HAND_OVERS)
    values = {"id": number, "made_at": now, "made_by": by, "until_entry_id": until, "sheets": len(lines),
              "corrections": corrections, "exact_places": exact_places,
              "with_names": room_house(session)[0].hand_over_names}  # fmt: skip
    session.execute(insert(HAND_OVER).values(**values))
    _write(session, number, lines)
    _say(session, number, "made", to_whom, now, by)
    changed(session, now, by, "hand-over", number, "made", new=f"{len(lines)} sheets", why=to_whom)
    return number


def receive_hand_over(session: Session, number: int, who: str, now: datetime, by: int | None) -> None:
    """Write down that a hand-over was received, and by whom. ValueError, in a sentence, for one that is not to be received."""
    if not (who := " ".join(who.split())):
        raise ValueError(say("Say who received it."))
    _open(session, number)
    _say(session, number, "received", who, now, by)
    changed(session, now, by, "hand-over", number, "received", why=who)


def call_back_hand_over(session: Session, number: int, why: str, now: datetime, by: int | None) -> None:
    """Take the last hand-over back, as long as nobody has received it: what it told is due again.

    ValueError, in a sentence, without a reason, and for one that was received or has another after it.
    """
    if not (why := " ".join(why.split())):
        raise ValueError(say("Say why; it stays in the history."))
    _open(session, number)
    later = select(func.max(HAND_OVER.c.id)).where(HAND_OVER.c.id.not_in(CALLED_BACK))
    if session.execute(later).scalar() != number:
        raise ValueError(say("Only the last hand-over can be called back. A later one tells what has changed since."))
    _say(session, number, "called-back", why, now, by)
    changed(session, now, by, "hand-over", number, "called back", why=why)


def _write(session: Session, number: int, lines: Sequence[DueSheet]) -> None:
    rows = [
        (place, each.sheet_id, each.key, each.corrects_id, " ".join(each.what) or None, as_kept(each.told))
        for place, each in enumerate(lines, 1)
    ]
    columns = ("place", "sheet_id", "key", "corrects_id", "what", "told")
    insert_many(session, HANDED, columns, rows, {"hand_over_id": number})


def _open(session: Session, number: int) -> RowMapping:
    row = session.execute(select(HAND_OVER).where(HAND_OVER.c.id == number)).mappings().one_or_none()
    if row is None:
        raise ValueError(say("There is no hand-over {number}.", number=number))
    said = set(session.execute(select(WORD.c.deed).where(WORD.c.hand_over_id == number)).scalars())
    if "received" in said:
        raise ValueError(say("Hand-over {number} was received already.", number=number))
    if "called-back" in said:
        raise ValueError(say("Hand-over {number} was called back.", number=number))
    return row


def _say(session: Session, number: int, deed: str, words: str, now: datetime, by: int | None) -> None:
    values = {"hand_over_id": number, "deed": deed, "said_at": now, "said_by": by, "words": words}
    try:
        with session.begin_nested():
            session.execute(insert(WORD).values(**values))
    except IntegrityError as error:
        raise ValueError(say("Somebody else has just said so. Load the page again.")) from error
