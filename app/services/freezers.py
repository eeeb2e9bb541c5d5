"""What happens to a freezer: opened, defrosted, without power, running again; every load in it starts its days again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import update
from sqlalchemy.engine import RowMapping

from app.domain.answer import WORDS, Answer, Ask, Choice
from app.domain.calendar import as_utc
from app.domain.errors import Refusal, Refused
from app.domain.freezing import WARMING, celsius
from app.domain.language import mark, say
from app.domain.stages import STEP_WORDS, Step
from app.services.custody import enter_thing
from app.services.desk import Desk, behind, somebody_is_here
from app.services.loads import CABINET, load_by_id, lying_in, name_of, refold, touched_since
from app.services.log import standing_rows
from app.services.saying import desk_tell
from app.services.treating import tell_again

COLDEST, WARMEST = -90.0, 40.0


def freezer_event(desk: Desk, freezer: RowMapping, step: Step) -> Answer:
    """Write what happened to a freezer, and fold the loads in it anew. Refused: not-signed-in, out-of-order, misread-number."""
    somebody_is_here(desk)
    if step is Step.STAYED_COLD:
        return _stayed_cold(desk, freezer)
    if (late := behind(desk, freezer["last_at"])) is not None and not desk.is_late:
        raise Refused(late)
    entry_id = write_event(desk, freezer, step, _span(desk, freezer, step))
    inside = lying_in(desk.session, freezer["id"])
    lines = (f"{freezer['name']}: {STEP_WORDS[step][1]}.", *begins_again(desk, inside))
    return asked_for_reading(
        freezer, Answer("done", say("Written."), lines, step=step.value, entry=entry_id), inside, step
    )


def write_event(desk: Desk, freezer: RowMapping, step: Step, facts: dict[str, Any]) -> int:
    """One entry of a freezer and what follows from it; the entry."""
    entry_id = enter_thing(
        desk, "cabinet", freezer["id"], step, happened_at=desk.happened_at, facts=facts, reason=desk.request.reason
    )
    follow_freezer(desk, freezer["id"], _begins(facts) or desk.happened_at)
    return entry_id


def follow_freezer(desk: Desk, freezer_id: int, since: datetime, *, is_told: bool = True) -> None:
    """Fold everything anew that rests on a freezer's log after this moment; of opened loads their sheets are told."""
    rows = standing_rows(desk.session, "cabinet", freezer_id)
    last = max((row.happened_at for row in rows), default=None)
    desk.session.execute(update(CABINET).where(CABINET.c.id == freezer_id).values(last_at=last))
    for load_id in touched_since(desk.session, freezer_id, since):
        follow_load(desk, load_id, is_told=is_told)


def follow_load(desk: Desk, load_id: int, *, is_told: bool = True) -> RowMapping:
    """Fold one load anew; if it was opened and no longer counts as it did, its sheets are told."""
    before = load_by_id(desk.session, load_id)["treated"]
    load = refold(desk, load_id)
    if is_told and before is not None and load["treated"] is not None and before != load["treated"]:
        tell_again(desk, load)
    return load


def asked_for_reading(freezer: RowMapping, answer: Answer, inside: Sequence[RowMapping], step: Step) -> Answer:
    """The answer, asking what a logger showed where loads start their days again by what was written."""
    if step not in WARMING or not inside:
        return answer
    next_ = say("If a logger in {name} shows that it stayed cold, say the highest it shows.", name=freezer["name"])
    return Answer(
        answer.kind,
        answer.word,
        answer.lines,
        f"{answer.next} {next_}".strip(),
        step=answer.step,
        entry=answer.entry,
        ask=Ask("facts.highest_c", say("Highest by the logger, °C")),
        carry={"code": freezer["code"], "step": Step.STAYED_COLD.value},
    )


def begins_again(desk: Desk, inside: Sequence[RowMapping]) -> tuple[str, ...]:
    """What is said of the loads that lie in a freezer after something has warmed it."""
    when = desk_tell(desk)
    lines = []
    for load in (load_by_id(desk.session, each["id"]) for each in inside):
        due = enough_at(load)
        lines.append(
            say("{name}: leave it in until {until}.", name=load["name"], until=when(due))
            if due
            else say("{name}: its days begin when it is cold again.", name=load["name"])
        )
    return tuple(lines)


