"""Files that go out while they are read: sent piece by piece, and begun only when nothing is wrong with what was asked for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from flask import Response

from app.db.engine import reading
from app.domain.zip_out import in_pieces, zipped
from app.web.render import house

CSV, ZIP, XES = "text/csv", "application/zip", "application/xml"
Files = Iterable[tuple[str, Iterable[str]]]


def text_file(make: Callable[[Any], Iterable[str]], kind: str, name: str) -> Response:
    """A text file made by reading the room. ValueError, in a sentence, for what is not there, before anything is sent."""
    return _sent(lambda session: in_pieces(make(session)), kind, name)


def zip_file(make: Callable[[Any], Files], name: str, *, packed: bool = True) -> Response:
    """An archive made by reading the room. ValueError as `text_file`."""
    return _sent(lambda session: zipped(make(session), packed=packed), ZIP, name)


def _sent(make: Callable[[Any], Iterator[bytes]], kind: str, name: str) -> Response:
    pieces = _pieces(make)
    first = next(pieces)
    response = Response(_after(first, pieces), mimetype=kind)
    response.call_on_close(pieces.close)
    response.headers["Content-Disposition"] = f'attachment; filename="blotter-{name}"'
    return response


def _pieces(make: Callable[[Any], Iterator[bytes]]) -> Any:
    database = house().database

    def pieces() -> Iterator[bytes]:
        # One state of the room from the first piece to the last.
        with reading(database) as session:
            yield from make(session)

    return pieces()


def _after(first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    yield first
    yield from rest
