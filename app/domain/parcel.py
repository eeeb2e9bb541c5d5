"""One row of a parcel's list as the sheet that it tells of: its number, its names, and all else that came with it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from json.encoder import encode_basestring_ascii
from typing import Any

from app.domain.language import say
from app.domain.numbers import Kind, Pattern, shown
from app.domain.own_columns import SENSITIVE, YES
from app.domain.reading import Exact, Misread, Partial, read
from app.domain.table import NUMBER_TERM, BadRow, Row, clipped

quoted = encode_basestring_ascii
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
    cells = _one_kind_of_line_ends(row.cells)
    number = read(cells[parcel.used[NUMBER_TERM]].strip(), parcel.patterns)
    if not (isinstance(number, Exact) and number.kind is Kind.SHEET):
        fault = number_fault(row.cells[parcel.used[NUMBER_TERM]], parcel.patterns)
        return BadRow(row.line, NUMBER_TERM, fault, row.file)
    said = {term: cells[at].strip() for term, at in parcel.used.items() if term != NUMBER_TERM}
    if words := date_fault(said.get("eventDate", ""), parcel.latest):
        return BadRow(row.line, "eventDate", words, row.file)
    kept = {name: cells[at] for name, at in parcel.kept if cells[at].strip()}
    kept.update((name, _one_kind_of_line_end(text)) for name, text in row.more)
    is_sensitive = kept.pop(SENSITIVE, "") == YES
    return ListedSheet(
        row.line, number.text, _plant(said), said.get("recordedBy", ""), _known(said, kept, is_sensitive), _content(said, kept),
        row.file,
    )  # fmt: skip


def number_fault(text: str, patterns: Sequence[Pattern]) -> str:
    """Why a text is not taken as the number of a sheet, and what to do."""
    if not text.strip():
        return say("There is no number: write in the number of the sheet.")
    reading = read(text, patterns)
    if isinstance(reading, Exact):
        return say(
            "{text} is the code of a card or a shelf, not of a sheet: write in the number of the sheet.",
            text=clipped(text),
        )
    if isinstance(reading, Partial):
        return say(
            "{text} is {fault}: write the whole number, off the slip.",
            text=clipped(text),
            fault=_what_is_left_out(reading),
        )
    if isinstance(reading, Misread) and _has_all_its_places(reading.typed, patterns):
        return say(
            "The check character of {text} does not fit, so one character is wrong: read the slip again.",
            text=clipped(text),
        )
    if isinstance(reading, Misread):
        return say("{text} has a character too many or too few: read the slip again.", text=clipped(text))
    return say(
        "{text} is no number of this room; they look like {example}.", text=clipped(text), example=_example(patterns)
    )


def _one_kind_of_line_ends(cells: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(map(_one_kind_of_line_end, cells)) if "\r" in "".join(cells) else cells


def _one_kind_of_line_end(text: str) -> str:
    """The same list saved by another program has other line ends within its cells; it is the same list."""
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text


def date_fault(text: str, latest: date) -> str:
    """Why a date cannot be right; empty for one that can."""
    try:
        is_to_come = date.fromisoformat(text) > latest
    except ValueError:
        # A date may be a year, a range, or whatever the label says: it is kept as it is. One that names a day names one.
        return (
            say("{text} is no day of any calendar: read the date off the label again.", text=text)
            if _A_DAY.fullmatch(text)
            else ""
        )
    return say("{text} is still to come: read the date off the label again.", text=text) if is_to_come else ""


def _plant(said: Mapping[str, str]) -> tuple[str, str, str]:
    return said.get("scientificName", ""), said.get("scientificNameAuthorship", ""), said.get("family", "")


def _known(said: Mapping[str, str], kept: Mapping[str, str], is_sensitive: bool) -> dict[str, Any]:
    notes = "\n".join([said[term] for term in NOTES if said.get(term)])
    return {
        "record_number": said.get("recordNumber") or None,
        "event_date": said.get("eventDate") or None,
        "locality": said.get("locality") or None,
        "notes": notes or None,
        "kept": dict(kept) or None,
        "is_sensitive": is_sensitive,
    }


def _content(said: Mapping[str, str], kept: Mapping[str, str]) -> str:
    told = {term: text for term, text in said.items() if text} | dict(kept)
    return sha256(as_json(dict(sorted(told.items()))).encode()).hexdigest()[:16]


def as_json(told: Mapping[str, str]) -> str:
    """Texts by their names as `json.dumps` writes them, in a fifth of the time: there are many thousands of rows."""
    return f"{{{', '.join([f'{quoted(name)}: {quoted(text)}' for name, text in told.items()])}}}"


def _what_is_left_out(reading: Partial) -> str:
    if any(number[:-1] == reading.typed for number in reading.could_be):
        return say("without its check character")
    return (
        say("not the whole number")
        if len(reading.could_be) == 1
        else say("not the whole number, and more than one fits")
    )


def _has_all_its_places(typed: str, patterns: Sequence[Pattern]) -> bool:
    return any(
        typed.startswith(each.prefix) and len(typed) == len(each.prefix) + each.width + each.check for each in patterns
    )


def _example(patterns: Sequence[Pattern]) -> str:
    return say(" or ").join(shown(pattern.spell(1), patterns) for pattern in patterns)