def freezer_state(desk: Desk, freezer: RowMapping) -> Answer:
    """What lies in a freezer, and what may be said of it, when its code is scanned with no load in hand."""
    inside = lying_in(desk.session, freezer["id"])
    what = name_of(inside) or say("no load")
    lines = (
        say(
            "{name}, {degrees}: {loads} in it.",
            name=freezer["name"],
            degrees=celsius(freezer["freezes_to_c"]),
            loads=what,
        ),
        *begins_again(desk, inside),
    )
    choices = tuple(Choice(words, "step", step.value) for step, words in SAID.items())
    next_ = say("To put a load in, scan the load's card first; then this code again.")
    return Answer("which-one", WORDS["which-one"], lines, next_, choices=choices, carry={"code": freezer["code"]})


def enough_at(load: RowMapping) -> datetime | None:
    """When a load has been cold for long enough by its row; None while nobody can say."""
    return load["cold_at"] + timedelta(days=load["rule_days"]) if load["cold_at"] and load["rule_days"] else None


def reading(desk: Desk, name: str) -> float:
    """A temperature that was typed, in degrees Celsius; refused with misread-number for what is none."""
    text = str(desk.request.facts.get(name, "")).strip().replace(",", ".").replace("−", "-").removesuffix("°C").strip()
    try:
        found = float(text)
    except ValueError:
        found = float("nan")
    if not COLDEST <= found <= WARMEST:
        raise Refused(
            Refusal(
                "misread-number",
                say("That is not a temperature."),
                say("Type it in degrees Celsius, as −21."),
                "which-one",
            )
        )
    return found


def _stayed_cold(desk: Desk, freezer: RowMapping) -> Answer:
    highest = reading(desk, "highest_c")
    rows = standing_rows(desk.session, "cabinet", freezer["id"])
    event = next((row for row in reversed(rows) if row.step in WARMING), None)
    if event is None:
        raise Refused(
            Refusal(
                "out-of-order", say("Nothing has warmed {name}.", name=freezer["name"]), say("Nothing is to be done.")
            )
        )
    if (late := behind(desk, freezer["last_at"])) is not None and not desk.is_late:
        raise Refused(late)
    facts = {"of": event.id, "highest_c": highest, "begins": event.facts.get("begins") or event.happened_at.isoformat()}
    entry_id = write_event(desk, freezer, Step.STAYED_COLD, facts)
    lines = (
        say("{name} showed {degrees} at the highest.", name=freezer["name"], degrees=celsius(highest)),
        *begins_again(desk, lying_in(desk.session, freezer["id"])),
    )
    return Answer("done", say("Written."), lines, step=Step.STAYED_COLD.value, entry=entry_id)


def _span(desk: Desk, freezer: RowMapping, step: Step) -> dict[str, Any]:
    """From when until when it was warm; only the manager says so of earlier times. Found without power, it was so since
    somebody last wrote anything of it.
    """
    told = desk.request.facts if desk.is_late else {}
    facts = {name: _moment(told[name]).isoformat() for name in ("begins", "ends") if told.get(name)}
    if step is Step.POWER_CUT and not desk.is_late:
        moments = [freezer["last_at"], *(each["last_at"] for each in lying_in(desk.session, freezer["id"]))]
        known = [each for each in moments if each is not None and each <= desk.happened_at]
        facts["begins"] = max(known, default=desk.happened_at).isoformat()
    return facts


def _moment(told: object) -> datetime:
    try:
        return as_utc(datetime.fromisoformat(str(told)))
    except ValueError as error:
        words = say("That is no time with its offset, as 2026-11-25T14:07:00+01:00.")
        raise Refused(Refusal("misread-number", words, say("Say from when until when it was."), "which-one")) from error


def _begins(facts: dict[str, Any]) -> datetime | None:
    return datetime.fromisoformat(facts["begins"]) if facts.get("begins") else None


SAID: dict[Step, str] = {
    Step.FREEZER_OPENED: mark("It was opened"),
    Step.DEFROSTED: mark("It is being defrosted"),
    Step.POWER_CUT: mark("It has no power"),
    Step.FREEZER_RUNS: mark("It runs again"),
}
