"""Why a filed sheet is brought back, and why one leaves for good: the usual reasons, with what is added in words."""

from __future__ import annotations

from app.domain.consigned import GIVEN, SENT
from app.domain.language import mark

OTHER = "other"
# Why a filed sheet comes back to be worked on; common practice, no source. The log keeps them in English.
BACK: dict[str, str] = {
    "determination": mark("to be determined anew"),
    "damage": mark("damage was seen"),
    "loan": mark("it goes on loan"),
    "label": mark("its label is to be changed"),
    OTHER: mark("something else"),
}
# Why a sheet is withdrawn, with what is asked then. A collection tells who gave it which of these it was.
WITHDRAWN: dict[str, str] = {
    "exchange": mark("sent in exchange"),
    "given": mark("given to another collection"),
    "destroyed": mark("destroyed"),
    "not-kept": mark("not to be kept"),
    OTHER: mark("something else"),
}
TO_WHOM = frozenset({"exchange", "given"})


def back_reason(why: str, more: str) -> str:
    """The reason for bringing a sheet back, as its log keeps it; empty where "something else" is not said in words."""
    more = " ".join(more.split())
    if why == OTHER or why not in BACK:
        return more
    words = BACK[why][0].upper() + BACK[why][1:]
    return f"{words}: {more}" if more else words


def withdrawn_reason(why: str, more: str) -> str:
    """The reason for withdrawing a sheet, and where it went; empty where it is not said to whom, or what else it is."""
    more = " ".join(more.split())
    if why not in WITHDRAWN or (not more and why in TO_WHOM | {OTHER}):
        return ""
    if why == "exchange":
        return SENT + more
    if why == "given":
        return GIVEN + more
    if why == OTHER:
        return more
    return ": ".join(filter(None, (WITHDRAWN[why], more)))
