"""The cast of the invented museum: who works in the room and on which days, who collected, and where."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Person:
    """One worker: a short name to call them by, the full name, and the rights they hold."""

    who: str
    name: str
    rights: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Crew:
    """Who does what on one day; `extra` comes for an hour when something special is to be done."""

    table: str
    second: str
    press: str
    round: str
    extra: str


MANAGER = "hedda"
LEFT, CAME = "marten", "tamsin"
CAST: tuple[Person, ...] = (
    Person("hedda", "Hedda Brackwater", ("manager", "trainer", "volunteer")),
    Person("rosamund", "Rosamund Ashgill", ("trainer", "volunteer")),
    Person("olwen", "Olwen Tarrant", ("volunteer",)),
    Person("piet", "Piet Lindqvist", ("volunteer",)),
    Person("bram", "Bram Hallowell", ("volunteer",)),
    Person("odile", "Odile Ferrand", ("volunteer",)),
    Person("marten", "Marten Sleightholme", ("volunteer",)),
    Person("ines", "Ines Caldwell", ("reader",)),
)
NEWCOMER = Person("tamsin", "Tamsin Yewdale", ("volunteer",))

# Monday to Friday; on a weekday of somebody's own the same faces come back.
_WEEK: tuple[Crew, ...] = (
    Crew(table="olwen", second="rosamund", press="piet", round="odile", extra="bram"),
    Crew(table="bram", second="rosamund", press="odile", round=CAME, extra="hedda"),
    Crew(table="piet", second="olwen", press=CAME, round="bram", extra="rosamund"),
    Crew(table="odile", second="rosamund", press="bram", round="piet", extra="hedda"),
    Crew(table=CAME, second="olwen", press="odile", round="piet", extra="rosamund"),
)

COLLECTORS: tuple[str, ...] = ("A. Birkrigg", "M. Thornlea", "S. Harrowgill", "I. Caldwell", "K. Wath")
OLD_COLLECTORS: tuple[str, ...] = ("T. Askerdale", "E. M. Askerdale", "W. Fenwicke-Rudd")
LOCALITIES: tuple[str, ...] = (
    "Quillmoor Fells, north side of Great Sleight, flush at 410 m",
    "Quillmoor Fells, Hollin Gill, wet ledges",
    "Skarn Tarn, east shore, stony margin",
    "Skarn Tarn, outflow, sedge fen",
    "Oxholme Meadows, hay meadow by the barn",
    "Oxholme Meadows, river bank below the weir",
    "Hallowmire, raised bog, south lagg",
    "Ravenbeck Wood, oak coppice",
    "Long Scar, limestone pavement",
    "Thwaite Lane, hedge bank",
)


def crew_of(day: date, newcomer_is_here: bool) -> Crew:
    """Who works on this day; until the newcomer came, Marten did those hours."""
    crew = _WEEK[min(day.weekday(), len(_WEEK) - 1)]
    if newcomer_is_here:
        return crew
    names = (crew.table, crew.second, crew.press, crew.round, crew.extra)
    return Crew(*(LEFT if name == CAME else name for name in names))
