"""The people of the room: the first manager, workers and their badges, passwords and keys for scripts."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError
from sqlalchemy import bindparam, func, insert, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Station, Token, Worker, table_of
from app.db.prepared import prepared
from app.domain.folding import folded
from app.domain.language import say
from app.domain.numbers import Kind, random_code
from app.services.attendance import ATTENDANCE, end_times
from app.services.changes import changed
from app.services.codes_given import WORKERS, next_number

WORKER = table_of(Worker)
TOKEN = table_of(Token)
STATION = table_of(Station)
_TOKEN = prepared(select(TOKEN).where(TOKEN.c.secret_hash == bindparam("secret")))
RIGHTS = ("reader", "volunteer", "trainer", "manager")
SHORTEST_PASSWORD = 10
_hasher = PasswordHasher()


@dataclass(frozen=True, slots=True)
class Holder:
    """Whoever holds a key: its row, what it may do, for which station or worker."""

    token_id: int
    scope: str
    station_id: int | None
    worker_id: int | None


def secret_hash(secret: str) -> str:
    """How a random secret is kept; it is long and random, so a plain hash is enough."""
    return hashlib.sha256(secret.encode()).hexdigest()


def add_worker(session: Session, name: str, rights: Sequence[str], now: datetime, *,
               by: int | None = None) -> tuple[int, str]:  # fmt: skip
    """Add a worker with a new badge; return the worker's id and the badge's code. ValueError for a senseless name or right,
    and for a name that somebody has who works here: in no list could the two be told apart.
    """
    name = " ".join(name.split())
    if not name or not set(rights) <= set(RIGHTS) or not rights:
        raise ValueError(say("A worker needs a name and at least one of: reader, volunteer, trainer, manager."))
    same = select(WORKER.c.number).where(WORKER.c.name_key == folded(name), WORKER.c.retired_at.is_(None))
    if (number := session.execute(same).scalar()) is not None:
        raise ValueError(
            say("{name} works here already, as {number}. Add what tells the two apart.", name=name, number=number)
        )
    badge = random_code(Kind.BADGE, secrets.randbelow)
    values = {"number": f"W{next_number(session, WORKERS):02}", "name": name, "name_key": folded(name), "rights": " ".join(rights),
              "badge_code": badge, "badge_since_at": now, "added_at": now}  # fmt: skip
    worker_id: int = session.execute(insert(WORKER).values(**values).returning(WORKER.c.id)).scalar_one()
    changed(session, now, by, "worker", worker_id, "added", new=name)
    return worker_id, badge


def has_manager(session: Session) -> bool:
    """Whether the room has a manager yet."""
    found = select(WORKER.c.id).where(WORKER.c.rights.contains("manager"), WORKER.c.password_hash.is_not(None))
    return session.execute(found).first() is not None


def set_password(session: Session, worker_id: int, password: str, now: datetime, *, by: int | None = None) -> None:
    """Set a password. ValueError with a sentence for one that is too short."""
    if len(password) < SHORTEST_PASSWORD:
        raise ValueError(say("A password has at least {shortest} characters.", shortest=SHORTEST_PASSWORD))
    mine = update(WORKER).where(WORKER.c.id == worker_id)
    session.execute(mine.values(password_hash=_hasher.hash(password), password_changed_at=now))
    changed(session, now, by, "worker", worker_id, "password set")


def log_in(session: Session, name: str, password: str) -> int | None:
    """The worker who has this name or number and this password; None otherwise. It writes nothing: tries are counted apart."""
    row = _by_name(session, folded(name)[:200])
    stored = row["password_hash"] if row else None
    return int(row["id"]) if _matches(stored, password) and row is not None else None


def password_fits(session: Session, worker_id: int, password: str) -> bool:
    """Whether this is the worker's password."""
    return _matches(session.execute(select(WORKER.c.password_hash).where(WORKER.c.id == worker_id)).scalar(), password)


def enrol_station(session: Session, station_id: int, by: int, now: datetime) -> str:
    """Make the secret that a station's browser keeps; an earlier one no longer holds."""
    secret = secrets.token_urlsafe(32)
    values = {"secret_hash": secret_hash(secret), "enrolled_at": now, "enrolled_by": by}
    session.execute(update(STATION).where(STATION.c.id == station_id).values(**values))
    changed(session, now, by, "station", station_id, "browser enrolled")
    return secret


def make_token(session: Session, scope: str, name: str, now: datetime, *, days: int | None = None,
               station_id: int | None = None, worker_id: int | None = None, by: int | None = None) -> str:  # fmt: skip
    """Make a key for scripts and return it; only its hash is kept. ValueError for a scope that is not."""
    if scope not in ("read", "scan", "manage"):
        raise ValueError(say("A key is for read, scan or manage."))
    secret = secrets.token_urlsafe(32)
    values = {"secret_hash": secret_hash(secret), "scope": scope, "name": name, "station_id": station_id,
              "worker_id": worker_id, "made_at": now, "expires_at": now + timedelta(days=days) if days else None}  # fmt: skip
    token_id = session.execute(insert(TOKEN).values(**values).returning(TOKEN.c.id)).scalar_one()
    changed(session, now, worker_id if by is None else by, "token", token_id, "made", new=f"{scope}: {name}")
    return secret


