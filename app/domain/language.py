"""In which language the room speaks: every word that a person reads is said through this one door.

English is what stands in the code; a language is a catalogue of other words for the same sentences, with the names of its
days and months and the signs of its numbers. Whoever answers a person sets the language for as long as that takes.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol


class Catalogue(Protocol):
    """Words for words, as `gettext.NullTranslations` gives them."""

    def gettext(self, message: str) -> str:
        """The sentence in this language; the sentence itself where it is not known."""

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        """The one of the two that fits so many, in this language."""

    def pgettext(self, context: str, message: str) -> str:
        """The sentence as it is said in this sense; the sentence itself where it is not known in this sense."""


@dataclass(frozen=True, slots=True)
class Language:
    """One language: its code (BCP 47), its catalogue, its names of days (Monday first) and months, its signs in numbers."""

    code: str
    name: str
    catalogue: Catalogue | None
    weekdays: tuple[str, ...]
    short_weekdays: tuple[str, ...]
    months: tuple[str, ...]
    short_months: tuple[str, ...]
    group: str = ","
    point: str = "."


ENGLISH = Language(
    "en",
    "English",
    None,
    ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"),
    ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"),
    ("January", "February", "March", "April", "May", "June",
     "July", "August", "September", "October", "November", "December"),
    ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
)  # fmt: skip
_SPOKEN: ContextVar[Language] = ContextVar("spoken", default=ENGLISH)


def spoken() -> Language:
    """The language of the moment."""
    return _SPOKEN.get()


def speak(language: Language) -> None:
    """Speak this language from now on, in this thread or task."""
    _SPOKEN.set(language)


@contextmanager
def speaking(language: Language) -> Iterator[None]:
    """Speak this language meanwhile, then the one before."""
    before = _SPOKEN.set(language)
    try:
        yield
    finally:
        _SPOKEN.reset(before)


def say(words: str, /, **parts: object) -> str:
    """A sentence in the language of the moment, with its parts put in by name (format specs as in `str.format`).

    Braces that are to be read are doubled where there are parts. KeyError for a part that was not given.
    """
    if not words:
        return ""
    catalogue = _SPOKEN.get().catalogue
    said = str.__str__(words) if catalogue is None else _looked_up(catalogue, words)
    return said.format_map(_Parts(parts)) if parts else said


def say_in(context: str, words: str, /, **parts: object) -> str:
    """As `say`, for words that English has one form for and another language two: `context` says in which sense."""
    return say(Marked(words, context), **parts)


def say_n(one: str, several: str, n: float, /, **parts: object) -> str:
    """The one of two sentences that fits `n`, in the language of the moment; `n` is a part of both.

    English takes the first for 1 only; a number that is not whole takes the second.
    """
    catalogue = _SPOKEN.get().catalogue
    english = one if n == 1 else several
    said = english if catalogue is None else catalogue.ngettext(one, several, int(n) if n == int(n) else 2)
    return said.format_map(_Parts({"n": n, **parts}))


class Marked(str):
    """Words that stand in a table: equal to the English they were written in, and said anew wherever they are put in.

    `context` says in which sense they are meant, where English has one form for two; else it is empty.
    """

    __slots__ = ("context",)
    context: str

    def __new__(cls, words: str, context: str = "") -> Marked:
        """The words, in a sense."""
        made = super().__new__(cls, words)
        made.context = context
        return made

    def __str__(self) -> str:
        return say(self)

    def __format__(self, spec: str) -> str:
        return format(say(self), spec)

    def __html__(self) -> str:
        return _escaped(say(self))


class SaidEnum(StrEnum):
    """Words of a table that are told apart by what they say: compared in English, and said anew wherever they are put in."""

    def __str__(self) -> str:
        return say(self.value)

    def __format__(self, spec: str) -> str:
        return format(say(self.value), spec)


def mark(words: str) -> str:
    """Words of a table that are said later, in the language of whoever asks then."""
    return Marked(words)


def mark_in(context: str, words: str) -> str:
    """As `mark`, for words that are said in a sense of their own."""
    return Marked(words, context)


def number(value: float, spec: str = ",") -> str:
    """A number with the signs of the language of the moment: "1,234.5" where English is spoken."""
    said = format(value, spec)
    language = _SPOKEN.get()
    if language.group == "," and language.point == ".":
        return said
    return said.translate({ord(","): language.group, ord("."): language.point})


class _Parts(dict[str, object]):
    """The parts of a sentence; numbers are said with the signs of the language."""

    def __getitem__(self, name: str) -> object:
        value = super().__getitem__(name)
        return _Number(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else value


class _Number:
    """A number in a sentence: written plainly unless the sentence asks for groups or places."""

    __slots__ = ("value",)

    def __init__(self, value: float) -> None:
        self.value = value

    def __format__(self, spec: str) -> str:
        return number(self.value, spec)


def _looked_up(catalogue: Catalogue, words: str) -> str:
    context = words.context if isinstance(words, Marked) else ""
    plain = str.__str__(words)
    return catalogue.pgettext(context, plain) if context else catalogue.gettext(plain)


def _escaped(text: str) -> str:
    for sign, entity in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&#34;"), ("'", "&#39;")):
        text = text.replace(sign, entity)
    return text
