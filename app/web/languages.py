"""The languages that the room can speak: which there are, which one is spoken to whoever asks, and the words of the scripts."""

from __future__ import annotations

import gettext
import json
from functools import cache
from pathlib import Path
from typing import Any

from flask import Flask, Response, request
from markupsafe import Markup

from app.config import HOME
from app.domain.language import ENGLISH, Language, speak, spoken

CATALOGUES = HOME / "app" / "languages"
DOMAIN = "blotter"
# Beside each catalogue: what the language calls itself, and those of its words that scripts say.
FOR_SCRIPTS = "for_scripts.json"


def available() -> dict[str, str]:
    """Every language that there is a catalogue for, by code, as it calls itself; English first."""
    return {ENGLISH.code: ENGLISH.name, **_found()}


def language_of(code: str | None) -> Language | None:
    """The language with this code; None for one that there is no catalogue for."""
    if code == ENGLISH.code:
        return ENGLISH
    return _loaded(code) if code in _found() else None


def set_up(app: Flask) -> None:
    """Begin every request in the language that the browser prefers, and say in which it was answered."""
    app.before_request(speak_as_asked)
    app.after_request(_with_language)
    # What the same thread does next begins in English again.
    app.teardown_request(lambda _: speak(ENGLISH))
    app.context_processor(lambda: {"language": spoken().code, "languages": available()})
    app.jinja_env.globals.update(script_words=script_words)


def speak_as_asked() -> None:
    """Speak the language that the browser prefers among those there are; English otherwise."""
    wanted = request.accept_languages.best_match([*available()], default=ENGLISH.code)
    speak(language_of(wanted) or ENGLISH)


def speak_to(code: str | None) -> None:
    """Speak the language that a worker chose, if they chose one."""
    chosen = language_of(code)
    if chosen is not None:
        speak(chosen)


def script_words() -> Markup:
    """What the scripts of a page say, as JSON that may stand in a page: English words to words of the language of the moment."""
    words = _script_words(spoken().code)
    return Markup(words.replace("<", "\\u003c"))


def country_named(code: str, english: str) -> str:
    """A country (ISO 3166-1) as the language of the moment calls it, by Unicode's CLDR; its English name where that has none."""
    if spoken().code == ENGLISH.code:
        return english
    from babel import Locale

    return str(Locale.parse(spoken().code).territories.get(code, english))


def _with_language(response: Response) -> Response:
    if response.mimetype == "text/html":
        response.headers["Content-Language"] = spoken().code
        response.vary.add("Accept-Language")
    return response


@cache
def _found() -> dict[str, str]:
    return {place.parent.name: str(_read(place)["name"]) for place in sorted(CATALOGUES.glob(f"*/{FOR_SCRIPTS}"))}


@cache
def _script_words(code: str) -> str:
    place = CATALOGUES / code / FOR_SCRIPTS
    return json.dumps(_read(place)["words"], ensure_ascii=False) if place.exists() else "{}"


def _read(place: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(place.read_text("utf-8"))
    return found


@cache
def _loaded(code: str) -> Language:
    return load(code, CATALOGUES / code / "LC_MESSAGES" / f"{DOMAIN}.mo")


def load(code: str, place: Path) -> Language:
    """A language from its compiled catalogue, with days, months and signs of numbers by Unicode's CLDR.

    OSError for a file that is not there, ValueError for a code that CLDR does not know.
    """
    # Only for who reads another language: Babel takes a tenth of a second to begin.
    from babel import Locale, UnknownLocaleError

    try:
        locale = Locale.parse(code)
    except UnknownLocaleError as error:
        raise ValueError(f"There is no language {code}.") from error
    with place.open("rb") as file:
        catalogue = gettext.GNUTranslations(file)
    days, months, signs = locale.days["format"], locale.months["format"], locale.number_symbols["latn"]
    wide, short = (tuple(days[width][day] for day in range(7)) for width in ("wide", "abbreviated"))
    long_months, short_months = (
        tuple(months[width][month].rstrip(".") for month in range(1, 13)) for width in ("wide", "abbreviated")
    )
    name = (locale.get_display_name(code) or code).capitalize()
    return Language(code, name, catalogue, wide, short, long_months, short_months, signs["group"], signs["decimal"])
