"""Entries of the log said as sentences, the way one colleague tells another."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from app.domain.holds import HOLDS
from app.domain.numbers import Pattern, shown
from app.domain.stages import STEP_WORDS, Step
from app.domain.words import dated, duration

SAME_TIME = timedelta(minutes=2)
# What was done, and what follows behind who and where.
Said = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Hands:
    """Who did it and who stood beside, as far as their names may be shown."""

    did: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Telling:
    """In which zone and at which moment it is told, and how this room's numbers are spelled."""

    zone: ZoneInfo
    now: datetime
    patterns: Sequence[Pattern]

    def when(self, moment: datetime) -> str:
        """A moment as the log says it: "Wed 25 Nov 14:06"."""
        return dated(moment, self.zone, self.now)

    def number(self, number: object) -> str:
        """A sheet's number as people read it."""
        return shown(str(number), self.patterns)


def sentence(entry: Any, hands: Hands, telling: Telling) -> str:
    """One entry of a sheet's log as a sentence, with what else is worth knowing of it behind."""
    step = Step(entry.step)
    deed, tail = DEEDS[step](entry, telling) if step in DEEDS else (STEP_WORDS[step][1], _to(entry))
    who_where = _by(hands) + (f" at {entry.station}" if entry.station else "")
    first = _full(f"{telling.when(entry.happened_at)} — {deed if who_where else deed.rstrip(',')}{who_where}{tail}")
    return " ".join([first, *_asides(entry, step, telling)])


def correction(entry: Any, corrected: Any, hands: Hands, telling: Telling) -> str:
    """An entry that takes back an earlier one, as a sentence."""
    deed = STEP_WORDS[Step(corrected.step)][1]
    taken = f"“{deed}” of {telling.when(corrected.happened_at)} taken back{_by(hands)}"
    return f"{telling.when(entry.happened_at)} — {taken}{_why(entry)}"


def taken_back(entry: Any, hands: Hands, telling: Telling) -> str:
    """By whom, when and why an entry was taken back."""
    return f"Taken back{_by(hands)}, {telling.when(entry.happened_at)}{_why(entry)}"


def _by(hands: Hands) -> str:
    by = f" by {' and '.join(hands.did)}" if hands.did else ""
    return f"{by}, with {' and '.join(hands.beside)} beside" if hands.beside else by


def _why(entry: Any) -> str:
    return _full(f": {entry.reason}" if entry.reason else "")


def _full(words: str) -> str:
    """A sentence with its stop, unless a reason that was typed in brought its own."""
    return words if words.endswith((".", "?", "!")) else f"{words}."


def _place(entry: Any) -> str:
    if entry.cabinet is None:
        return entry.bundle or ""
    return f"{entry.cabinet}, shelf {entry.shelf}" if entry.shelf else str(entry.cabinet)


def _to(entry: Any) -> str:
    place = _place(entry)
    return f", to {place}" if place and entry.step != Step.PAPERS_CHANGED else ""


def _in(entry: Any) -> str:
    place = _place(entry)
    return f", in {place}" if place else ""


def _asides(entry: Any, step: Step, telling: Telling) -> list[str]:
    facts: Mapping[str, Any] = entry.facts
    found = [words for name, words in _MARKS.items() if facts.get(name)]
    if facts.get("counts_until"):
        found.append(f"Its time counts up to {telling.when(datetime.fromisoformat(facts['counts_until']))}.")
    if entry.after_the_fact:
        found.append("Written as already done.")
    if facts.get("broke"):
        found.append(f"Against a rule: {', '.join(code.replace('-', ' ') for code in facts['broke'])}.")
    return [*found, *_holds(facts, step), *_recorded(entry, telling), *_reason(entry, step)]


def _holds(facts: Mapping[str, Any], step: Step) -> list[str]:
    if step in (Step.PUT_HOLD, Step.LIFT_HOLD):
        return []
    put, lifted = _kinds(facts.get("holds", ())), _kinds(facts.get("lifts", ()))
    return [*([f"Held: {put}."] if put else []), *([f"No longer held: {lifted}."] if lifted else [])]


