"""The list beside the backups: names that are gone and keys that no longer hold, so that a restored room forgets them again.

Plain lines of JSON, one for each such change, never rewritten, on the disk before anything else is done. It holds no name
and no secret: only which worker, key or station it was (by id and by what cannot change), what, and when. What was already
in a backup is told by the change itself, which the backup then holds too.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import func, select, tuple_
from sqlalchemy.orm import Session

from app.db.copies import put_on_disk
from app.db.models import Change, Entry, Setting, SignOff, Station, Token, Worker, table_of
from app.db.settings import NAME_TEXTS
from app.services.backup_places import WRITABLE, place_of, state_of
from app.services.codes_given import given_out
from app.services.given_list import keep_given

FILE_NAME = "removals-and-revocations.jsonl"
CHANGE, ENTRY, SETTING = table_of(Change), table_of(Entry), table_of(Setting)
WORKER, TOKEN, STATION, SIGN_OFF = table_of(Worker), table_of(Token), table_of(Station), table_of(SignOff)
RESTORED = "restored"
NAME_GONE = "name replaced by the number"
ENDED, LEFT_OFF = "sign-off ended", "no longer named for suspected sheets"
# What is taken away from somebody or something, as it is written down among the changes.
LISTED = (
    ("worker", "retired"), ("worker", "new badge"), ("worker", "password set"), ("worker", "PIN set"), ("worker", "rights"),
    ("worker", NAME_GONE), ("token", "revoked"), ("station", "browser enrolled"), ("station", "browser left"),
    ("worker", ENDED), ("worker", LEFT_OFF), ("station", LEFT_OFF), ("room", RESTORED),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """One line: the change's id, moment, subject and words; `of` is by what the subject is known again, `new` what a worker
    may do since, or of which step and sheets a sign-off ended (`mount:bulky`); `gone` and `left` are the marks of texts with
    a name in them (domain/named_text.py).
    """

    change: int
    at: str
    subject: str
    id: int | None
    what: str
    of: str = ""
    new: str = ""
    gone: tuple[str, ...] = ()
    left: tuple[str, ...] = ()

    @property
    def key(self) -> tuple[object, ...]:
        """The change that it tells of, whichever room's and however often it was written."""
        return self.change, self.at, self.subject, self.id, self.what


def bring_list_up(session: Session, folder: Path) -> int:
    """Add to the list, beside the backups in `folder` and in the second place, what it does not hold yet; how many lines.
    How far the room has come with its numbers and cards is written beside it.

    A place that is out of reach is brought up when it is there again. OSError where a list cannot be written.
    """
    place = place_of(session, folder.parent)
    folders = [folder, *([place.folder] if place is not None and state_of(place) in WRITABLE else [])]
    told, given = lines_of(session), given_out(session)
    many = sum(_add(each / FILE_NAME, told) for each in folders)
    for each in folders:
        keep_given(each, given)
    return many


def newest_rows(session: Session) -> tuple[int, int]:
    """The ids of the last entry and of the last change, 0 for none: while they stay, nobody has done anything."""
    return (session.execute(select(func.max(ENTRY.c.id))).scalar() or 0,
            session.execute(select(func.max(CHANGE.c.id))).scalar() or 0)  # fmt: skip


def lines_of(session: Session) -> list[Line]:
    """What the room's own changes say was taken away, in the order in which it was."""
    listed = tuple_(CHANGE.c.subject, CHANGE.c.what).in_(LISTED)
    rows = session.execute(select(CHANGE).where(listed).order_by(CHANGE.c.id)).mappings().all()
    texts = _texts(session)
    known, ended = identities(session), _ended(session)
    return [_line(row, known, texts, ended) for row in rows]


def read_list(path: Path) -> list[Line]:
    """The lines of a list, those that were cut short left out; none where there is no list. OSError where it cannot be read."""
    if not path.exists():
        return []
    found = (_parsed(text) for text in path.read_text(encoding="utf-8", errors="replace").splitlines())
    return [each for each in found if each is not None]


