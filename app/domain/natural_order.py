"""The order in which people put names and numbers: P2 before P10."""

from __future__ import annotations

import re


def natural_order(text: str) -> list[tuple[int, str]]:
    """A key for sorting in which the runs of digits in a text count as whole numbers: P2 before P10, 9 before 10, 10 before 10a."""
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in re.split(r"(\d+)", text)]
