"""A pest is seen: what is said to whoever holds the sheet, and what may be chosen. The reasons are the log's own words."""

from __future__ import annotations

from datetime import timedelta

from app.domain.language import mark, say
from app.domain.stages import Stage

STOP = mark("Stop. Bag it.")
# The outcome of an inspection that a pest ended: nothing is inspected, the sheet goes into quarantine.
BAGGED = "bag-it"
BAG_IT = mark("Close it in a bag here. Do not carry it open through the room. Tell the manager.")
SHUT_IT = mark(
    "Shut it now, and take nothing out. What is in your hands: close it in a bag here. "
    "Do not carry it open through the room. Tell the manager."
)
# What the log keeps as the reason, in English.
SEEN = "A pest was seen on it."
SEEN_THERE = "A pest was seen in {place}."
SEEN_WITH = "A pest was seen in what came with {consignment}."
# What was scanned so shortly before the card is what the card is about (common practice, no source).
JUST_SCANNED = timedelta(minutes=2)
# A question that somebody walked away from is not answered by the next one's scan (common practice, no source).
QUESTION_STANDS = timedelta(minutes=5)
# How far back a sighting looks until somebody says since when: about one brood of the common herbarium beetles at room
# temperature (from memory, no source).
LOOKS_BACK = timedelta(days=60)


def what_now(stage: Stage | None) -> str:
    """What to do with the sheet in the hands on which a pest was seen; neither wet glue nor a damp plant stays in a bag."""
    afterwards = _AFTERWARDS.get(stage, "") if stage is not None else ""
    return " ".join(filter(None, (say(BAG_IT), say(afterwards))))


_AFTERWARDS: dict[Stage, str] = {
    Stage.INTAKE: mark("If it is damp, it is dried apart from all others."),
    Stage.DRYING: mark("It is still damp: it is dried apart from all others."),
    Stage.MOUNTED: mark("Its glue is wet: it goes under weight in a stack of its own, and from there into a bag."),
    Stage.UNDER_PRESS: mark(
        "If it lies in its stack, leave it there: when its time has come, it comes out straight into a bag."
    ),
}
