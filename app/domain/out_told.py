"""A sheet on its way out: what is told of it by name, what of that may be told, and how it differs from what was told before."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from app.domain.holds import OUT
from app.domain.own_columns import AS_KEPT, OWN, SAID_HERE, SENSITIVE
from app.domain.parcel import USED
from app.domain.stages import Stage

# Of these what came with the sheet goes before what the room would say: names and kinds given elsewhere stay what they are.
STAYS = frozenset(SAID_HERE) - {"disposition", "modified", "informationWithheld"}
STAGE, SINCE, CABINET, SHELF, WITHDRAWN = (
    f"{OWN}{name}" for name in ("stage", "since", "cabinet", "shelf", "withdrawn")
)
ROOMS_OWN = (STAGE, SINCE, CABINET, SHELF, *(f"{OWN}{name}" for name in ("place", "holds")), WITHDRAWN,
             *(f"{OWN}{name}" for name in ("consignment", "part", "pieces")), SENSITIVE)  # fmt: skip
# What says of a plant marked sensitive no more than its region; the words of its label may say more, and stay here.
_WIDE = """
    continent country countryCode stateProvince institutionID collectionID institutionCode collectionCode
    ownerInstitutionCode occurrenceID materialEntityID basisOfRecord preparations typeStatus typifiedName identifiedBy
    dateIdentified identificationQualifier kingdom phylum class order genus subgenus specificEpithet
    infraspecificEpithet taxonRank vernacularName nomenclaturalCode license rightsHolder accessRights language type
"""
WIDE = frozenset(_WIDE.split())
PLACES = ("locality", "occurrenceRemarks")
WITHHELD = "Exact place and notes are kept back: the plant is marked sensitive."
# What is said to have changed, in the order in which it is said, and by which columns it is seen.
CHANGES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("number", ("catalogNumber",)),
    ("standing", (STAGE, WITHDRAWN, "disposition")),
    ("name", ("scientificName", "scientificNameAuthorship", "family")),
    ("shelf", (CABINET, SHELF)),
    ("label", ("recordedBy", "recordNumber", "eventDate", "locality", "occurrenceRemarks")),
)


@dataclass(frozen=True, slots=True)
class Told:
    """One sheet in words: `cells` by the names of their columns, `kept` what came with it in other columns, as it came.

    `mounted_by` are workers, whose names are told only where the house says so. `more` is what a hand-over adds.
    """

    cells: Mapping[str, str]
    kept: Mapping[str, str] = field(default_factory=dict)
    is_sensitive: bool = False
    mounted_by: tuple[int, ...] = ()
    more: Mapping[str, str] = field(default_factory=dict)

    @property
    def number(self) -> str:
        """The number that the sheet bears."""
        return self.cells["catalogNumber"]

    def cell(self, column: str) -> str:
        """What stands in a column; empty for nothing. What was kept under the name of another column asks for AS_KEPT."""
        if column.startswith(AS_KEPT):
            return self.kept.get(column.removeprefix(AS_KEPT), "")
        if column in STAYS and self.kept.get(column):
            return self.kept[column]
        return (
            self.more.get(column)
            or self.cells.get(column, "")
            or (self.kept.get(column, "") if _is_plain(column) else "")
        )


def kept_back(told: Told) -> Told:
    """The same sheet without what tells where a plant marked sensitive grows, said so; any other as it is."""
    if not told.is_sensitive:
        return told
    cells = {name: text for name, text in told.cells.items() if name not in PLACES}
    kept = {name: text for name, text in told.kept.items() if name in WIDE}
    return replace(told, cells={**cells, "informationWithheld": WITHHELD}, kept=kept)


def disposition(stage: str | None, closed_as: str | None, holds: Collection[str]) -> str:
    """Where a sheet is with respect to the collection, as Darwin Core asks for it under `disposition`."""
    if closed_as is not None:
        return "destroyed" if closed_as.startswith("destroyed") else "no longer here"
    if "not-found" in holds:
        return "missing"
    if OUT in holds:
        return "elsewhere for a time"
    return "in collection" if stage == Stage.FILED else "being prepared"


def changes(was: Told, now: Told) -> tuple[str, ...]:
    """What is told otherwise now than it was, by the kinds of CHANGES; nothing where it is told alike."""
    found = [
        words
        for words, columns in CHANGES
        if any(was.cells.get(name, "") != now.cells.get(name, "") for name in columns)
    ]
    return tuple(found if was.kept == now.kept else [*found, *(["label"] if "label" not in found else [])])


def as_kept(told: Told) -> dict[str, Any]:
    """A told sheet as plain things, to be kept as it is."""
    return {"cells": dict(told.cells), "kept": dict(told.kept), "sensitive": told.is_sensitive,
            "mounted_by": list(told.mounted_by)}  # fmt: skip


def from_kept(kept: Mapping[str, Any]) -> Told:
    """The sheet that was kept so."""
    return Told(kept["cells"], kept["kept"], kept["sensitive"], tuple(kept["mounted_by"]))


def _is_plain(column: str) -> bool:
    """Whether a column may be filled from what came with the sheet under the same name."""
    return column not in USED and column not in SAID_HERE and not column.startswith(OWN)
