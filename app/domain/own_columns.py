"""The columns that a room itself writes in a file of sheets: by their headings they are known again where it is read in."""

from __future__ import annotations

from collections.abc import Iterable

# What a column of the room's own is headed with, and one that is kept under a name that would be read as something else.
OWN, AS_KEPT = "blotter:", "blotter:kept:"
# Of the room's own columns only this is read in again: what was kept back here is kept back there.
SENSITIVE, YES = f"{OWN}sensitive", "yes"
# The same in an archive, where a column is headed with an address.
ADDRESS = "urn:x-blotter:"
# Terms of Darwin Core that the room itself says of a sheet; read in again they are left out, for the room will say them anew.
SAID_HERE = ("occurrenceID", "materialEntityID", "basisOfRecord", "preparations", "disposition", "modified",
             "otherCatalogNumbers", "associatedOccurrences", "informationWithheld")  # fmt: skip
# Beside them the id by which the rows of an archive are found.
LEFT_OUT = frozenset((*SAID_HERE, "id"))


def is_own(headings: Iterable[str]) -> bool:
    """Whether a file with these headings was made by a room: its cells are guarded, and what the room said is not kept."""
    return any(heading.strip().startswith(OWN) for heading in headings)


def own_column(heading: str, *, in_own_file: bool) -> str | None:
    """What a column of a file of the room's own is: the name that it was kept under, empty for one that is left out, and
    None for one that is read like any other.
    """
    if heading.startswith(AS_KEPT):
        return heading.removeprefix(AS_KEPT)
    name = heading.strip()
    if name == SENSITIVE:
        return name
    if name.startswith(OWN) or (in_own_file and name in LEFT_OUT):
        return ""
    return None
