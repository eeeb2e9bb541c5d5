"""What to know of a sheet before its folder is opened: the brief that is read when it is taken up."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class OtherSheet:
    """Another sheet of the same specimen: which part it is, its number as it is read, and where it is."""

    part: int
    shown: str
    where: str


@dataclass(frozen=True, slots=True)
class Query:
    """Something of a sheet that is in question: name query, label query or number query, and why."""

    words: str
    why: str


@dataclass(frozen=True, slots=True)
class Before:
    """An earlier mounting of a sheet that came back: when, with which adhesive, and what the inspection said of it."""

    glued_at: datetime
    adhesive: str
    found: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BriefFacts:
    """What is known of a sheet for whoever mounts it. `decided` is what was settled about it at intake."""

    has_label: bool
    bulk: str
    pieces: int
    notes: str
    part: int
    parts: int
    others: tuple[OtherSheet, ...]
    queries: tuple[Query, ...]
    decided: tuple[str, ...]
    before: Before | None


def brief_lines(facts: BriefFacts, when: Callable[[datetime], str], *, whole: bool) -> tuple[str, ...]:
    """The brief in sentences, what is out of the ordinary first; `whole` says the ordinary too. `when` spells a moment."""
    return (*_several(facts), *_of_plant(facts, whole), *_queries(facts), *facts.decided, *_came_back(facts, when))


def _several(facts: BriefFacts) -> Iterator[str]:
    if facts.parts < 2:
        return
    yield f"Sheet {facts.part} of {facts.parts} of this specimen."
    if facts.others:
        yield f"The others: {'; '.join(f'sheet {each.part}, {each.shown}, {each.where}' for each in facts.others)}."
    # Royal Botanic Garden Edinburgh, "Mounting herbarium specimens".
    yield f"Pencil “Sheet {facts.part} of {facts.parts}” just above the label."


def _of_plant(facts: BriefFacts, whole: bool) -> Iterator[str]:
    if whole or not facts.has_label:
        yield _LABEL[facts.has_label]
    if whole or facts.bulk == "bulky":
        yield _BULK.get(facts.bulk, "Not bulky.")
    if facts.pieces > 1:
        yield f"{facts.pieces} parts lie in the folder: all of them go on the sheet."
    if facts.notes:
        yield f"The collector's notes: {facts.notes}"


def _queries(facts: BriefFacts) -> Iterator[str]:
    for query in facts.queries:
        yield _stopped(f"{query.words.capitalize()}: {query.why}") if query.why else f"{query.words.capitalize()}."


def _came_back(facts: BriefFacts, when: Callable[[datetime], str]) -> Iterator[str]:
    before = facts.before
    if before is None:
        return
    glue = f" with {before.adhesive}" if before.adhesive else ""
    found = f" Found wrong: {', '.join(before.found)}." if before.found else ""
    yield f"It was glued before, {when(before.glued_at)}{glue}.{found}"
    yield from (_stopped(f"The inspection noted: {note}") for note in before.notes)


def _stopped(words: str) -> str:
    return words if words.endswith((".", "?", "!")) else f"{words}."


_LABEL = {True: "Its label is with it.", False: "Its label is still to come: keep its place free, bottom right."}
_BULK = {"thin": "Thin.", "bulky": "Bulky: straps or thread for the thick parts, and on top in the stack."}
