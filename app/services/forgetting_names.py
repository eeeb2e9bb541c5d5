"""A worker who has left asks that their name be gone: a number takes its place, and the log stays whole."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import delete, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.guarded import REWORDED, reword
from app.db.models import LogIn, Scan, Setting, Worker, table_of
from app.db.settings import NAME_TEXTS
from app.db.texts import ANSWERS, TEXTS
from app.db.upsert import replacing
from app.domain.answer_texts import said_anew
from app.domain.folding import folded
from app.domain.language import say
from app.domain.named_text import NamedText
from app.domain.names_in_text import without_name
from app.services.changes import changed

WORKER, SCAN, LOG_IN = table_of(Worker), table_of(Scan), table_of(LogIn)
SETTING = table_of(Setting)
AT_ONCE = 500


def replace_name(
    session: Session, worker_id: int, now: datetime, by: int | None, texts: Sequence[NamedText] = (),
    left: Sequence[str] = (),
) -> int:  # fmt: skip
    """Put a retired worker's number in place of their name, on their row and in these texts; how many texts that were.

    `left` are the marks of texts that were looked at and stay: kept, so that an older backup of the room is put back with
    the same choice. A text that has changed since it was looked at is left as it is. ValueError for a worker who is not
    there, still works here, or whose name is gone already. Afterwards nobody can look for the name again.
    """
    worker = _who(session, worker_id)
    many = 0
    for where, rows in _by_place(texts).items():
        replaced = _answers if where == ANSWERS else _guarded if TEXTS[where].table in REWORDED else _others
        many += replaced(session, where, rows, worker)
    values = {"name": worker["number"], "name_key": folded(worker["number"]), "badge_code": None, "badge_since_at": None,
              "pin_hash": None, "password_hash": None, "password_changed_at": None, "name_gone_at": now}  # fmt: skip
    session.execute(update(WORKER).where(WORKER.c.id == worker_id).values(**values))
    tried = (worker["name_key"], f"name {worker['name_key'][:200]}", f"own {worker_id}", f"pin {worker_id}")
    session.execute(delete(LOG_IN).where(LOG_IN.c.name_key.in_(tried)))
    _remember_choice(session, worker_id, texts, left)
    changed(session, now, by, "worker", worker_id, "name replaced by the number", new=_count(many))
    return many


def _remember_choice(session: Session, worker_id: int, texts: Sequence[NamedText], left: Sequence[str]) -> None:
    # Not of a text that is nothing but the name: whoever guesses it could see by its mark that they are right.
    marks = {"gone": sorted({each.mark for each in texts if not each.always}), "left": sorted(left)}
    keep = replacing(session.get_bind().dialect.name, SETTING, ("value",))
    session.execute(keep, {"name": f"{NAME_TEXTS}{worker_id}", "value": json.dumps(marks)})


def _who(session: Session, worker_id: int) -> RowMapping:
    row = session.execute(select(WORKER).where(WORKER.c.id == worker_id)).mappings().one_or_none()
    if row is None:
        raise ValueError(say("There is no such worker."))
    if row["retired_at"] is None:
        raise ValueError(say("Only the name of somebody who has left is replaced. Say first that they have left."))
    if row["name_gone_at"] is not None:
        raise ValueError(say("The name is gone already."))
    return row


def _by_place(texts: Sequence[NamedText]) -> Mapping[str, dict[object, set[str]]]:
    """For each place the rows and the texts that are to be replaced in them; an answer may hold several."""
    found: dict[str, dict[object, set[str]]] = defaultdict(dict)
    for each in texts:
        for row in each.rows:
            found[each.where].setdefault(row, set()).add(each.text)
    return found


def _guarded(session: Session, where: str, rows: Mapping[object, set[str]], worker: RowMapping) -> int:
    place = TEXTS[where]
    new = {key: _anew(worker, text) for key, text in _now(session, place.key, place.column, rows) if text in rows[key]}
    return reword(session, place.table, new)


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