def revoke_token(session: Session, token_id: int, now: datetime, *, by: int | None) -> None:
    """Make a key useless from now on."""
    session.execute(update(TOKEN).where(TOKEN.c.id == token_id, TOKEN.c.revoked_at.is_(None)).values(revoked_at=now))
    changed(session, now, by, "token", token_id, "revoked")


def holder_of(session: Session, secret: str, now: datetime) -> Holder | None:
    """Who holds this key; None for one that is unknown, expired or revoked."""
    row = session.execute(_TOKEN, {"secret": secret_hash(secret)}).mappings().one_or_none()
    if row is None or row["revoked_at"] is not None or (row["expires_at"] is not None and row["expires_at"] <= now):
        return None
    return Holder(row["id"], row["scope"], row["station_id"], row["worker_id"])


def use_token(session: Session, token_id: int, now: datetime) -> None:
    """Write when a key was last used."""
    session.execute(update(TOKEN).where(TOKEN.c.id == token_id).values(used_at=now))


def new_badge(session: Session, worker_id: int, now: datetime, *, by: int | None) -> str:
    """Give a worker a new badge; the old one no longer signs anybody in."""
    badge = random_code(Kind.BADGE, secrets.randbelow)
    session.execute(update(WORKER).where(WORKER.c.id == worker_id).values(badge_code=badge, badge_since_at=now))
    changed(session, now, by, "worker", worker_id, "new badge")
    return badge


def set_rights(session: Session, worker_id: int, rights: Sequence[str], now: datetime, *, by: int | None) -> None:
    """Change what a worker may do. ValueError for a senseless right, or if the room were left without a manager."""
    if not rights or not set(rights) <= set(RIGHTS):
        raise ValueError(say("A worker has at least one of: reader, volunteer, trainer, manager."))
    if "manager" not in rights:
        _leave_a_manager(session, worker_id)
    mine = WORKER.c.id == worker_id
    old = session.execute(select(WORKER.c.rights).where(mine)).scalar()
    session.execute(update(WORKER).where(mine).values(rights=" ".join(rights)))
    changed(session, now, by, "worker", worker_id, "rights", old=old, new=" ".join(rights))


def retire_worker(session: Session, worker_id: int, now: datetime, *, by: int | None) -> None:
    """A worker leaves: the log stays whole, the badge and the password no longer open anything.

    ValueError if the room were left without a manager.
    """
    _leave_a_manager(session, worker_id)
    values = {"retired_at": now, "badge_code": None, "password_hash": None, "pin_hash": None}
    session.execute(update(WORKER).where(WORKER.c.id == worker_id).values(**values))
    end_times(session, now, "left", ATTENDANCE.c.worker_id == worker_id)
    changed(session, now, by, "worker", worker_id, "retired")


def set_pin(session: Session, worker_id: int, pin: str, now: datetime, *, by: int | None) -> None:
    """Set the PIN for signing in by name. ValueError for one that is not 4 to 8 digits."""
    if not (pin.isascii() and pin.isdigit() and 4 <= len(pin) <= 8):
        raise ValueError(say("A PIN is 4 to 8 digits."))
    session.execute(update(WORKER).where(WORKER.c.id == worker_id).values(pin_hash=_hasher.hash(pin)))
    changed(session, now, by, "worker", worker_id, "PIN set")


def pin_fits(session: Session, worker_id: int, pin: str) -> bool:
    """Whether this is the worker's PIN; a worker without one has none to give. It writes nothing: tries are counted apart."""
    return _matches(session.execute(select(WORKER.c.pin_hash).where(WORKER.c.id == worker_id)).scalar(), pin)


def _leave_a_manager(session: Session, worker_id: int) -> None:
    manages = (WORKER.c.rights.contains("manager"), WORKER.c.password_hash.is_not(None), WORKER.c.retired_at.is_(None))
    managers = session.execute(select(WORKER.c.id).where(*manages)).scalars().all()
    if list(managers) == [worker_id]:
        raise ValueError(say("The room needs a manager who can sign in. Make somebody else manager first."))


def _by_name(session: Session, key: str) -> RowMapping | None:
    mine = (WORKER.c.name_key == key) | (func.lower(WORKER.c.number) == key)
    found = select(WORKER).where(mine, WORKER.c.retired_at.is_(None), WORKER.c.password_hash.is_not(None))
    return session.execute(found.order_by(WORKER.c.id)).mappings().first()


def _matches(stored: str | None, said: str) -> bool:
    try:
        # Without a stored hash one is made all the same, so that the answer takes as long.
        return _hasher.verify(stored, said) if stored else bool(_hasher.hash(said[:64]) and False)
    except (VerificationError, ValueError):
        return False
