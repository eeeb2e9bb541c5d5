"""Search keys: text folded so that accents, case and the hybrid sign do not stand in the way of finding."""

from __future__ import annotations

import unicodedata


def folded(text: str) -> str:
    """Text without accents, case, hybrid signs and doubled spaces; what is left is letters, digits and single spaces."""
    plain = unicodedata.normalize("NFKD", text).casefold()
    kept = (each if each.isalnum() else " " for each in plain if not unicodedata.combining(each))
    return " ".join("".join(kept).split())
