"""A pest is seen, by whomever, wherever: the card and then the thing, or the thing and then the card. Quarantine at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from app.domain.answer import WORDS, Answer, Ask, Choice
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.numbers import COMMANDS, Kind, shown
from app.domain.pests import BAG_IT, BAGGED, JUST_SCANNED, QUESTION_STANDS
from app.domain.reading import Exact, read
from app.domain.stages import Step
from app.services.desk import Desk
from app.services.facts import sheet_by_id, sheet_by_number
from app.services.pest_places import (
    cabinet_code,
    in_bundle,
    in_consignment,
    in_load,
    in_place,
    in_stack,
    on_no_sheet,
    on_sheet,
)

CARD = {"code": COMMANDS["pest"]}
Seen = Callable[[Desk, str], Answer]


def pest_card(desk: Desk) -> Answer:
    """The card was scanned: what was scanned just before is what it is about; otherwise it is asked what was seen where.

    Refused: unknown-station away from a station, not-signed-in where nobody is there.
    """
    if desk.station is None:
        raise Refused(
            Refusal(
                "unknown-station",
                say("A card is scanned at a station."),
                say("Name the sheet, with the step quarantine."),
            )
        )
    _somebody_is_here(desk)
    told = desk.request.facts
    if told.get("pest_with"):
        desk.keep(pending=None)
        return in_consignment(desk, str(told["pest_with"]))
    just = _just_scanned(desk)
    if just is not None:
        answer = SEEN_ON[just.kind](desk, just.text)
        _wait(desk, just.text)
        return answer
    _wait(desk, "")
    return _what_was_it_on(desk)


def pest_waits(desk: Desk, kind: Kind, code: str) -> Answer | None:
    """What was scanned after the card has the pest on it, or in it; None where no card waits, or it is no such thing."""
    if kind in SEEN_ON and _is_said(desk, kind):
        _somebody_is_here(desk)
        return SEEN_ON[kind](desk, code)
    waits = _waiting(desk)
    if kind not in SEEN_ON or desk.request.step is not None:
        return None
    told = desk.request.facts.get("pest_on")
    if waits is None and told is None:
        return None
    if told == "no":
        desk.keep(pending=None)
        desk.request = replace(desk.request, facts={})
        return None
    _somebody_is_here(desk)
    if told is None and waits is not None and waits["on"]:
        return None if waits["on"] == code else _on_this_too(desk, code, waits["on"])
    desk.keep(pending=None)
    return SEEN_ON[kind](desk, code)


def pest_said(desk: Desk, text: str) -> Answer:
    """A pest was seen on or in what was typed: a number, a card's code, the name of a cabinet, or a consignment's code.

    Refused: not-signed-in, unknown-consignment where nothing here is called so.
    """
    _somebody_is_here(desk)
    reading = read(text, desk.patterns)
    if isinstance(reading, Exact) and reading.kind in SEEN_ON:
        return SEEN_ON[reading.kind](desk, reading.text)
    code = cabinet_code(desk.session, text.strip())
    return in_place(desk, code) if code is not None else in_consignment(desk, text)


def _is_said(desk: Desk, kind: Kind) -> bool:
    """Whether the request says by itself that a pest is there: a script's step, or how an inspection ended."""
    step, outcome = desk.request.step, desk.request.facts.get("outcome")
    return step is Step.QUARANTINE or (step is Step.INSPECT and outcome == BAGGED and kind is Kind.SHEET)


def _sheet(desk: Desk, code: str) -> Answer:
    row = sheet_by_number(desk.session, code)
    desk.keep(last_sheet_id=None)
    return on_sheet(desk, row) if row is not None else on_no_sheet(desk, shown(code, desk.patterns))


def _what_was_it_on(desk: Desk) -> Answer:
    last = desk.in_hand("last_sheet_id")
    choices: tuple[Choice, ...] = ()
    if last is not None:
        number = sheet_by_id(desk.session, last)["number"]
        choices = (
            Choice(
                say("On {number}", number=shown(number, desk.patterns)), "choose", f"code={number}&facts.pest_on=yes"
            ),
        )
    line = say("Where was it? Scan the sheet, the bundle, the stack or the cabinet.")
    ask = Ask("facts.pest_with", say("Or in what has just arrived: the code of its consignment"))
    return Answer("which-one", WORDS["stop"], (line,), BAG_IT, choices=choices, ask=ask, carry=CARD)


def _on_this_too(desk: Desk, code: str, on: str) -> Answer:
    """The next thing after the card: as likely the one that was meant as the next piece of work."""
    line = say(
        "Was a pest seen on {number}, too? It is written for {other}.",
        number=shown(code, desk.patterns),
        other=shown(on, desk.patterns),
    )
    choices = (
        Choice(say("Yes, on this one too"), "facts.pest_on", "yes"),
        Choice(say("No, go on"), "facts.pest_on", "no"),
    )
    return Answer("which-one", WORDS["which-one"], (line,), say("If it was only on this one, say yes, and tell the manager."),
                  choices=choices, carry={"code": code})  # fmt: skip


def _just_scanned(desk: Desk) -> Exact | None:
    assert desk.station is not None
    code, at = desk.station["last_code"], desk.station["last_code_at"]
    if not code or at is None or not timedelta(0) <= desk.now - at <= JUST_SCANNED:
        return None
    reading = read(code, desk.patterns)
    return reading if isinstance(reading, Exact) and reading.kind in SEEN_ON else None


def _wait(desk: Desk, on: str) -> None:
    desk.keep(pending={"pest": True, "on": on, "at": desk.now.isoformat()})


def _waiting(desk: Desk) -> Mapping[str, Any] | None:
    pending: Mapping[str, Any] = desk.in_hand("pending") or {}
    if "pest" not in pending:
        return None
    stands = JUST_SCANNED if pending["on"] else QUESTION_STANDS
    if desk.now - datetime.fromisoformat(pending["at"]) > stands:
        desk.keep(pending=None)
        return None
    return pending


def _somebody_is_here(desk: Desk) -> None:
    if not desk.by:
        words = say("Nobody is signed in here.")
        raise Refused(
            Refusal("not-signed-in", words, say("{bag_it} Then scan your badge, and say it here.", bag_it=BAG_IT))
        )


SEEN_ON: dict[Kind, Seen] = {
    Kind.SHEET: _sheet,
    Kind.CABINET: in_place,
    Kind.SHELF: in_place,
    Kind.BUNDLE: in_bundle,
    Kind.STACK_ON: in_stack,
    Kind.STACK_OFF: in_stack,
    Kind.LOAD: in_load,
}
