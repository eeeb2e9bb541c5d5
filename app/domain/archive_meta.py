"""What the metafile of a Darwin Core archive says of its files.

Source: Biodiversity Information Standards (TDWG), Darwin Core text guide, sections 2.1 to 2.4, with the defaults it gives:
fields end at a comma and are enclosed in double quotation marks, lines end at LF, encoding UTF-8, no header lines.
"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import unquote
from xml.etree.ElementTree import Element

from app.domain.language import say
from app.domain.own_columns import ADDRESS, OWN
from app.domain.table_cells import Form
from app.domain.table_faults import BadTable, clipped
from app.domain.terms import term_for

META = "meta.xml"
# What a row of the core may be, so that it can be a sheet: the last part of the type's address.
SPECIMENS = ("Occurrence", "SimpleDarwinRecord", "MaterialEntity", "MaterialSample", "PreservedSpecimen")
MOST_COLUMNS = 400
MOST_HEADER_LINES = 1000
_ENDS = ("\n", "\r\n", "\r")
_ESCAPES = {"\\t": "\t", "\\n": "\n", "\\r\\n": "\r\n", "\\r": "\r", "\\\\": "\\", "\\|": "|"}


@dataclass(frozen=True, slots=True)
class Field:
    """One term of a file: at which place in a row (none: the same in all), and what it is where the row says nothing."""

    term: str
    index: int | None
    default: str


@dataclass(frozen=True, slots=True)
class Part:
    """The core or an extension: its files, how they are read, and which term stands where. `key` is the place of the row's
    id, or in an extension of the id of the core's row.
    """

    kind: str
    files: tuple[str, ...]
    encoding: str
    form: Form
    ends: str
    skipped: int
    key: int | None
    fields: tuple[Field, ...]

    @property
    def width(self) -> int:
        """How many cells a row needs at least."""
        places = [each.index for each in self.fields if each.index is not None]
        return 1 + max([*places, self.key if self.key is not None else -1])


@dataclass(frozen=True, slots=True)
class Meta:
    """A metafile: the core, its extensions, and the file that tells of the whole."""

    core: Part
    extensions: tuple[Part, ...]
    metadata: str


def read_meta(root: Element) -> Meta:
    """What a metafile says; BadTable, in a sentence, where it does not say what is needed, or the core is not of sheets."""
    if root.tag != "archive":
        raise _bad(say("Its root is not <archive>: this is no Darwin Core archive."))
    cores = [each for each in root if each.tag == "core"]
    if len(cores) != 1:
        raise _bad(say("It has no <core>, or more than one: have the archive made again."))
    core = _part(cores[0])
    if core.kind not in SPECIMENS:
        words = say(
            "The core of the archive is {kind}, not Occurrence: export the specimens as its core.",
            kind=core.kind or say("of no kind"),
        )
        raise _bad(words)
    extensions = tuple(_part(each) for each in root if each.tag == "extension")
    if extensions and core.key is None:
        raise _bad(
            say("It has extensions, and its core has no <id> to find their rows by: have the archive made again.")
        )
    return Meta(core, extensions, root.get("metadata", "eml.xml"))


def short(address: str) -> str:
    """A term as the room calls it: Darwin Core's own by their names, a room's own by theirs, others by their whole address."""
    if address.startswith(ADDRESS):
        return OWN + unquote(address.removeprefix(ADDRESS))
    return term_for(address) or address.strip()


def _part(told: Element) -> Part:
    ends = _spelled(told.get("linesTerminatedBy", "\n"))
    if ends not in _ENDS:
        raise _bad(
            say("Lines that end at {ends} are not read here: have the files made with LF or CRLF.", ends=clipped(ends))
        )
    kind = told.get("rowType", "").rstrip("/").rpartition("/")[2].rpartition("#")[2]
    key = _whole(next((each.get("index") for each in told if each.tag.lower() in ("id", "coreid")), None), "id")
    if told.tag == "extension" and key is None:
        raise _bad(say("The extension {kind} has no <coreid>: have the archive made again.", kind=kind))
    skipped = _whole(told.get("ignoreHeaderLines", "0") or "0", "ignoreHeaderLines") or 0
    if skipped > MOST_HEADER_LINES:
        raise _bad(say("It says to pass over {lines:,} header lines, which are more than any file has.", lines=skipped))
    found = Part(kind, _locations(told), told.get("encoding", ""), _form(told), ends, skipped, key, _fields(told))
    if found.width > MOST_COLUMNS:
        raise _bad(
            say(
                "It names a column {place}; up to {most} columns are read.",
                place=found.width - 1,
                most=MOST_COLUMNS,
            )
        )
    return found


def _form(told: Element) -> Form:
    separator = _spelled(told.get("fieldsTerminatedBy", ","))
    quote = _spelled(told.get("fieldsEnclosedBy", '"'))
    if len(separator) != 1 or separator in "\r\n":
        raise _bad(
            say(
                "Fields that end at {separator} are not read here: have them end at a comma or a tab.",
                separator=clipped(separator),
            )
        )
    if len(quote) > 1 or (quote and quote in separator + "\r\n"):
        raise _bad(
            say(
                "Fields enclosed in {quote} are not read here: have them enclosed in double quotation marks.",
                quote=clipped(quote),
            )
        )
    return Form(separator, quote)


def _locations(told: Element) -> tuple[str, ...]:
    found = tuple((each.text or "").strip().removeprefix("./") for files in told if files.tag == "files" for each in files
                  if each.tag == "location")  # fmt: skip
    if not found or not all(found):
        raise _bad(say("It names no file for its {tag}: have the archive made again.", tag=told.tag))
    if away := [name for name in found if "://" in name]:
        raise _bad(
            say("It names {file}, which lies elsewhere: have the file put into the archive.", file=clipped(away[0]))
        )
    return found


def _fields(told: Element) -> tuple[Field, ...]:
    found = []
    for each in (each for each in told if each.tag == "field"):
        term = short(each.get("term", ""))
        if not term:
            raise _bad(say("It has a <field> without a term: have the archive made again."))
        found.append(Field(term, _whole(each.get("index"), "index"), each.get("default", "")))
    terms = [each.term for each in found]
    if twice := [term for place, term in enumerate(terms) if term in terms[:place]]:
        raise _bad(
            say(
                "It names {term} for two columns of its {tag}: have the archive made again.",
                term=clipped(twice[0]),
                tag=told.tag,
            )
        )
    if not found:
        raise _bad(say("It names no field of its {tag}: have the archive made again.", tag=told.tag))
    return tuple(found)


def _whole(text: str | None, name: str) -> int | None:
    if text is None or not text.strip():
        return None
    if not (text.strip().isascii() and text.strip().isdigit() and len(text) < 7):
        raise _bad(
            say(
                "Its {name} is {text}, which is no place in a row: have the archive made again.",
                name=name,
                text=clipped(text),
            )
        )
    return int(text)


def _spelled(text: str) -> str:
    return _ESCAPES.get(text, text)


def _bad(words: str) -> BadTable:
    return BadTable(0, "", words, META)
