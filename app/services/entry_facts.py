"""The facts of an entry, plain enough to be kept."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any


def kept_facts(facts: Mapping[str, Any], sets: Mapping[str, Any], **more: Any) -> dict[str, Any]:
    """The facts as they are kept: what is set in a part of its own, and of the rest what there is."""
    kept: dict[str, Any] = dict(facts)
    if sets:
        kept["sets"] = {name: _plain(value) for name, value in sets.items()}
    return kept | {name: _plain(value) for name, value in more.items() if value}


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat()
    return list(value) if isinstance(value, tuple) else value
