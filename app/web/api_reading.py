"""Reading a body strictly: every field is known, has its type, and is refused by its name where it does not."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Collection, Mapping
from datetime import UTC, date, datetime
from typing import Any

from flask import request
from werkzeug.exceptions import RequestEntityTooLarge, UnsupportedMediaType

from app.domain.language import say

# Gives a value as the program has it; ValueError with the rest of a sentence that begins with the name of the field.
Check = Callable[[Any], Any]
Fields = Mapping[str, Check]
LONGEST_NUMBER = 15
EARLIEST = datetime(1970, 1, 2, tzinfo=UTC)


class BadBody(ValueError):
    """A body that is not what the interface reads; the sentence names the field."""


def body_of(most: int) -> dict[str, Any]:
    """The JSON object that was sent, of at most `most` bytes. BadBody in a sentence; 413 and 415 as errors of HTTP."""
    if request.mimetype != "application/json" and not request.mimetype.endswith("+json"):
        raise UnsupportedMediaType()
    if (request.content_length or 0) > most:
        raise RequestEntityTooLarge()
    body = _parsed(request.get_data())
    if not isinstance(body, dict):
        raise BadBody(say("The body has to be one JSON object."))
    return body


def checked(body: Mapping[str, Any], fields: Fields, needed: Collection[str] = (), within: str = "") -> dict[str, Any]:
    """The fields of a body, each checked. BadBody for one that is unknown, missing, or not what it has to be."""
    unknown = [name for name in body if name not in fields]
    if unknown:
        raise BadBody(
            say(
                "{within}{unknown} is not a field here. There are: {fields}.",
                within=within,
                unknown=_clipped(unknown[0]),
                fields=", ".join(fields),
            )
        )
    missing = [name for name in needed if name not in body]
    if missing:
        raise BadBody(say("{within}{missing} is missing.", within=within, missing=missing[0]))
    return {name: _one(fields[name], value, within + name) for name, value in body.items()}


def text(longest: int, *, blank: bool = True) -> Check:
    """Text of at most so many characters, without NUL and lone surrogates."""

    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError(say("has to be text, in quotation marks"))
        if len(value) > longest:
            raise ValueError(say("has more than {longest:,} characters", longest=longest))
        if not blank and not value.strip():
            raise ValueError(say("is empty"))
        if "\0" in value or any("\ud800" <= each <= "\udfff" for each in value):
            raise ValueError(say("holds a character that no text has"))
        return value

    return check


def flag(value: Any) -> bool:
    """True or false, and nothing that only looks like it."""
    if not isinstance(value, bool):
        raise ValueError(say("has to be true or false"))
    return value


def whole(low: int, high: int) -> Check:
    """A whole number between two bounds."""

    def check(value: Any) -> int:
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise ValueError(say("has to be a whole number from {low:,} to {high:,}", low=low, high=high))
        return value

    return check


def amount(high: float) -> Check:
    """A number from nothing up to a bound."""

    def check(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value <= high:
            raise ValueError(say("has to be a number from 0 to {high:g}", high=high))
        return float(value)

    return check


def one_of(*known: str) -> Check:
    """One word out of a list."""

    def check(value: Any) -> str:
        if not isinstance(value, str) or value not in known:
            raise ValueError(say("has to be one of: {known}", known=", ".join(known)))
        return value

    return check


def list_of(check_one: Check, most: int, least: int = 0) -> Check:
    """A list of things that are each checked."""

    def check(value: Any) -> tuple[Any, ...]:
        if not isinstance(value, list) or not least <= len(value) <= most:
            raise ValueError(say("has to be a list of {least} to {most}", least=least, most=most))
        return tuple(check_one(each) for each in value)

    return check


def day(value: Any) -> str:
    """A day as ISO 8601 writes it: "2026-12-31"."""
    try:
        return date.fromisoformat(str(value)).isoformat()
    except ValueError as error:
        raise ValueError(say("has to be a day such as 2026-12-31")) from error


def moment(value: Any) -> datetime:
    """A moment of ISO 8601 with its offset, in UTC; a naive one is refused."""
    if not isinstance(value, str):
        raise ValueError(say("has to be text, in quotation marks"))
    try:
        told = datetime.fromisoformat(value)
    except ValueError as error:
        raise ValueError(say("has to be a moment such as 2026-11-25T14:07:00+01:00")) from error
    if told.tzinfo is None:
        raise ValueError(
            say("has no offset, so nobody can say which moment it is: send it as 2026-11-25T14:07:00+01:00")
        )
    if told.replace(tzinfo=None) < EARLIEST.replace(tzinfo=None) or told.year > 9000:
        raise ValueError(say("lies outside of all that a room can have on record"))
    return told.astimezone(UTC)


def _one(check: Check, value: Any, name: str) -> Any:
    try:
        return check(value)
    except BadBody:
        raise
    except ValueError as error:
        raise BadBody(f"{name} {error}.") from error


def _parsed(data: bytes) -> Any:
    try:
        return json.loads(
            data.decode("utf-8"),
            parse_int=_int,
            parse_float=_float,
            parse_constant=_constant,
            object_pairs_hook=_object,
        )
    except BadBody:
        raise
    except RecursionError as error:
        raise BadBody(say("The body is nested too deeply.")) from error
    except UnicodeDecodeError as error:
        raise BadBody(say("The body is not UTF-8.")) from error
    except ValueError as error:
        raise BadBody(say("The body is not JSON: {why}.", why=error)) from error


def _int(digits: str) -> int:
    if len(digits) > LONGEST_NUMBER:
        raise BadBody(say("The body has a number in it that is longer than any here."))
    return int(digits)


def _float(digits: str) -> float:
    number = float(digits)
    if not math.isfinite(number):
        raise BadBody(say("The body has a number in it that is larger than any here."))
    return number


def _constant(name: str) -> Any:
    raise BadBody(say("The body is not JSON: {name} is no number of JSON.", name=name))


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise BadBody(say("The body names a field twice."))
    return found


def _clipped(name: str) -> str:
    return name if len(name) <= 60 else f"{name[:60]}…"
