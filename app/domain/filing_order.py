"""The order in which sheets are filed: by family, genus, species and what ranks below it, then by collector and number."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.domain.folding import folded_plant
from app.domain.language import mark, say
from app.domain.natural_order import natural_order

# Ranks below the species in their order, ICN (Shenzhen Code) articles 3.2, 4.2 and 24.1, from memory; the short forms are
# common practice. A nothorank, article H.3, stands with its rank, as the sign of a hybrid does not count either.
_RANKS: tuple[tuple[str, ...], ...] = (
    ("subsp", "ssp", "subspecies"), ("var", "varietas"), ("subvar", "subvarietas"), ("f", "fo", "fma", "forma"),
    ("subf", "subforma"),
)  # fmt: skip
RANKS: dict[str, int] = {word: place for place, words in enumerate(_RANKS, 1) for word in words}
NO_RANK, FORMULA = 0, 99
# Words that leave a name open, and those that may stand among the authors; common practice, no source.
_OPEN = frozenset({"sp", "spp", "species", "indet", "ign", "nov", "undet"})
_DOUBTS = frozenset({"cf", "aff", "nr", "agg", "gr"})
_OF_AUTHORS = frozenset({
    "ex", "et", "in", "and", "non", "nec", "auct", "auctt", "emend", "sensu", "hort", "nom", "fil", "de", "den", "der", "des",
    "del", "della", "di", "da", "dos", "du", "la", "le", "van", "von", "vom", "zu", "zur",
})  # fmt: skip
# Names of families that may be used beside those in -aceae, ICN article 18.5, from memory.
_OLD_FAMILIES = frozenset(
    {"compositae", "cruciferae", "gramineae", "guttiferae", "labiatae", "leguminosae", "palmae", "umbelliferae"}
)
SIGN, SIGNS = "×", "×✕"
NO_NAME, ONLY_FAMILY, ONLY_GENUS = (
    mark("no name yet"),
    mark("no name yet: only its family"),
    mark("no name yet: only its genus"),
)
NO_FAMILY = mark("no family yet")


@dataclass(frozen=True, slots=True)
class Plant:
    """A plant's name taken apart, each part folded; `below` are the ranks below the species with their names, highest first.

    Empty for what the name does not say. Authors and the sign of a hybrid are left out.
    """

    family: str = ""
    genus: str = ""
    species: str = ""
    below: tuple[tuple[int, str], ...] = ()

    @property
    def why_last(self) -> str:
        """Why it comes behind the others of its family or genus, in words; empty for a whole name."""
        if not self.genus:
            return say(ONLY_FAMILY if self.family else NO_NAME)
        return "" if self.species else say(ONLY_GENUS)


@dataclass(frozen=True, slots=True)
class Written:
    """What the order of one sheet goes by, as it is written; empty for what nobody has said."""

    name: str = ""
    family: str = ""
    collector: str = ""
    record_number: str = ""
    number: str = ""


def plant_of(name: str, family: str = "") -> Plant:
    """A name taken apart. "Poa annua L. var. reptans Hausskn." is the variety reptans of Poa annua, of no family."""
    words = [word for word in (_bare(each) for each in name.replace(".", ". ").split()) if word]
    if words and _is_family(words[0]):
        return Plant(key_of(family or words[0]))
    genus = key_of(words[0]) if words and _dotless(words[0]) not in _OPEN else ""
    rest = words[1:]
    while rest and _dotless(rest[0]) in _DOUBTS:
        rest = rest[1:]
    if not rest or not _is_epithet(rest[0]):
        return Plant(key_of(family), genus)
    return Plant(key_of(family), genus, key_of(rest[0]), _below(rest[1:], SIGN in name or " x " in name))


def filing_key(sheet: Written, families: Mapping[str, int] | None = None) -> tuple[object, ...]:
    """What sheets are sorted by to stand in filing order. `families` are the places of the room's own list, by `key_of`;
    families that are not in it follow by name, those of which the family, genus or species is missing come behind the others.
    """
    plant = plant_of(sheet.name, sheet.family)
    place = (families or {}).get(plant.family)
    listed = (2, 0) if not plant.family else (0, place) if place is not None else (1, 0)
    return (
        not (plant.family or plant.genus), *listed, plant.family,
        not plant.genus, plant.genus, not plant.species, plant.species, plant.below,
        not sheet.collector, key_of(sheet.collector), not sheet.record_number, natural_order(sheet.record_number), sheet.number,
    )  # fmt: skip


def key_of(text: str) -> str:
    """A word or name as it is compared: without accents, case, hyphens and the sign of a hybrid, ligatures written out."""
    return "".join(folded_plant(text).split())


def begins_folder(lying: int, most: int) -> bool:
    """Whether the next sheet of a name begins a new folder, where so many lie on the shelf and a folder holds so many."""
    return lying > 0 and lying % most == 0


def _below(words: Sequence[str], is_formula: bool) -> tuple[tuple[int, str], ...]:
    """The names below a species: each word that follows a rank; or one that follows the species at once, without a rank."""
    found = list[tuple[int, str]]()
    for at, word in enumerate(words):
        rank = RANKS.get(_dotless(words[at - 1]), NO_RANK) if at else NO_RANK
        if _is_epithet(word) and (rank or at == 0):
            found.append((FORMULA if is_formula and not rank else rank, key_of(word)))
        elif is_formula and at and _is_epithet(word) and not _is_epithet(words[at - 1]):
            found.append((FORMULA, key_of(word)))
    return tuple(found)


def _bare(word: str) -> str:
    """A word without the sign of a hybrid: alone, joined to it (also the letter x before a capital), or as notho-."""
    word = word.lstrip(SIGNS).strip("'‘’\"“”?[]")
    if word in ("x", "X"):
        return ""
    if len(word) > 1 and word[0] == "x" and word[1].isupper():
        word = word[1:]
    bare = word.removeprefix("notho") if _dotless(word.removeprefix("notho")) in RANKS else word
    return "subsp." if bare == "nssp." else "var." if bare == "nvar." else bare


def _is_epithet(word: str) -> bool:
    """Whether a word may be the name of a species or below: small letters, no abbreviation, nothing of authors."""
    plain = _dotless(word)
    return word[0].islower() and not word.endswith(".") and not {plain} & (_OPEN | _DOUBTS | _OF_AUTHORS | RANKS.keys())


def _is_family(word: str) -> bool:
    return word[0].isupper() and (word.endswith("aceae") or word.lower() in _OLD_FAMILIES)


def _dotless(word: str) -> str:
    return word.removesuffix(".").lower()
