"""XML from a stranger's archive, read without document types and entities: nothing in it can name or multiply anything."""

from __future__ import annotations

from typing import Any
from xml.etree.ElementTree import Element, TreeBuilder
from xml.parsers import expat

from app.domain.language import say
from app.domain.table_faults import BadTable

MOST_BYTES = 4 * 1024 * 1024
DEEPEST = 64


def read_xml(data: bytes, file: str) -> Element:
    """The root of an XML document; names stand without their namespaces.

    BadTable for one that is broken, too large or too deep, or that declares a document type (and so could declare entities).
    """
    if len(data) > MOST_BYTES:
        raise BadTable(
            0,
            "",
            say("It has more than {most} MB, which no such file needs.", most=MOST_BYTES // 1024 // 1024),
            file,
        )
    try:
        return _parsed(data, file)
    except expat.ExpatError as error:
        words = say(
            "It is no well-formed XML ({code}): have it made again.",
            code=expat.errors.messages.get(error.code, say("broken")),
        )
        raise BadTable(error.lineno, "", words, file) from None
    except (LookupError, ValueError, MemoryError) as error:
        if isinstance(error, BadTable):
            raise
        raise BadTable(0, "", say("It is in an encoding that is not read here: have it made in UTF-8."), file) from None


def _parsed(data: bytes, file: str) -> Element:
    parser, builder, depth = expat.ParserCreate(namespace_separator=" "), TreeBuilder(), 0

    def begins(name: str, attributes: dict[str, str]) -> None:
        nonlocal depth
        depth += 1
        if depth > DEEPEST:
            raise BadTable(parser.CurrentLineNumber, "", say("Its elements lie deeper than any such file needs."), file)
        builder.start(_plain(name), {_plain(key): value for key, value in attributes.items()})

    def ends(name: str) -> None:
        nonlocal depth
        depth -= 1
        builder.end(_plain(name))

    def refuses(*_: Any) -> int:
        words = say(
            "It declares a document type, by which a file can be made to name others: have it made without one."
        )
        raise BadTable(parser.CurrentLineNumber, "", words, file)

    parser.StartElementHandler, parser.EndElementHandler = begins, ends
    parser.CharacterDataHandler, parser.StartDoctypeDeclHandler = builder.data, refuses
    parser.EntityDeclHandler = parser.ExternalEntityRefHandler = refuses
    parser.Parse(data, True)
    return builder.close()


def _plain(name: str) -> str:
    return name.rpartition(" ")[2]