def still_to_apply(session: Session, lists: Iterable[Sequence[Line]]) -> list[Line]:
    """Of these lists, what a room that was put back does not know of itself: each once, in the order in which it was.

    What came before a restore that the room knows of was applied to it then.
    """
    known = {each.key for each in lines_of(session)}
    found: dict[tuple[object, ...], Line] = {}
    for lines in lists:
        last = max(
            (place for place, each in enumerate(lines) if each.what == RESTORED and each.key in known), default=-1
        )
        for each in lines[last + 1 :]:
            if each.key not in known and each.what != RESTORED:
                found.setdefault(each.key, each)
    return list(found.values())


def identities(session: Session) -> dict[tuple[str, int | None], str]:
    """By what each worker, key and station is known again, where an id may have been given to another since."""
    found: dict[tuple[str, int | None], str] = {}
    for subject, table, columns in (
        ("worker", WORKER, (WORKER.c.added_at,)), ("token", TOKEN, (TOKEN.c.made_at,)),
        ("station", STATION, (STATION.c.slug, STATION.c.code)),
    ):  # fmt: skip
        for key, *rest in session.execute(select(table.c.id, *columns)):
            found[subject, key] = " ".join(each.isoformat() if isinstance(each, datetime) else each for each in rest)
    return found


def _line(row: Any, known: dict[tuple[str, int | None], str], texts: dict[str, dict[str, list[str]]],
          ended: dict[tuple[int | None, datetime], str]) -> Line:  # fmt: skip
    subject, key = row["subject"], row["subject_id"]
    named = texts.get(f"{NAME_TEXTS}{key}", {}) if row["what"] == NAME_GONE else {}
    new = {"rights": row["new"] or "", ENDED: ended.get((key, row["changed_at"]), "")}
    return Line(row["id"], row["changed_at"].isoformat(), subject, key, row["what"], known.get((subject, key), ""),
                new.get(row["what"], ""),
                tuple(named.get("gone", ())), tuple(named.get("left", ())))  # fmt: skip


def _ended(session: Session) -> dict[tuple[int | None, datetime], str]:
    """For whom and when sign-offs ended, and for which step and sheets: in words that are no language's."""
    found: dict[tuple[int | None, datetime], str] = {}
    for row in session.execute(select(SIGN_OFF).where(SIGN_OFF.c.ended_at.is_not(None)).order_by(SIGN_OFF.c.id)):
        mine = (row.worker_id, row.ended_at)
        found[mine] = f"{found.get(mine, '')} {row.step}:{row.difficulty}".strip()
    return found


def _texts(session: Session) -> dict[str, dict[str, list[str]]]:
    kept = select(SETTING.c.name, SETTING.c.value).where(SETTING.c.name.startswith(NAME_TEXTS, autoescape=True))
    return {name: json.loads(value) for name, value in session.execute(kept)}


def _parsed(text: str) -> Line | None:
    try:
        told = json.loads(text)
        parts: dict[str, Any] = {
            name: tuple(value) if isinstance(value, list) else value for name, value in told.items()
        }
        return Line(**parts)
    except (ValueError, TypeError, AttributeError):
        return None


def _add(path: Path, told: Sequence[Line]) -> int:
    there = {each.key for each in read_list(path)}
    missing = [each for each in told if each.key not in there]
    if not missing:
        return 0
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    is_new, cut_short = not path.exists(), _is_cut_short(path)
    descriptor = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
    with os.fdopen(descriptor, "a", encoding="utf-8", newline="\n") as file:
        file.write("\n" * cut_short + "".join(f"{_as_json(each)}\n" for each in missing))
        file.flush()
        os.fsync(file.fileno())
    if is_new:
        put_on_disk(path.parent)
    return len(missing)


def _as_json(line: Line) -> str:
    return json.dumps({name: value for name, value in asdict(line).items() if value not in ("", ())}, ensure_ascii=True)


def _is_cut_short(path: Path) -> bool:
    """Whether the last line was cut short, by a power cut: the next one begins anew."""
    if not path.exists() or not path.stat().st_size:
        return False
    with path.open("rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read(1) != b"\n"
