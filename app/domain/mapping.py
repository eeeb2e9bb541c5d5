"""What the columns of a list are to the room: a term of Darwin Core each, or kept as they came, or left out."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

from app.domain.language import mark, say
from app.domain.own_columns import AS_KEPT, is_own, own_column
from app.domain.table_faults import BadTable, clipped
from app.domain.terms import NUMBER_TERM, TERMS, nearest, term_for

KEEP, LEAVE = "keep", "leave"
LONGEST_HEADING = 200
MOST_IN_A_MAP = 1000
NO_NUMBERS = mark("No column is headed catalogNumber: give that heading to the column with the sheets' numbers")

# One for each column, in their order: a term, KEEP or LEAVE.
Ways = tuple[str, ...]


def straight(line: int, headings: Sequence[str]) -> tuple[str, ...]:
    """What the columns are by their headings alone: the terms, and other headings as they came.

    BadTable, in a sentence, for headings by which that cannot be told; somebody may then say it column by column.
    """
    if not any(NUMBER_TERM in (term_for(heading), nearest(heading)) for heading in headings):
        raise BadTable(line, "", say("{fault}, or say here which column it is.", fault=NO_NUMBERS))
    own = is_own(headings)
    columns = tuple(_column(line, place, heading, own) for place, heading in enumerate(headings, 1))
    for place, column in enumerate(columns):
        if column and column in columns[:place]:
            raise BadTable(line, clipped(column), say("Two columns have this heading: take one of them out."))
    return columns


def proposed(headings: Sequence[str]) -> Ways:
    """What the columns probably are: the terms that their headings name or nearly name, each once; the rest is kept. What
    a room added to a file of its own is left out.
    """
    own = is_own(headings)
    ours = [own_column(heading, in_own_file=own) for heading in headings]
    found: list[str] = [term_for(heading) or "" for heading in headings]
    for place, heading in enumerate(headings):
        near = "" if found[place] else nearest(heading) or ""
        found[place] = found[place] or (near if near not in found else "")
    return tuple(
        LEAVE if ours[place] == "" else term if term and term not in found[:place] else KEEP for place, term in enumerate(found)
    )  # fmt: skip


def way_fault(headings: Sequence[str], ways: Sequence[str]) -> str:
    """Why columns cannot be read like that, in a sentence; empty when they can."""
    if len(ways) != len(headings):
        return say("The file has other columns than those that were named: choose it again.")
    if strange := [way for way in ways if way not in (KEEP, LEAVE) and way not in TERMS]:
        return say("{term} is no term of Darwin Core, nor “keep” or “leave”.", term=clipped(strange[0]))
    if NUMBER_TERM not in ways:
        return say("Say which column has the sheets' numbers: catalogNumber.")
    terms = [way for way in ways if way not in (KEEP, LEAVE)]
    if twice := [term for place, term in enumerate(terms) if term in terms[:place]]:
        return say("Two columns cannot both be {term}: keep one of them as it came.", term=twice[0])
    return ""


def columns_of(line: int, headings: Sequence[str], ways: Ways) -> tuple[str, ...]:
    """What each column is when it is read so; empty for what is left out. BadTable where it cannot be read so."""
    if fault := way_fault(headings, ways):
        raise BadTable(line, "", fault)
    found: list[str] = []
    for place, (heading, way) in enumerate(zip(headings, ways, strict=True), 1):
        found.append({LEAVE: "", KEEP: _own_name(place, heading, found, ways)}.get(way, way))
    return tuple(found)


def ways_told(headings: Sequence[str], told: Mapping[str, str]) -> Ways:
    """The ways of a list's columns from what is told by heading; those not told are proposed. BadTable for a heading that
    the file does not have.
    """
    plain = {heading.strip(): way for heading, way in told.items()}
    if strange := [name for name in plain if name not in {heading.strip() for heading in headings}]:
        raise BadTable(0, clipped(strange[0]), say("The map names this column, and the file does not have it."))
    rest = proposed(headings)
    asked = [plain.get(heading.strip(), "") for heading in headings]
    return tuple(way or (KEEP if rest[at] in asked else rest[at]) for at, way in enumerate(asked))


def read_map(text: str) -> dict[str, str]:
    """A map as it lies in a file: a JSON object of headings and what each is. BadTable, in a sentence, where it is none."""
    words = say('The map is no JSON object of headings and terms, such as {"Barcode": "catalogNumber", "Van": "keep"}.')
    try:
        told = json.loads(text)
    except (ValueError, RecursionError):
        raise BadTable(0, "", words) from None
    if (
        not isinstance(told, dict)
        or len(told) > MOST_IN_A_MAP
        or not all(isinstance(way, str) for way in told.values())
    ):
        raise BadTable(0, "", words)
    return told


def key_of(headings: Sequence[str]) -> str:
    """The headings as one text, by which what was said of them is found again."""
    return json.dumps([heading.strip() for heading in headings], ensure_ascii=False)


def source_of(source: str | None, code: str) -> str:
    """By what a source is known again: its name, or the consignment where it has none."""
    name = " ".join((source or "").casefold().split())
    return say("from {name}", name=name) if name else say("with {code}", code=code)


def _column(line: int, place: int, heading: str, in_own_file: bool) -> str:
    if (own := own_column(heading, in_own_file=in_own_file)) is not None:
        return own
    term, name = term_for(heading), heading.strip()
    if term is not None:
        return term
    if not name:
        raise BadTable(
            line, "", say("Column {place} has no heading: give it one, or take the column out.", place=place)
        )
    if len(name) > LONGEST_HEADING:
        raise BadTable(
            line,
            clipped(name),
            say("The heading has more than {most} characters: shorten it.", most=LONGEST_HEADING),
        )
    if (meant := nearest(name)) is not None:
        words = say(
            "Darwin Core has no such term; the nearest is {meant}: write that, or a name of your own unlike it.",
            meant=meant,
        )
        raise BadTable(line, clipped(name), words)
    return name


def _own_name(place: int, heading: str, before: Sequence[str], ways: Sequence[str]) -> str:
    """The name under which a column is kept as it came: its heading, unlike any other that is kept or read."""
    kept = heading.removeprefix(AS_KEPT) if heading.startswith(AS_KEPT) else heading.strip()[:LONGEST_HEADING]
    name = kept or say("column {place}", place=place)
    return f"{name} ({place})" if name in before or name in ways else name
