"""Somebody's name in a text: found however it is spelled, and put out of it."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import Literal

Mention = Literal["", "part", "name"]
FEWEST_LETTERS = 2


def mention_of(name: str, text: str) -> Mention:
    """Whether a text holds the whole name, or only a part of it, or nothing of it. A part is one of its words
    of at least 2 letters; what is written small in a name ("van", "de") is none.

    Upper and lower case are alike, and a letter is found with or without its accents ("Jorg" for "Jörg"); words only, so
    that "Ann" is not found in "Annual".
    """
    whole, parts = _patterns(name)
    if whole.search(text):
        return "name"
    return "part" if parts.search(text) else ""


def without_name(name: str, text: str, instead: str) -> str:
    """The text with `instead` in place of the name, and in place of each part of it that stands alone."""
    whole, parts = _patterns(name)
    text = whole.sub(lambda _: instead, text)
    return parts.sub(lambda _: instead, text)


@lru_cache(maxsize=64)
def _patterns(name: str) -> tuple[re.Pattern[str], re.Pattern[str]]:
    words = unicodedata.normalize("NFC", name).split()
    # The longest first, so that "Ann-Marie" is not left as "-Marie".
    parts = sorted(filter(_tells, words), key=len, reverse=True) or words
    return _words(r"\s+".join(map(_spelled, words))), _words("|".join(map(_spelled, parts)))


def _tells(word: str) -> bool:
    return sum(map(str.isalpha, word)) >= FEWEST_LETTERS and not word.islower()


def _words(pattern: str) -> re.Pattern[str]:
    return re.compile(rf"(?<!\w)(?:{pattern})(?!\w)", re.IGNORECASE)


def _spelled(word: str) -> str:
    """A word with each letter in every way in which it may be written: composed, in two signs, or bare."""
    return "".join(_letter(each) for each in word)


def _letter(letter: str) -> str:
    apart = unicodedata.normalize("NFD", letter)
    ways = dict.fromkeys(re.escape(way) for way in (apart, letter, apart[0]))
    return f"(?:{'|'.join(ways)})" if len(ways) > 1 else re.escape(letter)
