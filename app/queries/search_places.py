"""Finding sheets by where they lie or who had them last: bundle, stack, cabinet, shelf; and the pages of such places."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import and_, bindparam, select
from sqlalchemy.orm import Session

from app.db.models import Bundle, Cabinet, Entry, EntryWorker, Sheet, Shelf, Stack, Worker, table_of
from app.db.prepared import prepared
from app.domain.folding import folded
from app.domain.numbers import Kind
from app.domain.reading import Exact
from app.domain.stages import Step
from app.queries.names import words_begin
from app.queries.search_asked import Asked, ids, shared_out

SHEET = table_of(Sheet)
ENTRY = table_of(Entry)
DID = table_of(EntryWorker)
CABINET, SHELF, STACK, BUNDLE = (table_of(each) for each in (Cabinet, Shelf, Stack, Bundle))
WORKER = table_of(Worker)
# So many of somebody's last entries are looked through for sheets that nobody has had since.
LAST_ENTRIES = 400
MOST_PLACES = 4
CABINETS, STACKS, BUNDLES = "cabinet", "stack", "bundle"
WORDS = (CABINETS, STACKS, BUNDLES, "shelf")

_IN_BUNDLE = prepared(
    select(SHEET.c.id).where(SHEET.c.bundle_id == bindparam("key")).order_by(SHEET.c.id).limit(bindparam("most"))
)
_IN_STACK = prepared(
    select(SHEET.c.id).where(SHEET.c.stack_id == bindparam("key")).order_by(SHEET.c.layer).limit(bindparam("most"))
)
_ON_SHELF = prepared(select(SHEET.c.id).where(SHEET.c.shelf_id == bindparam("key")).limit(bindparam("most")))
_LOOSE = prepared(
    select(SHEET.c.id)
    .where(SHEET.c.cabinet_id == bindparam("key"), SHEET.c.shelf_id.is_(None))
    .limit(bindparam("most"))
)
_SHELVES = prepared(
    select(SHELF.c.id, SHELF.c.name).where(SHELF.c.cabinet_id == bindparam("cabinet")).order_by(SHELF.c.id)
)
_CABINETS = prepared(select(CABINET.c.id, CABINET.c.name, CABINET.c.code))
_STACKS = prepared(
    select(STACK.c.id, STACK.c.name, STACK.c.code_on, STACK.c.code_off).where(STACK.c.closed_at.is_(None))
)
_BUNDLES = prepared(select(BUNDLE.c.id, BUNDLE.c.name, BUNDLE.c.code).where(BUNDLE.c.closed_at.is_(None)))
_WORKERS = prepared(select(WORKER.c.id, WORKER.c.name_key, WORKER.c.number))
_SHELF_BY_CODE = prepared(select(SHELF.c.id).where(SHELF.c.code == bindparam("code")))
_MINE = (
    select(DID.c.entry_id)
    .where(DID.c.worker_id == bindparam("key"), DID.c.role == "did")
    .order_by(DID.c.entry_id.desc())
    .limit(LAST_ENTRIES)
    .subquery()
)
_LAST_HAD = prepared(
    select(SHEET.c.id)
    .select_from(_MINE)
    .join(ENTRY, ENTRY.c.id == _MINE.c.entry_id)
    .join(SHEET, and_(SHEET.c.id == ENTRY.c.subject_id, SHEET.c.last_at == ENTRY.c.happened_at))
    # Put together so that these few entries are looked up, and not all that are a sheet's walked through.
    .where(ENTRY.c.subject_kind.concat("") == "sheet", ENTRY.c.step != Step.CORRECT)
    .order_by(ENTRY.c.id.desc())
    .limit(bindparam("most"))
)


@dataclass(frozen=True, slots=True)
class PlaceHit:
    """A cabinet or a stack whose name begins as it was typed: `kind` is cabinet or stack."""

    kind: str
    name: str


def places_like(session: Session, q: str) -> list[PlaceHit]:
    """The cabinets and stacks that may be meant, for a way to their own pages; a few at most."""
    key = folded(q)
    if not key:
        return []
    found = [PlaceHit(CABINETS, row.name) for row in session.execute(_CABINETS) if _begins(row.name, key, CABINETS)]
    found += [PlaceHit(STACKS, row.name) for row in session.execute(_STACKS) if _begins(row.name, key, STACKS)]
    return sorted(found, key=lambda hit: (folded(hit.name) != key, hit.kind, hit.name))[:MOST_PLACES]


def in_bundle(asked: Asked) -> Iterable[int]:
    """Sheets in the bundle with this code, or in those whose names' words begin like this."""
    code = _code(asked, Kind.BUNDLE)
    rows = [] if asked.is_number else asked.session.execute(_BUNDLES).all()
    keys = [row.id for row in rows if row.code == code or (not code and _is_named(row.name, asked.key, BUNDLES))]
    return shared_out(asked, _IN_BUNDLE, keys[:MOST_PLACES])


