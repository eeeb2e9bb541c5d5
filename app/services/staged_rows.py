"""The rows of a checked file, where they lie until they are in: what each says, and how SQLite reads that by itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from app.db.bulk import AsKept
from app.db.bulk_made import found_by
from app.domain.parcel import ListedSheet, as_json, quoted

# What a row says, in this order; what it may lack, because it was laid down by an older program, comes last.
SAYS = ("name", "authorship", "family", "collector", "record_number", "event_date", "locality", "notes", "kept", "content", "file",
        "is_sensitive")  # fmt: skip
ROWS = "taken_row AS r WHERE r.file_id = :file AND r.place > :after AND r.place <= :upto ORDER BY r.place"
_AT = {name: f"json_extract(r.said, '$.row[{place}]')" for place, name in enumerate(SAYS)}
_NAMED = (
    f"(SELECT {_AT['name']} AS name, {_AT['authorship']} AS authorship, {_AT['family']} AS family FROM {ROWS}) AS t"
)
_SAME_NAME = "p.name = t.name AND coalesce(p.authorship, '') = t.authorship AND coalesce(p.family, '') = t.family"
_NEW_PLANTS = (
    f"SELECT DISTINCT t.name, t.authorship, t.family FROM {_NAMED}"
    f" WHERE t.name <> '' AND NOT EXISTS (SELECT 1 FROM plant_name AS p WHERE {_SAME_NAME})"
)
_NEW_COLLECTORS = (
    f"SELECT DISTINCT t.name FROM (SELECT {_AT['collector']} AS name FROM {ROWS}) AS t"
    " WHERE t.name <> '' AND NOT EXISTS (SELECT 1 FROM collector AS c WHERE c.name = t.name)"
)
_IS_HERE = f"SELECT 1 FROM (SELECT r.number FROM {ROWS}) AS t JOIN sheet AS s ON s.number = t.number LIMIT 1"
# Of two rows of one plant's name the older one is meant, as `naming` takes it.
_PLANT = (
    f"(SELECT min(p.id) FROM plant_name AS p WHERE p.name = nullif({_AT['name']}, '')"
    f" AND coalesce(p.authorship, '') = {_AT['authorship']} AND coalesce(p.family, '') = {_AT['family']})"
)
_COLLECTOR = f"(SELECT c.id FROM collector AS c WHERE c.name = nullif({_AT['collector']}, ''))"
# Every column of a sheet that differs from row to row, and its entry's facts without what is alike in all.
SHEET_MADE = {
    "number": "r.number", "plant_name_id": _PLANT, "collector_id": _COLLECTOR,
    **{name: _AT[name] for name in ("record_number", "event_date", "locality", "notes", "kept")},
    "is_sensitive": f"coalesce({_AT['is_sensitive']}, 0)",
}  # fmt: skip
FACTS_BEGUN = (
    f"""'{{"file": "' || :short || '", "line": ' || r.line || ', "content": "' || {_AT["content"]} || '"'"""
    f""" || CASE WHEN {_AT["file"]} = '' THEN '' ELSE ', "part": ' || json_quote({_AT["file"]}) END"""
)


@dataclass(frozen=True, slots=True)
class Span:
    """Some rows of a file: those after one place, up to another."""

    file_id: int
    after: int
    upto: int

    @property
    def given(self) -> dict[str, Any]:
        """The values by which SQL finds them."""
        return {"file": self.file_id, "after": self.after, "upto": self.upto}


def said(sheet: ListedSheet) -> AsKept:
    """What a row says, as JSON; what is kept with the sheet stays text in it until it is written."""
    known = sheet.known
    kept = as_json(known["kept"]) if known["kept"] else None
    told = [*sheet.plant, sheet.collector, known["record_number"], known["event_date"], known["locality"], known["notes"], kept,
            sheet.content, sheet.file]  # fmt: skip
    words = ", ".join(["null" if each is None else quoted(each) for each in told])
    return AsKept(f'{{"row": [{words}, {"true" if known["is_sensitive"] else "false"}]}}')


def listed(line: int, number: str, told: dict[str, Any]) -> ListedSheet:
    """The sheet that a row tells of, from what `said` made of it."""
    name, authorship, family, by, record, date, locality, notes, kept, content, file, *more = told["row"]
    known = {"record_number": record, "event_date": date, "locality": locality, "notes": notes,
             "kept": AsKept(kept) if kept else None, "is_sensitive": bool(more and more[0])}  # fmt: skip
    return ListedSheet(line, number, (name, authorship, family), by, known, content, file)


def new_plants(session: Session, span: Span) -> list[tuple[str, str, str]]:
    """The plants' names of these rows that the room does not have yet."""
    return [(name, authorship, family) for name, authorship, family in found_by(session, _NEW_PLANTS, span.given)]


def new_collectors(session: Session, span: Span) -> list[str]:
    """The collectors of these rows whom the room does not know yet."""
    return [name for (name,) in found_by(session, _NEW_COLLECTORS, span.given)]


def some_are_here(session: Session, span: Span) -> bool:
    """Whether the room has a sheet by one of these numbers already."""
    return bool(found_by(session, _IS_HERE, span.given))
