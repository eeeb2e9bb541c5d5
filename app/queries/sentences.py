"""Entries of the log said as sentences, the way one colleague tells another."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from app.domain.findings import found_lines
from app.domain.stages import STEP_WORDS, Step
from app.domain.used import used_words
from app.queries.sentence_deeds import DEEDS, kinds_said, to_where
from app.queries.telling import Hands, Telling

SAME_TIME = timedelta(minutes=2)


def sentence(entry: Any, hands: Hands, telling: Telling) -> str:
    """One entry of a sheet's log as a sentence, with what else is worth knowing of it behind."""
    step = Step(entry.step)
    deed, tail = DEEDS[step](entry, telling) if step in DEEDS else (STEP_WORDS[step][1], to_where(entry))
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


def _asides(entry: Any, step: Step, telling: Telling) -> list[str]:
    facts: Mapping[str, Any] = entry.facts
    found = [words for name, words in _MARKS.items() if facts.get(name)]
    if facts.get("counts_until"):
        found.append(f"Its time counts up to {telling.when(datetime.fromisoformat(facts['counts_until']))}.")
    if facts.get("not_before"):
        since = telling.when(datetime.fromisoformat(facts["not_before"]))
        found.append(f"Its time is uncertain: between {since} and {telling.when(entry.happened_at)}.")
    if entry.after_the_fact:
        found.append("Written as already done.")
    if facts.get("broke"):
        found.append(f"Against a rule: {', '.join(code.replace('-', ' ') for code in facts['broke'])}.")
    with_ = [f"With {used_words(facts['used'])}."] if facts.get("used") else []
    with_ += found_lines(facts.get("findings", ()))
    return [*with_, *found, *_holds(facts, step), *_recorded(entry, telling), *_reason(entry, step)]


def _holds(facts: Mapping[str, Any], step: Step) -> list[str]:
    if step in (Step.PUT_HOLD, Step.LIFT_HOLD):
        return []
    put, lifted = kinds_said(facts.get("holds", ())), kinds_said(facts.get("lifts", ()))
    return [*([f"Held: {put}."] if put else []), *([f"No longer held: {lifted}."] if lifted else [])]


def _recorded(entry: Any, telling: Telling) -> list[str]:
    if entry.is_late:
        return [f"Late entry, recorded {telling.when(entry.recorded_at)}."]
    apart = entry.recorded_at - entry.happened_at > SAME_TIME
    return [f"Recorded {telling.when(entry.recorded_at)}."] if apart else []


def _reason(entry: Any, step: Step) -> list[str]:
    said = entry.reason and step not in (Step.PUT_HOLD, Step.WITHDRAW)
    return [_full(f"Reason: {entry.reason}")] if said else []


_MARKS = {
    "early_to_feel": "Earlier than is usual for the way it was dried.",
    "read_with_help": "Read with help.",
    "sealed": "The seal is on.",
    "credits": "Credited anew; it had been written for somebody else.",
}
