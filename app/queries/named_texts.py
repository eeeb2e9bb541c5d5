"""The texts in which a worker is named, gathered for a look before the name is replaced by a number."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from sqlalchemy import Text, cast, or_, select
from sqlalchemy.orm import Session

from app.db.models import Scan, Worker, table_of
from app.db.texts import ANSWER_WORDS, ANSWERS, TEXTS
from app.domain.answer_texts import sentences
from app.domain.named_text import NamedText
from app.domain.names_in_text import mention_of

WORKER, SCAN = table_of(Worker), table_of(Scan)
Found = dict[tuple[str, str], list[object]]


def named_texts(session: Session, worker_id: int) -> tuple[NamedText, ...]:
    """The texts that name a worker, or may (a part of the name), each once with the rows that hold it: those with the
    whole name first. Nothing for a worker who is not there, or whose name is gone.

    It reads every reason there is and looks through every answer: seconds in a large room, and asked for once.
    """
    row = session.execute(select(WORKER.c.name, WORKER.c.name_gone_at).where(WORKER.c.id == worker_id)).one_or_none()
    if row is None or row.name_gone_at is not None:
        return ()
    found: Found = {}
    for where, text, key in (*_typed(session), *_answered(session, row.name)):
        if mention_of(row.name, text):
            found.setdefault((where, text), []).append(key)
    texts = [_named(row.name, where, text, rows) for (where, text), rows in found.items()]
    return tuple(sorted(texts, key=lambda each: (not each.whole, each.where, each.text)))


def _named(name: str, where: str, text: str, rows: list[object]) -> NamedText:
    words = TEXTS[where].words if where in TEXTS else ANSWER_WORDS
    return NamedText(where, words, text, mention_of(name, text) == "name", text == name, tuple(rows))


def _typed(session: Session) -> Iterator[tuple[str, str, object]]:
    for where, each in TEXTS.items():
        found = select(each.key, each.column).where(each.column.is_not(None), each.column != "").order_by(each.key)
        for key, text in session.execute(found):
            yield where, text, key


def _answered(session: Session, name: str) -> Iterator[tuple[str, str, object]]:
    """The sentences of answers that hold the name as it is written, or greet by the first of its words."""
    greeting = f"Hello, {name.split()[0]}."
    kept = cast(SCAN.c.answer, Text)
    likely = or_(*(kept.contains(_in_json(each), autoescape=True) for each in (name, greeting)))
    for row in session.execute(select(SCAN.c.id, SCAN.c.answer).where(likely).order_by(SCAN.c.id)):
        yield from ((ANSWERS, text, row.id) for text in dict.fromkeys(_naming(row.answer, name, greeting)))


def _naming(answer: Any, name: str, greeting: str) -> Iterator[str]:
    """Only whole names, and the greeting: part of a name in what the screen says is more often a plant or a place."""
    return (text for text in sentences(answer) if text == greeting or mention_of(name, text) == "name")


def _in_json(text: str) -> str:
    return json.dumps(text)[1:-1]
