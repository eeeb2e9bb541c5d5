"""Entries of the log said as sentences, the way one colleague tells another."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from app.domain.findings import found_lines
from app.domain.language import mark, say
from app.domain.stages import STEP_WORDS, Step
from app.domain.used import used_words
from app.domain.words import stopped
from app.queries.rule_names import rule_said
from app.queries.sentence_deeds import DEEDS, kinds_said, to_where
from app.queries.telling import Hands, Telling

SAME_TIME = timedelta(minutes=2)


def sentence(entry: Any, hands: Hands, telling: Telling) -> str:
    """One entry of a sheet's log as a sentence, with what else is worth knowing of it behind."""
    step = Step(entry.step)
    deed, tail = DEEDS[step](entry, telling) if step in DEEDS else (say(STEP_WORDS[step][1]), to_where(entry))
    who_where = _by(hands) + (say(" at {station}", station=entry.station) if entry.station else "")
    what = (deed if who_where else deed.rstrip(",")) + who_where + tail
    first = stopped(say("{moment} — {what}", moment=telling.when(entry.happened_at), what=what))
    return " ".join([first, *_asides(entry, step, telling)])


def correction(entry: Any, corrected: Any, hands: Hands, telling: Telling) -> str:
    """An entry that takes back an earlier one, as a sentence."""
    deed, then = STEP_WORDS[Step(corrected.step)][1], telling.when(corrected.happened_at)
    taken = say("“{deed}” of {moment} taken back{by}", deed=deed, moment=then, by=_by(hands))
    return say("{moment} — {what}", moment=telling.when(entry.happened_at), what=taken + _why(entry))


def taken_back(entry: Any, hands: Hands, telling: Telling) -> str:
    """By whom, when and why an entry was taken back."""
    return say("Taken back{by}, {moment}{why}", by=_by(hands), moment=telling.when(entry.happened_at), why=_why(entry))


def _by(hands: Hands) -> str:
    by = say(" by {names}", names=say(" and ").join(hands.did)) if hands.did else ""
    if not hands.beside:
        return by
    return by + say(", with {names} beside", names=say(" and ").join(hands.beside))


def _why(entry: Any) -> str:
    return stopped(f": {entry.reason}" if entry.reason else "")


def _asides(entry: Any, step: Step, telling: Telling) -> list[str]:
    facts: Mapping[str, Any] = entry.facts
    found = [say(words) for name, words in _MARKS.items() if facts.get(name)]
    if facts.get("counts_until"):
        until = telling.when(datetime.fromisoformat(facts["counts_until"]))
        found.append(say("Its time counts up to {moment}.", moment=until))
    if facts.get("not_before"):
        since = telling.when(datetime.fromisoformat(facts["not_before"]))
        until = telling.when(entry.happened_at)
        found.append(say("Its time is uncertain: between {since} and {until}.", since=since, until=until))
    if entry.after_the_fact:
        found.append(say("Written as already done."))
    if facts.get("broke"):
        rules = ", ".join(map(rule_said, facts["broke"]))
        found.append(say("Against a rule: {rules}.", rules=rules))
    with_ = [say("With {used}.", used=used_words(facts["used"]))] if facts.get("used") else []
    with_ += found_lines(facts.get("findings", ()))
    return [*with_, *found, *_holds(facts, step), *_recorded(entry, telling), *_reason(entry, step)]


def _holds(facts: Mapping[str, Any], step: Step) -> list[str]:
    if step in (Step.PUT_HOLD, Step.LIFT_HOLD):
        return []
    put, lifted = kinds_said(facts.get("holds", ())), kinds_said(facts.get("lifts", ()))
    return [
        *([say("Held: {holds}.", holds=put)] if put else []),
        *([say("No longer held: {holds}.", holds=lifted)] if lifted else []),
    ]


def _recorded(entry: Any, telling: Telling) -> list[str]:
    if entry.is_late:
        return [say("Late entry, recorded {moment}.", moment=telling.when(entry.recorded_at))]
    apart = entry.recorded_at - entry.happened_at > SAME_TIME
    return [say("Recorded {moment}.", moment=telling.when(entry.recorded_at))] if apart else []


def _reason(entry: Any, step: Step) -> list[str]:
    said = entry.reason and step not in (Step.PUT_HOLD, Step.WITHDRAW)
    return [stopped(say("Reason: {reason}", reason=entry.reason))] if said else []


_MARKS = {
    "early_to_feel": mark("Earlier than is usual for the way it was dried."),
    "read_with_help": mark("Read with help."),
    "sealed": mark("The seal is on."),
    "credits": mark("Credited anew; it had been written for somebody else."),
}
