"""One row of a parcel's list as the sheet that it tells of: its number, its names, and all else that came with it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from typing import Any

from app.domain.numbers import Kind, Pattern, shown
from app.domain.reading import Exact, Misread, Partial, read
from app.domain.table import NUMBER_TERM, BadRow, Row, clipped

# What the room itself reads; every other column is kept with the sheet as it came.
_A_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
NOTES = ("occurrenceRemarks", "materialEntityRemarks")
USED = (NUMBER_TERM, "scientificName", "scientificNameAuthorship", "family", "recordedBy", "recordNumber", "eventDate",
        "locality", *NOTES)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Parcel:
    """How a list is read: where each term stands in a row, the room's number patterns, and the last day there was."""

    used: Mapping[str, int]
    kept: tuple[tuple[str, int], ...]
    patterns: tuple[Pattern, ...]
    latest: date


@dataclass(frozen=True, slots=True)
class ListedSheet:
    """A sheet as its row tells of it. `content` is the same for two rows that tell the same, whatever their order.

    `plant` is name, authorship and family; `known` what stands on the sheet's row under the same names.
    """

    line: int
    number: str
    plant: tuple[str, str, str]
    collector: str
    known: Mapping[str, Any]
    content: str
    file: str = ""


def parcel_of(columns: Sequence[str], patterns: Sequence[Pattern], latest: date) -> Parcel:
    """How a list with these columns is read."""
    places = {column: place for place, column in enumerate(columns) if column}
    used = {term: places[term] for term in USED if term in places}
    kept = tuple((column, place) for column, place in places.items() if column not in used)
    return Parcel(used, kept, tuple(patterns), latest)


def listed_sheet(row: Row, parcel: Parcel) -> ListedSheet | BadRow:
    """The sheet that a row tells of, or what is wrong: a number that does not read right, or a date still to come."""
    number = read(_said(row, parcel, NUMBER_TERM), parcel.patterns)
    if not (isinstance(number, Exact) and number.kind is Kind.SHEET):
        fault = number_fault(row.cells[parcel.used[NUMBER_TERM]], parcel.patterns)
        return BadRow(row.line, NUMBER_TERM, fault, row.file)
    said = {term: _said(row, parcel, term) for term in parcel.used if term != NUMBER_TERM}
    if words := date_fault(said.get("eventDate", ""), parcel.latest):
        return BadRow(row.line, "eventDate", words, row.file)
    kept = {name: _one_kind_of_line_end(row.cells[at]) for name, at in parcel.kept if row.cells[at].strip()}
    kept.update((name, _one_kind_of_line_end(text)) for name, text in row.more)
    return ListedSheet(
        row.line, number.text, _plant(said), said.get("recordedBy", ""), _known(said, kept), _content(said, kept), row.file
    )  # fmt: skip


def number_fault(text: str, patterns: Sequence[Pattern]) -> str:
    """Why a text is not taken as the number of a sheet, and what to do."""
    if not text.strip():
        return "There is no number: write in the number of the sheet."
    reading = read(text, patterns)
    if isinstance(reading, Exact):
        return f"{clipped(text)} is the code of a card or a shelf, not of a sheet: write in the number of the sheet."
    if isinstance(reading, Partial):
        return f"{clipped(text)} is {_what_is_left_out(reading)}: write the whole number, off the slip."
    if isinstance(reading, Misread) and _has_all_its_places(reading.typed, patterns):
        return f"The check character of {clipped(text)} does not fit, so one character is wrong: read the slip again."
    if isinstance(reading, Misread):
        return f"{clipped(text)} has a character too many or too few: read the slip again."
    return f"{clipped(text)} is no number of this room; they look like {_example(patterns)}."


def _said(row: Row, parcel: Parcel, term: str) -> str:
    return _one_kind_of_line_end(row.cells[parcel.used[term]]).strip()


def _one_kind_of_line_end(text: str) -> str:
    """The same list saved by another program has other line ends within its cells; it is the same list."""
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text


def date_fault(text: str, latest: date) -> str:
    """Why a date cannot be right; empty for one that can."""
    try:
        is_to_come = date.fromisoformat(text) > latest
    except ValueError:
        # A date may be a year, a range, or whatever the label says: it is kept as it is. One that names a day names one.
        return f"{text} is no day of any calendar: read the date off the label again." if _A_DAY.fullmatch(text) else ""
    return f"{text} is still to come: read the date off the label again." if is_to_come else ""


def _plant(said: Mapping[str, str]) -> tuple[str, str, str]:
    name, authorship, family = (said.get(term, "") for term in USED[1:4])
    return name, authorship, family


def _known(said: Mapping[str, str], kept: Mapping[str, str]) -> dict[str, Any]:
    notes = "\n".join(said[term] for term in NOTES if said.get(term))
    return {
        "record_number": said.get("recordNumber") or None,
        "event_date": said.get("eventDate") or None,
        "locality": said.get("locality") or None,
        "notes": notes or None,
        "kept": dict(kept) or None,
    }


def _content(said: Mapping[str, str], kept: Mapping[str, str]) -> str:
    told = {term: text for term, text in said.items() if text} | dict(kept)
    return sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()[:16]


def _what_is_left_out(reading: Partial) -> str:
    if any(number[:-1] == reading.typed for number in reading.could_be):
        return "without its check character"
    return "not the whole number" if len(reading.could_be) == 1 else "not the whole number, and more than one fits"


def _has_all_its_places(typed: str, patterns: Sequence[Pattern]) -> bool:
    return any(
        typed.startswith(each.prefix) and len(typed) == len(each.prefix) + each.width + each.check for each in patterns
    )


def _example(patterns: Sequence[Pattern]) -> str:
    return " or ".join(shown(pattern.spell(1), patterns) for pattern in patterns)
