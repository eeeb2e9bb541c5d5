"""What may go into a load: a tied bundle whole or not at all, and nothing damp, whichever way it came into it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sqlalchemy import insert, select
from sqlalchemy.engine import RowMapping

from app.domain.answer import Answer
from app.domain.attempt import LoadFacts
from app.domain.errors import Refusal, Refused
from app.domain.freezing_rules import why_not_frozen
from app.domain.language import say, say_n
from app.domain.moves import refusals
from app.domain.numbers import shown
from app.domain.stages import Stage, Step
from app.services.custody import standing_of
from app.services.desk import Desk, behind, somebody_is_here
from app.services.drying import lying_in
from app.services.facts import make_attempt
from app.services.loads import TIED, being_filled, fill, load_facts, load_of_bundle, sheets_of
from app.services.saying import desk_tell
from app.services.sheets import write_step
from app.services.writers import writing_for


def bundle_into_load(desk: Desk, bundle: RowMapping) -> Answer | None:
    """A bundle's card while a load is being filled: all of it goes in, still tied. None where no load is meant.

    Refused: load-closed for one that lies in a freezer, damp and wet-adhesive for what must not be frozen, all by name.
    """
    step, load = desk.request.step, being_filled(desk)
    if step is not Step.FREEZE and (step is not None or load is None):
        _is_not_frozen(desk, bundle)
        return None
    somebody_is_here(desk)
    facts = load_facts(desk)
    if facts is None:
        raise Refused(
            Refusal("no-load", say("Into which load?"), say("Scan the card of the bag or box it goes in."), "which-one")
        )
    return _tied_in(desk, bundle, facts, load)


def refuse_what_is_damp(desk: Desk, load: RowMapping) -> None:
    """Refused: load-empty, and damp or wet-adhesive naming the sheets, whichever way they came into it."""
    rows = sheets_of(desk.session, load)
    if not rows:
        raise Refused(
            Refusal(
                "load-empty",
                say("Nothing is in {name} by the log.", name=load["name"]),
                say("Scan what is in it first."),
            )
        )
    found: dict[str, tuple[Refusal, list[str]]] = {}
    for row in rows:
        refusal = why_not_frozen(Stage(row["stage"])) if row["stage"] else None
        if refusal is not None:
            found.setdefault(refusal.code, (refusal, []))[1].append(shown(row["number"], desk.patterns))
    if found:
        next_ = say("Take what is named out of the bag first.")
        raise Refused(
            *(
                replace(why, words=f"{', '.join(numbers)}: {say(why.words)}", next=next_)
                for why, numbers in found.values()
            )
        )


def _tied_in(desk: Desk, bundle: RowMapping, facts: LoadFacts, load: RowMapping | None) -> Answer:
    rows = lying_in(desk.session, bundle["id"])
    if not rows:
        words = say("{name} is empty by the log.", name=bundle["name"])
        raise Refused(Refusal("load-empty", words, say("Scan its sheets one by one.")))
    tied = replace(facts, tied_id=bundle["id"])
    attempts = [(row, make_attempt(desk, row, standing_of(row), Step.FREEZE, load=tied)) for row in rows]
    if wrong := _wrong(desk, attempts):
        raise Refused(*wrong)
    for row, attempt in attempts:
        write_step(desk, row, attempt, writing_for(desk, row, attempt))
    mine = {"load_id": facts.load_id, "bundle_id": bundle["id"]}
    if desk.session.execute(select(TIED).filter_by(**mine)).first() is None:
        desk.session.execute(insert(TIED), mine)
    if load is not None:
        fill(desk, load)
    line = say_n(
        "{name}, still tied, is in {load}: {n} sheet.",
        "{name}, still tied, is in {load}: {n} sheets.",
        len(rows),
        name=bundle["name"],
        load=facts.name,
    )
    next_ = say("Scan the next; or close the bag, and scan its card once it lies in the freezer.")
    return Answer("done", say("Put into a load."), (line,), next_, step=Step.FREEZE.value, entry=desk.written[-1],
                  moved=tuple(row["number"] for row in rows))  # fmt: skip


def _wrong(desk: Desk, attempts: list[tuple[RowMapping, Any]]) -> list[Refusal]:
    """Why it may not go in: each kind of reason once, with the sheets that it is about."""
    named: dict[str, tuple[Refusal, list[str]]] = {}
    for row, attempt in attempts:
        late = behind(desk, row["last_at"])
        for refusal in (late,) if late is not None else refusals(attempt):
            named.setdefault(refusal.code, (refusal, []))[1].append(shown(row["number"], desk.patterns))
    return [
        replace(refusal, words=f"{', '.join(numbers)}: {refusal.said(desk_tell(desk))}", next=_apart(refusal, desk))
        for refusal, numbers in named.values()
    ]  # fmt: skip


def _apart(refusal: Refusal, desk: Desk) -> str:
    return say(
        "Untie the bundle first and take out what is named. {next_deed}", next_deed=refusal.next_said(desk_tell(desk))
    )


def _is_not_frozen(desk: Desk, bundle: RowMapping) -> None:
    load = load_of_bundle(desk.session, bundle["id"])
    if load is None or load["out_at"] is not None:
        return
    words = say("By the log {name} lies in the freezer, in {load}.", name=bundle["name"], load=load["name"])
    raise Refused(
        Refusal("load-closed", words, say("If it is here, scan the card of the load first, and say that it is out."))
    )
