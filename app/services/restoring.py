"""A room that was put back from a backup is told what it missed: who gave their name up, and which keys no longer hold."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import func, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.fitness import LAST_BACKUP
from app.db.models import Attendance, NamedFor, Setting, SignOff, Station, Token, Worker, table_of
from app.db.upsert import replacing
from app.domain.backups import moment_of
from app.domain.language import ENGLISH, speaking
from app.domain.named_text import NamedText
from app.domain.sign_off_rules import sheets_words
from app.domain.stages import Step
from app.services.attendance import NOTHING_IN_HAND, OPEN
from app.services.backup_list import ENDED, LEFT_OFF, NAME_GONE, RESTORED, Line, identities
from app.services.changes import changed
from app.services.codes_given import WHY
from app.services.people import RIGHTS

WORKER, TOKEN, STATION = table_of(Worker), table_of(Token), table_of(Station)
ATTENDANCE, SETTING = table_of(Attendance), table_of(Setting)
SIGN_OFF, NAMED = table_of(SignOff), table_of(NamedFor)
TABLES = {"worker": WORKER, "token": TOKEN, "station": STATION}


def apply_again(session: Session, lines: Sequence[Line], now: datetime) -> Counter[str]:
    """Take away again what was taken away since the backup was made; how much of each kind (see WORDS), each thing once.

    A badge, PIN or password that was changed since is not known here: none is left, and a new one is given. What a worker may
    do becomes no more than it was meanwhile; a sign-off ends when it had ended, and is given again by hand if it was given
    again. Names are another deed (`forgetting_names`). Lines about somebody or something that the backup does not know are
    passed over.
    """
    known, done = identities(session), dict[tuple[str, str, int | None, str], int]()
    for line in lines:
        if known.get((line.subject, line.id)) != line.of:
            continue
        row = session.execute(select(TABLES[line.subject]).where(TABLES[line.subject].c.id == line.id)).mappings().one()
        if many := _taken(session, row, line, now):
            old = _work(line) if line.what == ENDED else None
            changed(session, now, None, line.subject, line.id, f"{line.what}, once more", old=old, why=WHY)
            done[line.subject, line.what, line.id, line.new if line.what == ENDED else ""] = many
    counted: Counter[str] = Counter()
    for (subject, what, *_), many in done.items():
        counted[WORDS[subject, what]] += many
    return counted


def names_to_go(session: Session, lines: Sequence[Line]) -> list[Line]:
    """The lines of those whose name is here again, and has to go once more."""
    known = identities(session)
    named = set(session.execute(select(WORKER.c.id).where(WORKER.c.name_gone_at.is_(None))).scalars())
    return [
        each
        for each in lines
        if each.what == NAME_GONE and each.id in named and known.get(("worker", each.id)) == each.of
    ]


def texts_again(found: Sequence[NamedText], line: Line) -> list[NamedText]:
    """Of the texts that name a worker, those from which the name goes once more: as was chosen then. One that nobody saw then
    loses the whole name; a part of a name may be a plant's or a place's, and stays.
    """
    return [
        each for each in found if each.always or each.mark in line.gone or (each.whole and each.mark not in line.left)
    ]


def end_sessions(session: Session, now: datetime) -> int:
    """Sign everybody out, of browsers and stations; how many times at a station that ended.

    A time at a station ends when its last scan came in, for what happened there afterwards is not in this room.
    """
    # A browser is signed in for as long as the password is as old as it was then.
    session.execute(update(WORKER).where(WORKER.c.password_hash.is_not(None)).values(password_changed_at=now))
    times = select(ATTENDANCE.c.id, ATTENDANCE.c.signed_in_at, STATION.c.seen_at).join(
        STATION, STATION.c.id == ATTENDANCE.c.station_id
    )
    rows = session.execute(times.where(OPEN)).all()
    for row in rows:
        until = max(row.signed_in_at, row.seen_at or row.signed_in_at)
        mine = update(ATTENDANCE).where(ATTENDANCE.c.id == row.id)
        session.execute(mine.values(signed_out_at=until, ended_how="out"))
    session.execute(update(STATION).values(**NOTHING_IN_HAND))
    return len(rows)


def tell_restored(session: Session, now: datetime, backup: str, entries: int) -> None:
    """Write down that the room was put back, from what, with how many entries; from the console, so by nobody's name.

    A backup does not know of itself; that there is one of that moment is known now.
    """
    made_at = moment_of(backup)
    if made_at is not None:
        keep = replacing(session.get_bind().dialect.name, SETTING, ("value",))
        session.execute(keep, {"name": LAST_BACKUP, "value": made_at.isoformat()})
    changed(session, now, None, "room", None, RESTORED, old=backup, new=str(entries), why="from the console")


def count_of(session: Session, model: Any) -> int:
    """How many rows there are of this kind."""
    return session.execute(select(func.count()).select_from(table_of(model))).scalar_one()


def _taken(session: Session, row: RowMapping, line: Line, now: datetime) -> int:
    """Take away what this line tells of; how much of it was left to take."""
    kind = line.subject, line.what
    if kind in ENDINGS:
        return ENDINGS[kind](session, line, now)
    values = DEEDS[kind](row, line, now) if kind in DEEDS else {}
    if values:
        session.execute(update(TABLES[line.subject]).where(TABLES[line.subject].c.id == line.id).values(**values))
    return int(bool(values))


def _work(line: Line) -> str:
    told = (each.partition(":") for each in line.new.split())
    with speaking(ENGLISH):
        return ", ".join(sheets_words(Step(step), difficulty) for step, _, difficulty in told)


def _retired(row: RowMapping, _line: Line, now: datetime) -> dict[str, Any]:
    if row["retired_at"] is not None:
        return {}
    return {"retired_at": now, "badge_code": None, "password_hash": None, "pin_hash": None}


def _badge(row: RowMapping, _line: Line, _now: datetime) -> dict[str, Any]:
    return {"badge_code": None, "badge_since_at": None} if row["badge_code"] is not None else {}


def _password(row: RowMapping, _line: Line, now: datetime) -> dict[str, Any]:
    return {"password_hash": None, "password_changed_at": now} if row["password_hash"] is not None else {}


def _pin(row: RowMapping, _line: Line, _now: datetime) -> dict[str, Any]:
    return {"pin_hash": None} if row["pin_hash"] is not None else {}


def _rights(row: RowMapping, line: Line, _now: datetime) -> dict[str, Any]:
    then, had = set(line.new.split()), set(row["rights"].split())
    left = had & then or then
    return {"rights": " ".join(each for each in RIGHTS if each in left)} if left and left != had else {}


def _token(row: RowMapping, _line: Line, now: datetime) -> dict[str, Any]:
    return {"revoked_at": now} if row["revoked_at"] is None else {}


def _browser(row: RowMapping, _line: Line, _now: datetime) -> dict[str, Any]:
    return {"secret_hash": None} if row["secret_hash"] is not None else {}


def _sign_off(session: Session, line: Line, now: datetime) -> int:
    """It ended when it did: what happened before may still be told, and is judged by what held then."""
    at = min(datetime.fromisoformat(line.at), now)
    which = (SIGN_OFF.c.step + ":" + SIGN_OFF.c.difficulty).in_(line.new.split())
    mine = (SIGN_OFF.c.worker_id == line.id, SIGN_OFF.c.ended_at.is_(None), SIGN_OFF.c.signed_at <= at, which)
    ended = update(SIGN_OFF).where(*mine).values(ended_at=at).returning(SIGN_OFF.c.id)
    return len(session.execute(ended).scalars().all())


def _left_off(session: Session, line: Line, now: datetime) -> int:
    at = min(datetime.fromisoformat(line.at), now)
    who = NAMED.c.worker_id if line.subject == "worker" else NAMED.c.station_id
    mine = (who == line.id, NAMED.c.ended_at.is_(None), NAMED.c.named_at <= at)
    ended = update(NAMED).where(*mine).values(ended_at=at).returning(NAMED.c.id)
    return len(session.execute(ended).scalars().all())


# What stands in a row of its own, with its end.
ENDINGS: dict[tuple[str, str], Callable[[Session, Line, datetime], int]] = {
    ("worker", ENDED): _sign_off, ("worker", LEFT_OFF): _left_off, ("station", LEFT_OFF): _left_off,
}  # fmt: skip
Deed = Callable[[RowMapping, Line, datetime], dict[str, Any]]
DEEDS: dict[tuple[str, str], Deed] = {
    ("worker", "retired"): _retired, ("worker", "new badge"): _badge, ("worker", "password set"): _password,
    ("worker", "PIN set"): _pin, ("worker", "rights"): _rights, ("token", "revoked"): _token,
    ("station", "browser enrolled"): _browser, ("station", "browser left"): _browser,
}  # fmt: skip
# What each is called where it is counted.
WORDS = {
    ("worker", "retired"): "left", ("worker", "new badge"): "badges", ("worker", "password set"): "passwords",
    ("worker", "PIN set"): "PINs", ("worker", "rights"): "rights", ("token", "revoked"): "keys",
    ("station", "browser enrolled"): "browsers", ("station", "browser left"): "browsers",
    ("worker", ENDED): "sign-offs", ("worker", LEFT_OFF): "names for suspected sheets",
    ("station", LEFT_OFF): "names for suspected sheets",
}  # fmt: skip
