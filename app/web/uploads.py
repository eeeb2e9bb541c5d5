"""A file that was sent in, held between looking at its plan and writing it; in the room's own folder, for one browser."""

from __future__ import annotations

import hashlib
import os
import re
import secrets
from datetime import timedelta
from pathlib import Path
from typing import BinaryIO

from flask import session

from app.domain.source import PIECE, OnDisk
from app.web.render import house, now

LONGEST_HELD = timedelta(hours=12)
_KEY = re.compile(r"[0-9a-f]{64}")


def hold(sent: BinaryIO) -> str:
    """Hold a file for this browser and return the key under which it is asked for; what is old is thrown away."""
    folder = _folder()
    _throw_away_old(folder)
    part, found = folder / f"{secrets.token_hex(16)}.part", hashlib.sha256()
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        while piece := sent.read(PIECE):
            found.update(piece)
            file.write(piece)
    key = found.hexdigest()
    path = part.replace(folder / key)
    # By the room's clock and not the disk's, so that both agree on what is old.
    os.utime(path, (now().timestamp(), now().timestamp()))
    session["upload"] = key
    return key


def held(key: str) -> OnDisk | None:
    """The file that this browser sent under this key; None when it is not held, or another browser's."""
    if not _KEY.fullmatch(key) or session.get("upload") != key:
        return None
    path = _folder() / key
    return OnDisk(path) if path.is_file() else None


def let_go(key: str) -> None:
    """Throw a held file away."""
    if _KEY.fullmatch(key):
        (_folder() / key).unlink(missing_ok=True)
    session.pop("upload", None)


def let_lie() -> None:
    """Leave a held file where it lies, for whoever takes it in; no browser asks for it any more."""
    session.pop("upload", None)


def _folder() -> Path:
    folder = house().config.data / "uploads"
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


def _throw_away_old(folder: Path) -> None:
    for path in folder.iterdir():
        if now().timestamp() - path.stat().st_mtime > LONGEST_HELD.total_seconds():
            path.unlink(missing_ok=True)
