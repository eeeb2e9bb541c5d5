"""A worker who has left asks that their name be gone: a number takes its place, and the log stays whole."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import delete, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.guarded import reword
from app.db.models import Entry, LogIn, Scan, Worker, table_of
from app.db.texts import ANSWERS, TEXTS
from app.domain.answer_texts import said_anew
from app.domain.folding import folded
from app.domain.named_text import NamedText
from app.domain.names_in_text import without_name
from app.services.changes import changed

WORKER, ENTRY, SCAN, LOG_IN = table_of(Worker), table_of(Entry), table_of(Scan), table_of(LogIn)
AT_ONCE = 500


def replace_name(
    session: Session, worker_id: int, now: datetime, by: int | None, texts: Sequence[NamedText] = ()
) -> int:
    """Put a retired worker's number in place of their name, on their row and in these texts; how many texts that were.

    A text that has changed since it was looked at is left as it is. ValueError for a worker who is not there, still works
    here, or whose name is gone already. Afterwards nobody can look for the name again.
    """
    worker = _who(session, worker_id)
    many = 0
    for where, rows in _by_place(texts).items():
        replaced = _answers if where == ANSWERS else _entries if where == "entry.reason" else _others
        many += replaced(session, where, rows, worker)
    values = {"name": worker["number"], "name_key": folded(worker["number"]), "badge_code": None, "badge_since_at": None,
              "pin_hash": None, "password_hash": None, "password_changed_at": None, "name_gone_at": now}  # fmt: skip
    session.execute(update(WORKER).where(WORKER.c.id == worker_id).values(**values))
    tried = (worker["name_key"], f"name {worker['name_key'][:200]}", f"own {worker_id}", f"pin {worker_id}")
    session.execute(delete(LOG_IN).where(LOG_IN.c.name_key.in_(tried)))
    changed(session, now, by, "worker", worker_id, "name replaced by the number", new=_count(many))
    return many


def _who(session: Session, worker_id: int) -> RowMapping:
    row = session.execute(select(WORKER).where(WORKER.c.id == worker_id)).mappings().one_or_none()
    if row is None:
        raise ValueError("There is no such worker.")
    if row["retired_at"] is None:
        raise ValueError("Only the name of somebody who has left is replaced. Say first that they have left.")
    if row["name_gone_at"] is not None:
        raise ValueError("The name is gone already.")
    return row


def _by_place(texts: Sequence[NamedText]) -> Mapping[str, dict[object, set[str]]]:
    """For each place the rows and the texts that are to be replaced in them; an answer may hold several."""
    found: dict[str, dict[object, set[str]]] = defaultdict(dict)
    for each in texts:
        for row in each.rows:
            found[each.where].setdefault(row, set()).add(each.text)
    return found


def _entries(session: Session, where: str, rows: Mapping[object, set[str]], worker: RowMapping) -> int:
    column = TEXTS[where].column
    new = {key: _anew(worker, text) for key, text in _now(session, ENTRY.c.id, column, rows) if text in rows[key]}
    return reword(session, ENTRY, new)


def _others(session: Session, where: str, rows: Mapping[object, set[str]], worker: RowMapping) -> int:
    place, many = TEXTS[where], 0
    for key, text in _now(session, place.key, place.column, rows):
        if text in rows[key]:
            mine = update(place.table).where(place.key == key)
            session.execute(mine.values({place.column: _anew(worker, text)}))
            many += 1
    return many


def _answers(session: Session, _where: str, rows: Mapping[object, set[str]], worker: RowMapping) -> int:
    new = {}
    for key, answer in _now(session, SCAN.c.id, SCAN.c.answer, rows):
        chosen = rows[key]
        new[key] = said_anew(answer, lambda text, chosen=chosen: _anew(worker, text) if text in chosen else text)  # type: ignore[misc]
    return reword(session, SCAN, new)


def _now(session: Session, key: Any, column: Any, rows: Mapping[object, set[str]]) -> list[tuple[Any, Any]]:
    """What stands in these rows now, a few hundred at a time."""
    keys = list(rows)
    found: list[tuple[Any, Any]] = []
    for start in range(0, len(keys), AT_ONCE):
        some = session.execute(select(key, column).where(key.in_(keys[start : start + AT_ONCE])))
        found += [(row[0], row[1]) for row in some]
    return found


def _anew(worker: RowMapping, text: str) -> str:
    return without_name(worker["name"], text, worker["number"])


def _count(many: int) -> str:
    return "no text" if not many else "1 text" if many == 1 else f"{many} texts"