def in_stack(asked: Asked) -> Iterable[int]:
    """Sheets in the stack that is named, from the bottom."""
    code = _code(asked, Kind.STACK_ON, Kind.STACK_OFF)
    rows = asked.session.execute(_STACKS).all()
    keys = [row.id for row in rows if (code or "-") in (row.code_on, row.code_off) or _is(row.name, asked.key, STACKS)]
    return shared_out(asked, _IN_STACK, keys)


def in_cabinet(asked: Asked) -> Iterable[int]:
    """Sheets in the cabinet or on the shelf that is named."""
    shelf_code, code = _code(asked, Kind.SHELF), _code(asked, Kind.CABINET)
    if shelf_code:
        shelves = list(asked.session.execute(_SHELF_BY_CODE, {"code": shelf_code}).scalars())
        yield from shared_out(asked, _ON_SHELF, shelves)
        return
    for row in asked.session.execute(_CABINETS).all():
        if row.code == code or asked.key.startswith(folded(row.name)) or asked.key.startswith(CABINETS):
            yield from _of_cabinet(asked, row, row.code == code)


def last_had(asked: Asked) -> Iterable[int]:
    """Sheets that a worker had in the hands last, the latest first; for those who may see whose hands it were."""
    if not asked.by_hands or asked.is_number or len(asked.key) < 2:
        return ()
    rows = asked.session.execute(_WORKERS).all()
    keys = [row.id for row in rows if words_begin(row.name_key, asked.key) or folded(row.number) == asked.key]
    return shared_out(asked, _LAST_HAD, keys[:MOST_PLACES])


def _of_cabinet(asked: Asked, row: object, whole: bool) -> Iterable[int]:
    name, row_id = folded(row.name), row.id  # type: ignore[attr-defined]
    shelves = asked.session.execute(_SHELVES, {"cabinet": row_id}).all()
    rest = _rest(asked.key, name)
    if whole or rest == "":
        yield from ids(asked, _LOOSE, key=row_id, most=asked.most)
        yield from shared_out(asked, _ON_SHELF, [shelf.id for shelf in shelves])
    elif rest is not None:
        yield from shared_out(asked, _ON_SHELF, [shelf.id for shelf in shelves if folded(shelf.name) == rest])


def _rest(key: str, name: str) -> str | None:
    """What follows a cabinet's name in what was typed, "shelf" left out; None where the name is another."""
    plain = key.removeprefix(f"{CABINETS} ")
    if plain == name:
        return ""
    return plain.removeprefix(name).strip().removeprefix("shelf ") if plain.startswith(f"{name} ") else None


def _code(asked: Asked, *kinds: Kind) -> str:
    reading = asked.reading
    return reading.text if isinstance(reading, Exact) and reading.kind in kinds else ""


def _is(name: str, key: str, word: str) -> bool:
    return key in (folded(name), f"{word} {folded(name)}")


def _is_named(name: str, key: str, word: str) -> bool:
    return words_begin(folded(name), key.removeprefix(f"{word} "))


def _begins(name: str, key: str, word: str) -> bool:
    plain = key.removeprefix(f"{word} ")
    return folded(name).startswith(plain) or plain.startswith(f"{folded(name)} ")
