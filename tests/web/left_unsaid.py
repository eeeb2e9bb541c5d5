"""A language in which every word that was said stands between two marks: whatever is read outside of them was not said.

Only the fixed words of a message are marked, not what is put into it, so that an unsaid word cannot hide in a sentence.
"""

from __future__ import annotations

import json
import re
from html import unescape
from string import Formatter

from sqlalchemy import select

from app.db.engine import Database, reading
from app.db.models import Base
from app.domain.language import ENGLISH, Language

READ = ("aria-label", "title", "placeholder", "alt", "data-label")
_TAGS = re.compile(r"<(?:[^>\"]|\"[^\"]*\")*>", re.DOTALL)
_UNREAD = re.compile(r"<(script|style|code)\b.*?</\1>|<!--.*?-->", re.DOTALL)
_ATTRIBUTE = re.compile(rf"\s({'|'.join(READ)})=\"([^\"]*)\"")
_SAID = re.compile("⟦[^⟦⟧]*⟧")
_WORD = re.compile(r"[^\W\d_]{2,}")
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT[\d:+-]+")


class Marked:
    """The catalogue: each message with its fixed words between marks."""

    def gettext(self, message: str) -> str:
        return marked(message)

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return marked(msgid1 if n == 1 else msgid2)

    def pgettext(self, context: str, message: str) -> str:
        return marked(message)


def marked(message: str) -> str:
    """A message with its fixed words between marks; "{name} went" becomes "{name}⟦ went⟧"."""
    try:
        pieces = list(Formatter().parse(message))
    except ValueError:
        return f"⟦{message}⟧"
    out = ""
    for fixed, name, spec, conversion in pieces:
        doubled = fixed.replace("{", "{{").replace("}", "}}")
        out += f"⟦{doubled}⟧" if fixed else ""
        if name is not None:
            out += "{" + name + (f"!{conversion}" if conversion else "") + (f":{spec}" if spec else "") + "}"
    return out


def _names(names: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(f"⟦{name}⟧" for name in names)


MARKED = Language("nl", "Marked", Marked(), _names(ENGLISH.weekdays), _names(ENGLISH.short_weekdays),
                  _names(ENGLISH.months), _names(ENGLISH.short_months))  # fmt: skip


def own_words(database: Database) -> set[str]:
    """Every word that stands in any row of the room: names, plants, places, reasons. Those are not translated."""
    found: set[str] = set()
    with reading(database) as session:
        for table in Base.metadata.sorted_tables:
            # What was answered to a scan is no name; of an entry only what was typed is.
            columns = [table.c.reason] if table.name == "entry" else [] if table.name == "scan" else [*table.c]
            for row in session.execute(select(*columns)) if columns else ():
                for value in row:
                    text = value if isinstance(value, str) else json.dumps(value, default=str, ensure_ascii=False)
                    found |= set(_WORD.findall(text))
    return {word.casefold() for word in found}


def unsaid(page: str, own: set[str]) -> list[str]:
    """What is read on a page and was not said: each text or attribute with a word outside the marks that no row has."""
    page = _UNREAD.sub(" ", page)
    texts = [text for text in _TAGS.sub("\0", page).split("\0")] + [value for _, value in _ATTRIBUTE.findall(page)]
    return [
        text
        for text in dict.fromkeys(map(_left, texts))
        if any(word.casefold() not in own for word in _WORD.findall(text))
    ]


def _left(text: str) -> str:
    """What of a text is outside the marks; a moment in ISO 8601 is no word."""
    text, before = _MOMENT.sub(" ", unescape(text)), ""
    while text != before:
        before, text = text, _SAID.sub(" ", text)
    return " ".join(text.split())
