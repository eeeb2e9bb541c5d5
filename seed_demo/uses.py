"""What the demo's tables take for a sheet: a small packet on each, straps and thread where it is heavy."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

# What a table takes unless something else is said.
TAKES = {"packet": "small", "straps": "none"}


def for_one(bulk: str, facts: Mapping[str, Any]) -> dict[str, Any]:
    """What is said of one sheet that is mounted: its bulk, and where it is bulky the straps and the packet for its fruit."""
    said = {"bulk": bulk, **facts}
    heavy = {"straps": "both", "packet": "large"} if said["bulk"] == "bulky" else {}
    return {**heavy, **said}
