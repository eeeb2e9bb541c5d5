"""The catalogue of words: gathers every message of the program, updates each language's catalogue and compiles it.

`python -m tests.catalogue` after words were added or changed; then translate what is empty in app/languages/*/LC_MESSAGES/blotter.po
and run it again. `tests/test_catalogue.py` asks that nothing is missing and that the compiled files are those of the catalogues.
"""

from __future__ import annotations

import io
import json
import re
import string
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from babel import Locale
from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_javascript, extract_python
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from jinja2.ext import babel_extract

from app.config import HOME
from app.web.languages import CATALOGUES, DOMAIN, FOR_SCRIPTS
from app.web.template_words import spoken_source

KEYWORDS = {"say": None, "mark": None, "said_markup": None, "say_n": (1, 2), "say_in": None, "mark_in": None}
NAMES = [*KEYWORDS]
Found = tuple[int, str, str | tuple[str, ...], list[str]]


@dataclass
class Words:
    """One message as it stands in the program: its text (one and several for a plural), in which sense, and in which files."""

    text: tuple[str, ...]
    context: str = ""
    files: list[str] = field(default_factory=list)


def messages() -> dict[tuple[str, str], Words]:
    """Every message of the program, by its sense (mostly none) and (singular) text, in the order of the files that say it."""
    found: dict[tuple[str, str], Words] = {}
    for path in sources():
        name = path.relative_to(HOME).as_posix()
        for _line, function, text, _notes in _extracted(path):
            for each in _texts(function, text):
                words = found.setdefault((each.context, each.text[0]), each)
                if len(each.text) > len(words.text):
                    words.text = each.text
                if name not in words.files:
                    words.files.append(name)
    return found


def sources() -> list[Path]:
    """Every file whose words a person reads."""
    return [
        *sorted((HOME / "app").rglob("*.py")),
        *sorted((HOME / "templates").rglob("*.html")),
        *sorted((HOME / "static").glob("*.js")),
    ]


def catalogue_of(code: str) -> Catalog:
    """A language's catalogue as it is kept. OSError where there is none."""
    with place_of(code).open("rb") as file:
        return read_po(file, locale=code, domain=DOMAIN)


def place_of(code: str) -> Path:
    """Where a language's catalogue is kept."""
    return CATALOGUES / code / "LC_MESSAGES" / f"{DOMAIN}.po"


def codes() -> list[str]:
    """The languages that there is a folder for."""
    return sorted(each.name for each in CATALOGUES.iterdir() if (each / "LC_MESSAGES").is_dir())


def updated(old: Catalog, code: str) -> Catalog:
    """The catalogue with exactly the program's messages, and the translations of the old one where the words are still the same."""
    fresh = Catalog(locale=code, domain=DOMAIN, project="Blotter", fuzzy=False, charset="utf-8")
    fresh.creation_date, fresh.revision_date = old.creation_date, old.revision_date
    for words in messages().values():
        text = words.text if len(words.text) > 1 else words.text[0]
        context = words.context or None
        before = old.get(text[0] if isinstance(text, tuple) else text, context)
        kept = before.string if before is not None and _shape(before) == len(words.text) and not before.fuzzy else None
        fresh.add(text, kept, locations=[(name, 0) for name in words.files], context=context)
    return fresh


def compiled(catalogue: Catalog) -> bytes:
    """The catalogue as gettext reads it."""
    out = io.BytesIO()
    write_mo(out, catalogue)
    return out.getvalue()


def written(catalogue: Catalog) -> bytes:
    """The catalogue as a person edits it: in the order of the words, so that a change is a small difference."""
    out = io.BytesIO()
    write_po(out, catalogue, width=120, sort_output=True, include_lineno=False, omit_header=False)
    return out.getvalue()


def for_scripts(catalogue: Catalog) -> str:
    """What the pages' scripts say in this language, and what it calls itself."""
    name = Locale.parse(str(catalogue.locale)).get_display_name(str(catalogue.locale)) or str(catalogue.locale)
    words = {
        message.id: message.string
        for message in catalogue
        if message.id and message.string and any(place.endswith(".js") for place, _ in message.locations)
    }
    return json.dumps({"name": name.capitalize(), "words": words}, ensure_ascii=False, indent=1, sort_keys=True) + "\n"


def faults(catalogue: Catalog) -> Iterator[str]:
    """What is wrong in a catalogue: words without a translation, and parts that a translation lacks or makes up."""
    for message in catalogue:
        if not message.id:
            continue
        ours = message.id if isinstance(message.id, tuple) else (message.id,)
        theirs = message.string if isinstance(message.string, tuple) else (message.string,)
        if not all(theirs):
            yield f"not translated: {ours[0]}"
            continue
        there_are = set().union(*(parts_of(text) for text in ours))
        asked = zip(theirs, ours if len(ours) == len(theirs) else (ours[-1],) * len(theirs), strict=True)
        others = any(
            parts_of(text) - there_are or parts_of(english) - {"n"} - parts_of(text) for text, english in asked
        )
        if others or _are_uncounted(ours, theirs):
            yield f"other parts: {ours[0]} | {theirs[0]}"
        if any(
            text[:1].isspace() != ours[0][:1].isspace() or text[-1:].isspace() != ours[0][-1:].isspace()
            for text in theirs
        ):
            yield f"other spaces at the ends: {ours[0]!r} | {theirs[0]!r}"


def _are_uncounted(ours: tuple[str, ...], theirs: tuple[str, ...]) -> bool:
    """Whether many are said without their number; one may be."""
    return len(ours) > 1 and "n" in parts_of(ours[-1]) - parts_of(theirs[-1])


def parts_of(text: str) -> set[str]:
    """The names of the parts that are put into a message."""
    try:
        return {name for _, name, _, _ in string.Formatter().parse(text) if name}
    except ValueError:
        return set(re.findall(r"\{(\w+)\}", text))


def main() -> None:
    """Update and compile every catalogue, and say what is still to be translated."""
    for code in codes():
        place = place_of(code)
        old = catalogue_of(code) if place.exists() else Catalog(locale=code, domain=DOMAIN)
        fresh = updated(old, code)
        place.write_bytes(written(fresh))
        kept = catalogue_of(code)
        place.with_suffix(".mo").write_bytes(compiled(kept))
        (CATALOGUES / code / FOR_SCRIPTS).write_text(for_scripts(kept), "utf-8")
        wrong = list(faults(kept))
        print(f"{code}: {len(kept)} messages, {len(wrong)} to be seen to")
        for line in wrong[:20]:
            print(f"  {line}")


def _extracted(path: Path) -> Iterable[Found]:
    if path.suffix == ".html":
        source = io.BytesIO(spoken_source(path.read_text("utf-8")).encode())
        return list(babel_extract(source, NAMES, [], {"trimmed": "false", "silent": "false"}))
    with path.open("rb") as file:
        extract = extract_python if path.suffix == ".py" else extract_javascript
        return list(extract(file, NAMES, [], {"encoding": "utf-8"}))


def _texts(function: str, text: str | tuple[str, ...]) -> Iterator[Words]:
    """The message of one call: both of a plural, the second argument in the sense of the first, else the first; nothing
    where it is no literal.
    """
    given = text if isinstance(text, tuple) else (text,)
    if function in ("say_n", "say_in", "mark_in"):
        if len(given) >= 2 and given[0] and given[1]:
            yield Words(given[:2]) if function == "say_n" else Words(given[1:2], given[0])
    elif given and given[0]:
        yield Words(given[:1])


def _shape(message: Message) -> int:
    return len(message.id) if isinstance(message.id, tuple) else 1


if __name__ == "__main__":
    main()
