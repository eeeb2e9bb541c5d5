"""Search keys: text folded so that accents, case and the hybrid sign do not stand in the way of finding."""

from __future__ import annotations

import unicodedata

# Letters that Unicode does not take apart into a letter and its accent.
_LETTERS = str.maketrans({"æ": "ae", "œ": "oe", "ø": "o", "đ": "d", "ł": "l", "ı": "i"})


def folded(text: str) -> str:
    """Text without accents, case, hybrid signs and doubled spaces; what is left is letters, digits and single spaces."""
    plain = unicodedata.normalize("NFKD", text).casefold()
    kept = (each if each.isalnum() else " " for each in plain if not unicodedata.combining(each))
    return " ".join("".join(kept).split())


def folded_plant(text: str) -> str:
    """A plant's name, folded; the letter x that stands alone for the hybrid sign is left out, and æ is written ae."""
    return " ".join(word for word in folded(text).translate(_LETTERS).split() if word != "x")
