"""The words of the templates: every run of plain text, and every attribute that is read, is said in the language of the moment.

A template is written in English. When it is compiled, the text between two tags becomes one message, with the expressions in it as
named parts: `<p>Put aside by {{ worker.name }}</p>` is said as "Put aside by {name}". The same reading serves the catalogue.
"""

from __future__ import annotations

import re
from typing import Any

from jinja2 import Environment
from jinja2.ext import Extension
from markupsafe import Markup

from app.domain.language import mark, say, say_in, say_n

READ = frozenset({"aria-label", "title", "placeholder", "alt", "data-label", "data-words"})
_UNSAID = frozenset({"script", "style", "code", "pre"})
# What a template is made of: what Jinja does, tags, and the text between them.
_PIECE = re.compile(
    r"(?P<note>\{#.*?#\})|(?P<deed>\{%.*?%\})|(?P<put>\{\{.*?\}\})|(?P<tag><!--.*?-->|</?[a-zA-Z!](?:\{\{.*?\}\}|\{%.*?%\}|\"(?:\{\{.*?\}\}|\{%.*?%\}|[^\"])*\"|[^>\"])*>)|(?P<text>[^<{]+|.)",
    re.DOTALL,
)
_ATTRIBUTE = re.compile(r"(\s)([a-z-]+)=\"((?:\{\{.*?\}\}|\{%.*?%\}|[^\"])*)\"", re.DOTALL)
_PUT = re.compile(r"\{\{(.*?)\}\}", re.DOTALL)
_LETTERS = re.compile(r"[^\W\d_]{2}|\b[AIa]\b")
_ENTITY = re.compile(r"&#?\w+;")
_NAME = re.compile(r"[A-Za-z_][A-Za-z_0-9]*")


class Spoken(Extension):
    """Says the words of every template that is loaded."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """The template with its words as messages."""
        return spoken_source(source)


def speaks(rooms: Environment) -> None:
    """Let all templates of this environment say their words."""
    rooms.add_extension(Spoken)
    rooms.globals.update(say=say, say_in=say_in, say_n=say_n, mark=mark, said_markup=said_markup)


def said_markup(words: str, /, **parts: Any) -> Markup:
    """A message of a template, which may hold marks of HTML; its parts are escaped unless they are marked up themselves."""
    said = Markup(say(words))
    return said.format(**parts) if parts else said


def spoken_source(source: str) -> str:
    """A template's source in which each run of words between two tags, and each attribute that is read, is one call."""
    out: list[str] = []
    run: list[str] = []
    unsaid = 0
    for piece in _PIECE.finditer(source):
        kind, text = str(piece.lastgroup), piece.group()
        if kind in ("text", "put") and not unsaid and not _is_tight(kind, text):
            run.append(text)
            continue
        out.append(_said_run("".join(run)))
        run.clear()
        unsaid += _change(text) if kind == "tag" else 0
        out.append(_ATTRIBUTE.sub(_said_attribute, text) if kind == "tag" else text)
    out.append(_said_run("".join(run)))
    return "".join(out)


def _is_tight(kind: str, text: str) -> bool:
    """Whether an expression takes the spaces beside it away, so that it cannot be part of a sentence."""
    return kind == "put" and (text.startswith("{{-") or text.endswith("-}}"))


def _change(tag: str) -> int:
    """Whether a tag opens (1) or closes (-1) a part whose text is no sentence."""
    name = _NAME.search(tag)
    if name is None or name.group().lower() not in _UNSAID or tag.endswith("/>"):
        return 0
    return -1 if tag.startswith("</") else 1


def _said_run(run: str) -> str:
    if not _has_words(run):
        return run
    head, tail = run[: len(run) - len(run.lstrip())], run[len(run.rstrip()) :]
    return f"{head}{_call(run.strip())}{tail}"


def _said_attribute(found: re.Match[str]) -> str:
    space, name, value = found.groups()
    if name not in READ or "{%" in value or not _has_words(value):
        return found.group()
    return f'{space}{name}="{_call(value)}"'


def _has_words(text: str) -> bool:
    # What a macro puts into a tag is no sentence.
    return '="' not in _PUT.sub(" ", text) and bool(_LETTERS.search(_ENTITY.sub(" ", _PUT.sub(" ", text))))


def _call(run: str) -> str:
    """The call which says a run of text and expressions."""
    parts: dict[str, str] = {}

    def name_part(found: re.Match[str]) -> str:
        return "\0" + _part_name(found.group(1).strip(), parts) + "\1"

    words = re.sub(r"\s+", " ", _PUT.sub(name_part, run))
    if parts:
        words = words.replace("{", "{{").replace("}", "}}")
    words = words.replace("\0", "{").replace("\1", "}")
    quoted = words.replace("\\", "\\\\").replace('"', '\\"')
    return (
        "{{ said_markup(" + ", ".join([f'"{quoted}"', *(f"{name}=({each})" for name, each in parts.items())]) + ") }}"
    )


def _part_name(expression: str, parts: dict[str, str]) -> str:
    """A name for an expression that a translator can read: the last name in it before any filter or argument."""
    head = re.split(r"[|(\[~+]| if ", expression, maxsplit=1)[0]
    names = _NAME.findall(head) or _NAME.findall(expression) or ["part"]
    base = names[-1].strip("_") or "part"
    name, number = base, 2
    while name in parts and parts[name] != expression:
        name, number = f"{base}_{number}", number + 1
    parts[name] = expression
    return name
