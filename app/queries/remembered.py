"""What was read once is kept until something was written: for readings that cost more than asking whether it was."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from datetime import datetime
from typing import Any, TypeVar, cast

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Change, Entry
from app.queries.waiting import Judge

Found = TypeVar("Found")
_MARK = select(
    select(func.coalesce(func.max(Entry.id), 0)).scalar_subquery(),
    select(func.coalesce(func.max(Change.id), 0)).scalar_subquery(),
)


def remembered(session: Session, name: str, key: Hashable, read: Callable[[], Found]) -> Found:
    """What `read` gives, read anew after every entry and every change to the room, and whenever the key is another.

    The key holds whatever else the reading depends on: for what follows from the time, the time, or what tells as much.
    """
    kept: dict[str, Any] = session.info["database"].kept
    mark = (*session.execute(_MARK).one(), key)
    known = kept.get(name)
    if known is None or known[0] != mark:
        known = kept[name] = (mark, read())
    return cast(Found, known[1])


def hour_that_matters(judged: Judge) -> datetime | None:
    """The moment, where the house asks for the freezer: a treatment wears off, and then a sheet waits for something else. None
    where it does not ask: nothing that is remembered changes by itself then.
    """
    treats = judged.house.treat_before_filing or judged.house.treat_before_mounting
    return judged.now if treats else None
