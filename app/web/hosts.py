"""By which names a room is called: a page from elsewhere that points its own name at this machine is not let in."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Any

from flask import Response

from app.web.headers import HEADERS

Wsgi = Callable[[dict[str, Any], Any], Iterable[bytes]]
# A name, or an address (one of IPv6 in brackets), and perhaps a port: RFC 9110, 7.2, and RFC 3986, 3.2.2.
_HOST = re.compile(r"([a-z0-9.-]+|\[[0-9a-f]*:[0-9a-f.:]+\])(?::([1-9][0-9]{0,4}))?", re.ASCII | re.IGNORECASE)
WORDS = "This is not an address of Blotter's. Use the one in the window where it runs, or ask whoever runs it to allow this one.\n"


def only_by_name(inner: Wsgi, names: tuple[str, ...]) -> Wsgi:
    """The application, asked only by these names; by any that is well formed where there are none.

    `.example.org` stands for every name below it. A request without a host comes from no browser and is let in.
    """

    def asked(environ: dict[str, Any], start: Any) -> Iterable[bytes]:
        host = environ.get("HTTP_HOST")
        if host is None or _is_one_of(host, names):
            return inner(environ, start)
        return Response(WORDS, 400, HEADERS, mimetype="text/plain")(environ, start)

    return asked


def _is_one_of(host: str, names: tuple[str, ...]) -> bool:
    found = _HOST.fullmatch(host)
    if found is None or int(found[2] or 0) > 65535:
        return False
    said = found[1].lower()
    return not names or any(said == name or (name.startswith(".") and said.endswith(name)) for name in names)
