"""What each step says of itself in a sentence of the log."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from app.domain.holds import HOLDS
from app.domain.stages import STEP_WORDS, Step
from app.domain.words import duration
from app.queries.telling import Telling

# What was done, and what follows behind who and where.
Said = tuple[str, str]


def _place(entry: Any) -> str:
    if entry.cabinet is None:
        return entry.bundle or ""
    return f"{entry.cabinet}, shelf {entry.shelf}" if entry.shelf else str(entry.cabinet)


def to_where(entry: Any) -> str:
    """Where to, behind the deed; nothing where the entry names no place."""
    place = _place(entry)
    return f", to {place}" if place and entry.step != Step.PAPERS_CHANGED else ""


def _in(entry: Any) -> str:
    place = _place(entry)
    return f", in {place}" if place else ""


def kinds_said(kinds: Sequence[str]) -> str:
    """Kinds of hold, in words."""
    return ", ".join(HOLDS[kind].words if kind in HOLDS else kind for kind in kinds)


def _put_under_weight(entry: Any, telling: Telling) -> Said:
    return f"put under weight in {entry.stack}", f", to lie {duration(entry.minimum_s)}" if entry.minimum_s else ""


def _take_out(entry: Any, telling: Telling) -> Said:
    lain = int(entry.facts.get("under_weight_s", 0)) // 60 * 60
    out = f"taken out of {entry.from_stack} after {duration(lain)} under weight"
    return f"let out {duration(entry.early_by_s)} early: {out}" if entry.early_by_s else out, to_where(entry)


def _found_out(entry: Any, telling: Telling) -> Said:
    return f"found out of {entry.from_stack} without a release", ""


def _inspect(entry: Any, telling: Telling) -> Said:
    outcome = str(entry.facts.get("sets", {}).get("outcome", "")).replace("-", " ")
    return f"inspected: {outcome}," if outcome else "inspected", to_where(entry)


def _another(entry: Any, telling: Telling) -> Said:
    if "of" in entry.facts:
        return f"made as another sheet of {telling.number(entry.facts['of'])}", ""
    return f"another sheet made, {telling.number(entry.facts.get('new_number', ''))},", ""


def _apart(entry: Any, telling: Telling) -> Said:
    if "of" in entry.facts:
        return (
            f"given a number of its own instead of {telling.number(entry.facts['of'])}, which another sheet keeps",
            "",
        )
    return (
        f"told apart from another sheet with its number, now {telling.number(entry.facts.get('new_number', ''))},",
        "",
    )


def _divide(entry: Any, telling: Telling) -> Said:
    if "of" in entry.facts:
        return f"taken out of the fold of {telling.number(entry.facts['of'])}", ""
    return f"its fold divided, the other plant is {telling.number(entry.facts.get('new_number', ''))},", ""


def _renumber(entry: Any, telling: Telling) -> Said:
    old, new = (telling.number(entry.facts.get(name, "")) for name in ("old_number", "new_number"))
    return f"given the number {new} instead of {old}", ""


def _together(entry: Any, telling: Telling) -> Said:
    return f"put together with {telling.number(entry.facts.get('into', entry.facts.get('old_number', '')))}", ""


def _unmounted(entry: Any, telling: Telling) -> Said:
    return f"kept unmounted as a {entry.facts.get('sets', {}).get('unmounted', 'packet')}", to_where(entry)


def _restate(entry: Any, telling: Telling) -> Said:
    if "raised_from_s" not in entry.facts:
        return STEP_WORDS[Step.RESTATE][1], ""
    was = duration(entry.facts["raised_from_s"])
    return "time under weight made longer", f", to lie {duration(entry.minimum_s)} instead of {was}"


def _put_hold(entry: Any) -> Said:
    if entry.facts.get("with_whom"):
        return f"sent out to {entry.facts['with_whom']}", _because(entry)
    return f"held for {kinds_said(entry.facts.get('holds', ()))}", _because(entry)


def _because(entry: Any) -> str:
    return f": {entry.reason}" if entry.reason else ""


def _unbag(entry: Any, telling: Telling) -> Said:
    treated = "treated" if entry.facts.get("treated") else "which was no treatment"
    return f"taken out of its freezer bag, {entry.facts.get('load_name', 'a load')}", f": {treated}"


def _treatment(entry: Any, telling: Telling) -> Said:
    load = entry.facts.get("load_name")
    if load:
        return f"treatment with {load} {'counts' if entry.facts.get('treated') else 'no longer counts'}, written", ""
    kept = entry.facts.get("sets", {}).get("treated_left_s") is not None
    return f"its cabinet is {'clean' if kept else 'no longer clean'}, written", ""


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
        f"said to be of one specimen with {telling.number(entry.facts['with'])}",
        "",
    ),
    Step.PUT_TOGETHER: _together,
    Step.GOES_UNMOUNTED: _unmounted,
    Step.RESTATE: _restate,
    Step.SHELVE: lambda entry, telling: (f"put in {_place(entry)}", ""),
    Step.PUT_BACK: lambda entry, telling: (f"put back in {_place(entry)}", ""),
    Step.FILE: lambda entry, telling: ("filed", _in(entry)),
    Step.PUT_HOLD: lambda entry, telling: _put_hold(entry),
    Step.LIFT_HOLD: lambda entry, telling: (f"hold lifted, {kinds_said(entry.facts.get('lifts', ()))},", ""),
    Step.UNBAG: _unbag,
    Step.TREATMENT: _treatment,
    Step.WITHDRAW: lambda entry, telling: ("withdrawn", _because(entry)),
}
