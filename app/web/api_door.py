"""The door for scripts: whoever asks brings a key, and each key opens what its scope names."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from flask import Response, current_app, g, request

from app.db.engine import glance, transaction
from app.domain.language import say
from app.queries.doors import known_worker
from app.services.people import Holder, holder_of, use_token
from app.web.permissions import TOKEN_SCOPES
from app.web.problems import problem
from app.web.render import house, now

WRONG_KEYS = 20
WITHIN = timedelta(minutes=5)
USED_EVERY = timedelta(minutes=1)
MOST_ADDRESSES = 1000
STATE = "blotter-keys"


@dataclass
class Keys:
    """What the running program remembers of keys: wrong ones by address, and when a use was last written down."""

    wrong: dict[str, deque[datetime]] = field(default_factory=dict)
    used: dict[int, datetime] = field(default_factory=dict)


def at_the_door() -> Response | None:
    """Let in whoever brings a key for this address (None, and the holder in `g.holder`); else the answer that turns them away.
    What needs no key may be asked without one.
    """
    g.holder = None
    secret = _secret()
    if secret is None:
        return _without_key() if request.endpoint in TOKEN_SCOPES else None
    found = _holder(secret)
    if found is None:
        return _wrong_key()
    g.holder = found
    if request.endpoint in TOKEN_SCOPES and found.scope not in TOKEN_SCOPES[request.endpoint]:
        needs = " or ".join(sorted(TOKEN_SCOPES[request.endpoint]))
        return problem(
            403,
            say(
                "This key is for {scope}, and that needs one for {needs}. Ask the manager for it.",
                scope=found.scope,
                needs=needs,
            ),
        )
    _note_use(found)
    return None


def holder() -> Holder | None:
    """Whoever holds the key that came with this request; None for a request without one."""
    found: Holder | None = g.holder
    return found


def _secret() -> str | None:
    brought = request.authorization
    return brought.token or "" if brought is not None and brought.type == "bearer" else None


def _holder(secret: str) -> Holder | None:
    with glance(house().database) as session:
        found = holder_of(session, secret, now())
        if found is None or found.scope != "manage":
            return found
        # A manager's key is worth no more than its manager: it ends when they leave, or no longer manage.
        worker = known_worker(session, found.worker_id) if found.worker_id is not None else None
    return found if worker is not None and "manager" in worker.rights else None


def _without_key() -> Response:
    response = problem(401, say("Send a key: Authorization: Bearer and the key. The manager makes one."))
    response.headers["WWW-Authenticate"] = 'Bearer realm="blotter"'
    return response


def _wrong_key() -> Response:
    # A right key always opens: else one machine with an old key would lock out all others behind the same address.
    if _is_guessing(request.remote_addr or ""):
        response = problem(
            429, say("Too many wrong keys came from this address. Wait five minutes, then send a right one.")
        )
        response.headers["Retry-After"] = str(int(WITHIN.total_seconds()))
        return response
    response = problem(
        401, say("This key is not known here: it was mistyped, has run out, or was revoked. Ask for a new one.")
    )
    response.headers["WWW-Authenticate"] = 'Bearer realm="blotter", error="invalid_token"'
    return response


def _is_guessing(address: str) -> bool:
    wrong, moment = _keys().wrong, now()
    if len(wrong) > MOST_ADDRESSES:
        wrong.pop(next(iter(wrong)))
    tries = wrong.setdefault(address, deque(maxlen=WRONG_KEYS))
    full = len(tries) == WRONG_KEYS and abs(moment - tries[0]) < WITHIN
    tries.append(moment)
    return full


def _note_use(found: Holder) -> None:
    used, moment = _keys().used, now()
    last = used.get(found.token_id)
    if last is not None and abs(moment - last) < USED_EVERY:
        return
    used[found.token_id] = moment
    with transaction(house().database) as session:
        use_token(session, found.token_id, moment)


def _keys() -> Keys:
    keys: Keys = current_app.extensions.setdefault(STATE, Keys())
    return keys
