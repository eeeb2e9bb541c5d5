"""What to know of a sheet before its folder is opened: the brief that is read when it is taken up."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime

from app.domain.language import mark, say, say_n
from app.domain.words import stopped


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
    yield say("Sheet {part} of {parts} of this specimen.", part=facts.part, parts=facts.parts)
    if facts.others:
        yield say("The others: {others}.", others="; ".join(map(_other, facts.others)))
    # Royal Botanic Garden Edinburgh, "Mounting herbarium specimens".
    yield say("Pencil “Sheet {part} of {parts}” just above the label.", part=facts.part, parts=facts.parts)


def _other(sheet: OtherSheet) -> str:
    return say("sheet {part}, {number}, {where}", part=sheet.part, number=sheet.shown, where=sheet.where)


def _of_plant(facts: BriefFacts, whole: bool) -> Iterator[str]:
    if whole or not facts.has_label:
        yield say(_LABEL[facts.has_label])
    if whole or facts.bulk == "bulky":
        yield say(_BULK.get(facts.bulk, _NOT_BULKY))
    if facts.pieces > 1:
        yield say_n(
            "{n} part lies in the folder: all of them go on the sheet.",
            "{n} parts lie in the folder: all of them go on the sheet.",
            facts.pieces,
        )
    if facts.notes:
        yield say("The collector's notes: {notes}", notes=facts.notes)


def _queries(facts: BriefFacts) -> Iterator[str]:
    for query in facts.queries:
        what = say(query.words).capitalize()
        yield stopped(f"{what}: {query.why}") if query.why else f"{what}."


def _came_back(facts: BriefFacts, when: Callable[[datetime], str]) -> Iterator[str]:
    before = facts.before
    if before is None:
        return
    at = when(before.glued_at)
    told = [
        say("It was glued before, {at} with {adhesive}.", at=at, adhesive=before.adhesive)
        if before.adhesive
        else say("It was glued before, {at}.", at=at)
    ]
    if before.found:
        told.append(say("Found wrong: {kinds}.", kinds=", ".join(map(say, before.found))))
    yield " ".join(told)
    yield from (stopped(say("The inspection noted: {note}", note=note)) for note in before.notes)


_LABEL = {
    True: mark("Its label is with it."),
    False: mark("Its label is still to come: keep its place free, bottom right."),
}
_NOT_BULKY = mark("Not bulky.")
_BULK = {"thin": mark("Thin."), "bulky": mark("Bulky: straps or thread for the thick parts, and on top in the stack.")}
