"""What each step says of itself in a sentence of the log."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from app.domain.holds import HOLDS
from app.domain.language import mark, say
from app.domain.stages import STEP_WORDS, Step
from app.domain.words import duration
from app.queries.telling import Telling

# What was done, and what follows behind who and where.
Said = tuple[str, str]


def _place(entry: Any) -> str:
    if entry.cabinet is None:
        return entry.bundle or ""
    return (
        say("{cabinet}, shelf {shelf}", cabinet=entry.cabinet, shelf=entry.shelf) if entry.shelf else str(entry.cabinet)
    )


def to_where(entry: Any) -> str:
    """Where to, behind the deed; nothing where the entry names no place."""
    place = _place(entry)
    return say(", to {place}", place=place) if place and entry.step != Step.PAPERS_CHANGED else ""


def _in(entry: Any) -> str:
    place = _place(entry)
    return say(", in {place}", place=place) if place else ""


def kinds_said(kinds: Sequence[str]) -> str:
    """Kinds of hold, in words."""
    return ", ".join(say(HOLDS[kind].words) if kind in HOLDS else kind for kind in kinds)


def _put_under_weight(entry: Any, telling: Telling) -> Said:
    to_lie = say(", to lie {time}", time=duration(entry.minimum_s)) if entry.minimum_s else ""
    return say("put under weight in {stack}", stack=entry.stack), to_lie


def _take_out(entry: Any, telling: Telling) -> Said:
    lain = int(entry.facts.get("under_weight_s", 0)) // 60 * 60
    out = say("taken out of {stack} after {time} under weight", stack=entry.from_stack, time=duration(lain))
    if entry.early_by_s:
        out = say("let out {time} early: {deed}", time=duration(entry.early_by_s), deed=out)
    return out, to_where(entry)


def _found_out(entry: Any, telling: Telling) -> Said:
    return say("found out of {stack} without a release", stack=entry.from_stack), ""


def _inspect(entry: Any, telling: Telling) -> Said:
    outcome = str(entry.facts.get("sets", {}).get("outcome", ""))
    return say("inspected: {outcome},", outcome=OUTCOMES.get(outcome, outcome.replace("-", " "))) if outcome else say(
        "inspected"
    ), to_where(entry)


def _another(entry: Any, telling: Telling) -> Said:
    if "of" in entry.facts:
        return say("made as another sheet of {number}", number=telling.number(entry.facts["of"])), ""
    return say("another sheet made, {number},", number=telling.number(entry.facts.get("new_number", ""))), ""


def _apart(entry: Any, telling: Telling) -> Said:
    if "of" in entry.facts:
        old = telling.number(entry.facts["of"])
        return say("given a number of its own instead of {number}, which another sheet keeps", number=old), ""
    new = telling.number(entry.facts.get("new_number", ""))
    return say("told apart from another sheet with its number, now {number},", number=new), ""


def _divide(entry: Any, telling: Telling) -> Said:
    if "of" in entry.facts:
        return say("taken out of the fold of {number}", number=telling.number(entry.facts["of"])), ""
    new = telling.number(entry.facts.get("new_number", ""))
    return say("its fold divided, the other plant is {number},", number=new), ""


def _renumber(entry: Any, telling: Telling) -> Said:
    old, new = (telling.number(entry.facts.get(name, "")) for name in ("old_number", "new_number"))
    return say("given the number {new} instead of {old}", new=new, old=old), ""


def _together(entry: Any, telling: Telling) -> Said:
    other = telling.number(entry.facts.get("into", entry.facts.get("old_number", "")))
    return say("put together with {number}", number=other), ""


def _unmounted(entry: Any, telling: Telling) -> Said:
    kept_as = str(entry.facts.get("sets", {}).get("unmounted", "packet"))
    return say("kept unmounted as a {thing}", thing=UNMOUNTED.get(kept_as, kept_as)), to_where(entry)


def _restate(entry: Any, telling: Telling) -> Said:
    if "raised_from_s" not in entry.facts:
        return say(STEP_WORDS[Step.RESTATE][1]), ""
    was = duration(entry.facts["raised_from_s"])
    tail = say(", to lie {time} instead of {before}", time=duration(entry.minimum_s), before=was)
    return say("time under weight made longer"), tail


def _put_hold(entry: Any) -> Said:
    if entry.facts.get("with_whom"):
        return say("sent out to {name}", name=entry.facts["with_whom"]), _because(entry)
    return say("held for {holds}", holds=kinds_said(entry.facts.get("holds", ()))), _because(entry)


def _because(entry: Any) -> str:
    return f": {entry.reason}" if entry.reason else ""


def _unbag(entry: Any, telling: Telling) -> Said:
    treated = say(": treated") if entry.facts.get("treated") else say(": which was no treatment")
    load = entry.facts.get("load_name") or say("a load")
    return say("taken out of its freezer bag, {load}", load=load), treated


def _treatment(entry: Any, telling: Telling) -> Said:
    load = entry.facts.get("load_name")
    if load:
        if entry.facts.get("treated"):
            return say("treatment with {load} counts, written", load=load), ""
        return say("treatment with {load} no longer counts, written", load=load), ""
    kept = entry.facts.get("sets", {}).get("treated_left_s") is not None
    return say("its cabinet is clean, written") if kept else say("its cabinet is no longer clean, written"), ""


OUTCOMES = {"passed": mark("passed"), "to-be-mended": mark("to be mended")}
UNMOUNTED = {"packet": mark("packet"), "box": mark("box")}
DEEDS: dict[Step, Callable[[Any, Telling], Said]] = {
    Step.PUT_UNDER_WEIGHT: _put_under_weight,
    Step.TAKE_OUT: _take_out,
    Step.FOUND_OUT: _found_out,
    Step.INSPECT: _inspect,
    Step.ANOTHER_SHEET: _another,
    Step.RENUMBER: _renumber,
    Step.TELL_APART: _apart,
    Step.DIVIDE: _divide,
    Step.SAME_SPECIMEN: lambda entry, telling: (
        say("said to be of one specimen with {number}", number=telling.number(entry.facts["with"])),
        "",
    ),
    Step.PUT_TOGETHER: _together,
    Step.GOES_UNMOUNTED: _unmounted,
    Step.RESTATE: _restate,
    Step.SHELVE: lambda entry, telling: (say("put in {place}", place=_place(entry)), ""),
    Step.PUT_BACK: lambda entry, telling: (say("put back in {place}", place=_place(entry)), ""),
    Step.FILE: lambda entry, telling: (say("filed"), _in(entry)),
    Step.PUT_HOLD: lambda entry, telling: _put_hold(entry),
    Step.LIFT_HOLD: lambda entry, telling: (
        say("hold lifted, {holds},", holds=kinds_said(entry.facts.get("lifts", ()))),
        "",
    ),
    Step.UNBAG: _unbag,
    Step.TREATMENT: _treatment,
    Step.WITHDRAW: lambda entry, telling: (say("withdrawn"), _because(entry)),
}
