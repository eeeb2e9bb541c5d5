"""Proving who one is with a password or a PIN: the try is counted first, then looked at, and no scan waits meanwhile."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from threading import BoundedSemaphore
from typing import Any, TypeVar

from app.db.engine import reading, transaction
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.services.tries import Lock, note_try, was_right
from app.web.render import house, now

Found = TypeVar("Found")
# Looking at a password takes tens of milliseconds and of megabytes by design. The other threads stay for the stations.
AT_ONCE = 3
_looking = BoundedSemaphore(AT_ONCE)


def proved(locks: Sequence[Lock], check: Callable[[Any], Found | None]) -> Found | None:
    """What `check` finds, None for a wrong try. Refused while a lock is shut, or too many are looked at already."""
    if not _looking.acquire(blocking=False):
        words = say("Too many are signing in at this moment.")
        raise Refused(Refusal("manager-only", words, say("Wait a moment, then send it again.")))
    try:
        with transaction(house().database) as session:
            note_try(session, locks, now())
        # Not in the transaction, or every station would wait as long as the look takes.
        with reading(house().database) as session:
            found = check(session)
    finally:
        _looking.release()
    if found is not None:
        with transaction(house().database) as session:
            was_right(session, locks)
    return found
