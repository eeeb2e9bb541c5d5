"""What an inspection may find wrong with a mounted sheet: the room's own short list, and a mark as it is sent and kept."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from app.domain.language import mark, say, say_n

NOTE_LONGEST = 120
MOST_MARKS = 20


@dataclass(frozen=True, slots=True)
class FindingRow:
    """A kind of finding: how it is said, and the zones of the sheet where it is looked for; none for the whole sheet."""

    words: str
    zones: frozenset[str] = frozenset()


def _row(words: str, *zones: str) -> FindingRow:
    return FindingRow(words, frozenset(zones))


# The order is that of the list on the screen: the plant, then label, packet, seal and number, then the whole sheet.
FINDINGS: dict[str, FindingRow] = {
    "loose-part": _row(mark("loose part"), "plant"),
    "over-the-edge": _row(mark("over the edge"), "plant", "edge"),
    "flower-hidden": _row(mark("flower or fruit hidden"), "plant"),
    "one-leaf-face": _row(mark("only one leaf face shown"), "plant"),
    "too-much-adhesive": _row(mark("too much adhesive"), "plant", "label", "packet"),
    "lifting": _row(mark("lifting or cockled"), "plant", "label"),
    "stuck-to-paper": _row(mark("stuck to its release paper"), "plant"),
    "label-wrong": _row(mark("label wrong"), "label"),
    "label-missing": _row(mark("label missing"), "label"),
    "label-crooked": _row(mark("label crooked"), "label"),
    "slips-covered": _row(mark("no room for slips"), "slips"),
    "packet-missing": _row(mark("packet missing"), "packet"),
    "packet-upside-down": _row(mark("packet upside down"), "packet"),
    "packet-two-as-one": _row(mark("two packets folded as one"), "packet"),
    "seal-covered": _row(mark("seal corner covered"), "seal"),
    "number-mismatch": _row(mark("number does not match"), "code"),
    "mould-or-pest": _row(mark("mould or pest"), "plant"),
    "other": _row(mark("something else")),
}

# How a look ended. Two of them are steps of their own: what is glued anew, and what goes back to the table.
PASSED, TO_MEND, MENDED, RE_GLUED, SENT_BACK = "passed", "to-be-mended", "mended-here", "re-glued", "back-to-table"
LOOK_WORDS: dict[str, str] = {
    PASSED: mark("passed"), TO_MEND: mark("to be mended"), MENDED: mark("mended here"), RE_GLUED: mark("glued again"),
    SENT_BACK: mark("back to the table"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mark:
    """One thing found: its kind, where on the sheet in thousandths of width and height (None: nowhere said), and a note."""

    kind: str
    x: int | None = None
    y: int | None = None
    note: str = ""

    @property
    def words(self) -> str:
        """The kind, said."""
        return kind_words(self.kind)

    @property
    def text(self) -> str:
        """The mark as it is sent and kept: `loose-part@512,430 the lowest leaf`."""
        place = f"@{self.x},{self.y}" if self.x is not None and self.y is not None else ""
        return f"{self.kind}{place} {self.note}".rstrip()


def kind_words(kind: str) -> str:
    """A kind of finding as it is said; one that is no longer in the list as it was written."""
    row = FINDINGS.get(kind)
    return say(row.words) if row else kind.replace("-", " ")


def mark_of(text: str) -> Mark:
    """The mark that a text means; ValueError with a sentence for a kind that there is not, or a place off the sheet."""
    found = _MARK.fullmatch(text.strip())
    kind = found["kind"] if found else text.strip()[:40]
    if found is None or kind not in FINDINGS:
        raise ValueError(say("There is no finding called {kind}.", kind=kind))
    place = place_of(found["place"] or "")
    if found["place"] and place is None:
        raise ValueError(say("{place} is no place on the sheet: both run from 0 to 1000.", place=found["place"]))
    x, y = place or (None, None)
    return Mark(kind, x, y, " ".join((found["note"] or "").split())[:NOTE_LONGEST])


def place_of(text: str) -> tuple[int, int] | None:
    """The place that "512,430" means, in thousandths of the sheet's width and height; None for what is none."""
    found = re.fullmatch(r"([0-9]{1,4}),([0-9]{1,4})", text)
    x, y = (int(found[1]), int(found[2])) if found else (-1, -1)
    return (x, y) if 0 <= x <= 1000 and 0 <= y <= 1000 else None


def marks_of(texts: Iterable[str]) -> tuple[Mark, ...]:
    """The marks that these texts mean, each once; ValueError as for one, and for more than a look may have."""
    found = tuple(dict.fromkeys(mark_of(text) for text in texts if text.strip()))
    if len(found) > MOST_MARKS:
        raise ValueError(
            say_n(
                "{n} finding is too many for one look: {most} at most.",
                "{n} findings are too many for one look: {most} at most.",
                len(found),
                most=MOST_MARKS,
            )  # fmt: skip
        )
    return found


def found_lines(texts: Iterable[str]) -> list[str]:
    """What an entry kept as found, as one sentence of the log: "Found: loose part (the lowest leaf), label crooked."."""
    found = [mark_of(text) for text in texts]
    kinds = [each.words + (f" ({each.note})" if each.note else "") for each in found]
    return [say("Found: {kinds}.", kinds=", ".join(kinds))] if kinds else []


def kinds_for(zone: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The kinds that are looked for in a zone, and the others, each in the order of the list."""
    here = tuple(kind for kind, row in FINDINGS.items() if zone in row.zones)
    return here, tuple(kind for kind in FINDINGS if kind not in here)


_MARK = re.compile(r"(?P<kind>[a-z]+(?:-[a-z]+)*)(?:@(?P<place>[0-9,]+))?(?:\s+(?P<note>.*))?", re.DOTALL)