def _recorded(entry: Any, telling: Telling) -> list[str]:
    if entry.is_late:
        return [f"Late entry, recorded {telling.when(entry.recorded_at)}."]
    apart = entry.recorded_at - entry.happened_at > SAME_TIME
    return [f"Recorded {telling.when(entry.recorded_at)}."] if apart else []


def _reason(entry: Any, step: Step) -> list[str]:
    said = entry.reason and step not in (Step.PUT_HOLD, Step.WITHDRAW)
    return [_full(f"Reason: {entry.reason}")] if said else []


def _kinds(kinds: Sequence[str]) -> str:
    return ", ".join(HOLDS[kind].words if kind in HOLDS else kind for kind in kinds)


def _put_under_weight(entry: Any, telling: Telling) -> Said:
    return f"put under weight in {entry.stack}", f", to lie {duration(entry.minimum_s)}" if entry.minimum_s else ""


def _take_out(entry: Any, telling: Telling) -> Said:
    lain = int(entry.facts.get("under_weight_s", 0)) // 60 * 60
    out = f"taken out of {entry.from_stack} after {duration(lain)} under weight"
    return f"let out {duration(entry.early_by_s)} early: {out}" if entry.early_by_s else out, _to(entry)


def _found_out(entry: Any, telling: Telling) -> Said:
    return f"found out of {entry.from_stack} without a release", ""


def _inspect(entry: Any, telling: Telling) -> Said:
    outcome = str(entry.facts.get("sets", {}).get("outcome", "")).replace("-", " ")
    return f"inspected: {outcome}," if outcome else "inspected", _to(entry)


def _another(entry: Any, telling: Telling) -> Said:
    if "of" in entry.facts:
        return f"made as another sheet of {telling.number(entry.facts['of'])}", ""
    return f"another sheet made, {telling.number(entry.facts.get('new_number', ''))},", ""


def _renumber(entry: Any, telling: Telling) -> Said:
    old, new = (telling.number(entry.facts.get(name, "")) for name in ("old_number", "new_number"))
    return f"given the number {new} instead of {old}", ""


def _together(entry: Any, telling: Telling) -> Said:
    return f"put together with {telling.number(entry.facts.get('into', entry.facts.get('old_number', '')))}", ""


def _unmounted(entry: Any, telling: Telling) -> Said:
    return f"kept unmounted as a {entry.facts.get('sets', {}).get('unmounted', 'packet')}", _to(entry)


def _restate(entry: Any, telling: Telling) -> Said:
    if "raised_from_s" not in entry.facts:
        return STEP_WORDS[Step.RESTATE][1], ""
    was = duration(entry.facts["raised_from_s"])
    return "time under weight made longer", f", to lie {duration(entry.minimum_s)} instead of {was}"


def _put_hold(entry: Any) -> Said:
    if entry.facts.get("with_whom"):
        return f"sent out to {entry.facts['with_whom']}", _because(entry)
    return f"held for {_kinds(entry.facts.get('holds', ()))}", _because(entry)


def _because(entry: Any) -> str:
    return f": {entry.reason}" if entry.reason else ""


DEEDS: dict[Step, Callable[[Any, Telling], Said]] = {
    Step.PUT_UNDER_WEIGHT: _put_under_weight,
    Step.TAKE_OUT: _take_out,
    Step.FOUND_OUT: _found_out,
    Step.INSPECT: _inspect,
    Step.ANOTHER_SHEET: _another,
    Step.RENUMBER: _renumber,
    Step.PUT_TOGETHER: _together,
    Step.GOES_UNMOUNTED: _unmounted,
    Step.RESTATE: _restate,
    Step.SHELVE: lambda entry, telling: (f"put in {_place(entry)}", ""),
    Step.PUT_BACK: lambda entry, telling: (f"put back in {_place(entry)}", ""),
    Step.FILE: lambda entry, telling: ("filed", _in(entry)),
    Step.PUT_HOLD: lambda entry, telling: _put_hold(entry),
    Step.LIFT_HOLD: lambda entry, telling: (f"hold lifted, {_kinds(entry.facts.get('lifts', ()))},", ""),
    Step.WITHDRAW: lambda entry, telling: ("withdrawn", _because(entry)),
}
_MARKS = {
    "early_to_feel": "Earlier than is usual for the way it was dried.",
    "read_with_help": "Read with help.",
    "credits": "Credited anew; it had been written for somebody else.",
}
