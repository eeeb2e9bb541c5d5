"""The list beside the backups of how far the room has come with its numbers and with the codes of its cards.

A small file that is written anew whenever anything was given out, so that a room that is put back goes on after what was
printed since, even where nothing is left but a backup and what lies beside it.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from pathlib import Path

from app.db.copies import put_on_disk
from app.services.codes_given import Given

FILE_NAME = "numbers-given-out.json"


def keep_given(folder: Path, given: Given) -> bool:
    """Write what was given out into the list of this folder; whether there was anything new. What it knew stays: nothing in it
    goes back. OSError where it cannot be written.
    """
    path = folder / FILE_NAME
    there = read_given(path)
    whole = furthest(there, given)
    if whole == there:
        return False
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    _write(path, json.dumps({f"{prefix} {width}": last for (prefix, width), last in sorted(whole.items())}, indent=1))
    return True


def read_given(path: Path) -> Given:
    """What such a list says; nothing where there is none, or it was spoilt. OSError where it cannot be read."""
    if not path.exists():
        return {}
    found: Given = {}
    with suppress(ValueError, TypeError, AttributeError):
        for key, last in json.loads(path.read_text(encoding="utf-8", errors="replace")).items():
            prefix, width = key.split()
            found[prefix, int(width)] = int(last)
    return found


def furthest(*given: Given) -> Given:
    """Of each prefix, the furthest that any of these say."""
    found: Given = {}
    for each in given:
        found |= {key: max(last, found.get(key, 0)) for key, last in each.items()}
    return found


def _write(path: Path, text: str) -> None:
    part = path.with_name(f"{path.name}.part")
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8", newline="\n") as file:
        file.write(f"{text}\n")
        file.flush()
        os.fsync(file.fileno())
    os.replace(part, path)
    put_on_disk(path.parent)
