"""The fields that scripts send, by request, and the request of the room that each becomes."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from app.domain.findings import MOST_MARKS
from app.domain.hazards import CAUTIONS
from app.domain.holds import HOLDS
from app.domain.language import say
from app.domain.moves import WORKFLOW
from app.domain.pests import BAGGED
from app.domain.press import BULKS
from app.domain.rules import OUTCOMES
from app.domain.stages import Step
from app.domain.table import LONGEST_CELL, NUMBER_TERM
from app.domain.terms import nearest, term_for
from app.domain.used import USES
from app.services.desk import ScanRequest
from app.services.people import Holder
from app.services.scripts import Sent
from app.web.api_reading import BadBody, Fields, amount, checked, day, flag, list_of, moment, one_of, text, whole

MOST_SHEETS = 500
NAME = text(80, blank=False)
REASON = text(500)
WORKERS = list_of(NAME, 2, 1)
# Putting two numbers together has no deed of its own yet; what is only said of a stack is sent to the stack.
STEPS = tuple(step.value for step in WORKFLOW if step is not Step.PUT_TOGETHER) + (Step.COUNT.value,)

FACTS: Fields = {
    "dryness": flag, "felt_again": flag, "label": flag, "fresh": flag, "all": flag, "found": flag,
    "drying": one_of("heated", "unheated"), "pressed_on": day, "adhesive": NAME, "bulk": one_of(*BULKS),
    "hazards": list_of(one_of(*CAUTIONS), len(CAUTIONS)), "layer": whole(1, 999), "beside": NAME,
    "findings": list_of(text(200, blank=False), MOST_MARKS), "sealed": flag,
    "outcome": one_of(*OUTCOMES, BAGGED), "unmounted": one_of("packet", "box"),
    "glued_by": NAME, "read_as": NAME, "second": text(200), "all_but": list_of(NAME, 500), "counted": whole(0, 999),
    "mass_kg": amount(200), "hold": one_of(*HOLDS), "new_number": NAME,
    "with_whom": text(120, blank=False), "due_on": day,
    "packet": one_of(*USES["packet"]), "straps": one_of(*USES["straps"]),
    "load": NAME, "freezer": NAME, "reading_c": text(12, blank=False), "highest_c": text(12, blank=False),
    "begins": text(40, blank=False), "ends": text(40, blank=False),
}  # fmt: skip
WHO_AND_WHEN: Fields = {
    "scan_id": text(80, blank=False), "station": NAME, "workers": WORKERS, "reason": REASON, "held": whole(0, 100_000),
    "happened_at": moment,
}  # fmt: skip
SCAN: Fields = {
    **WHO_AND_WHEN, "code": text(4000), "step": one_of(*STEPS), "stack": NAME, "cabinet": NAME, "shelf": NAME,
    "facts": lambda value: facts_of(value), "early": flag, "already_done": flag,
}  # fmt: skip
WEIGHTS: Fields = {**WHO_AND_WHEN, "on": flag, "found": flag, "counted": FACTS["counted"], "mass_kg": FACTS["mass_kg"]}
CORRECTION: Fields = {name: WHO_AND_WHEN[name] for name in ("scan_id", "station", "workers", "reason", "held")}
SHEETS: Fields = {
    "scan_id": WHO_AND_WHEN["scan_id"], "workers": WORKERS, "consignment": NAME,
    "sheets": lambda value: sheets_of(value),
}  # fmt: skip
HOLDING: Fields = {
    "scan_id": WHO_AND_WHEN["scan_id"], "workers": WORKERS, "reason": REASON, "hold": one_of(*HOLDS), "lift": flag,
    "numbers": list_of(NAME, MOST_SHEETS),
}  # fmt: skip
CELL = text(LONGEST_CELL)


def scan_sent(body: Mapping[str, Any], holder: Holder) -> Sent:
    """The scan that a body asks for."""
    sent = checked(body, SCAN, ("scan_id", "code"))
    facts = sent.get("facts", {})
    step = Step(sent["step"]) if "step" in sent else None
    _check_together(sent, facts, step)
    more = {name: sent[name] for name in ("stack", "cabinet", "shelf", "early", "already_done") if name in sent}
    return sent_as(sent, body, holder, "scan", code=sent["code"], step=step, facts=facts, **more)


def weights_sent(body: Mapping[str, Any], holder: Holder, stack: str) -> tuple[Sent, bool]:
    """What a body says of a stack's weights, and whether they are on; the card's code is still to be found."""
    sent = checked(body, WEIGHTS, ("scan_id", "on"))
    facts = {name: sent[name] for name in ("found", "counted", "mass_kg") if name in sent}
    return sent_as(sent, body, holder, f"weights {stack}", code="", facts=facts), sent["on"]


def correction_sent(body: Mapping[str, Any], holder: Holder, entry_id: int) -> Sent:
    """The correction that a body asks for."""
    sent = checked(body, CORRECTION, ("scan_id",))
    return sent_as(sent, body, holder, f"correction {entry_id}", code="")


def sheets_sent(
    body: Mapping[str, Any], holder: Holder, fresh_id: str
) -> tuple[Sent, tuple[Mapping[str, str], ...], str]:
    """The sheets that a body tells of, and their consignment; without an id of the sender's, `fresh_id` is taken."""
    sent = checked(_with_sheets(body), SHEETS, ("sheets", "consignment"))
    sent.setdefault("scan_id", fresh_id)
    return sent_as(sent, body, holder, "sheets", code=""), sent["sheets"], sent["consignment"]


def holding_sent(body: Mapping[str, Any], holder: Holder) -> tuple[Sent, str, tuple[str, ...], bool]:
    """One hold for many sheets: what a body asks for, the kind, the numbers, and whether it is lifted rather than put."""
    sent = checked(body, HOLDING, ("scan_id", "hold", "numbers", "reason"))
    return sent_as(sent, body, holder, "holds", code=""), sent["hold"], tuple(sent["numbers"]), bool(sent.get("lift"))


def sent_as(sent: Mapping[str, Any], body: Mapping[str, Any], holder: Holder, what: str, **request: Any) -> Sent:
    """A request of the room out of what was sent. How many scans the sender still holds changes from try to try."""
    told = {name: value for name, value in body.items() if name not in ("held", "scan_id")}
    asked = json.dumps([what, told, holder.scope, holder.station_id, holder.worker_id], sort_keys=True)
    when = {name: sent[name] for name in ("happened_at", "held", "reason") if name in sent}
    made = ScanRequest(sent["scan_id"], token_id=holder.token_id, station_id=holder.station_id, worker_ids=(),
                       asked=asked, **when, **request)  # fmt: skip
    facts = dict(made.facts)
    return Sent(made, sent.get("station", ""), sent.get("workers"), str(facts.get("beside", "")))


def facts_of(value: Any) -> dict[str, Any]:
    """The facts that came with a scan, each checked. ValueError for what is no object, BadBody for a fact that is wrong."""
    if not isinstance(value, dict):
        raise ValueError(say("has to be an object"))
    return checked(value, FACTS, within="facts.")


def sheets_of(value: Any) -> tuple[dict[str, str], ...]:
    """Sheets by their Darwin Core names: a list of up to MOST_SHEETS, or one alone. ValueError for anything else."""
    rows = [value] if isinstance(value, dict) else value
    if not isinstance(rows, list) or not 1 <= len(rows) <= MOST_SHEETS:
        raise ValueError(say("has to be one sheet, or a list of 1 to {most}", most=MOST_SHEETS))
    return tuple(_sheet(row, place) for place, row in enumerate(rows))


def _check_together(sent: Mapping[str, Any], facts: Mapping[str, Any], step: Step | None) -> None:
    if "shelf" in sent and "cabinet" not in sent:
        raise BadBody(say("cabinet is missing: a shelf is named together with its cabinet."))
    if step in (Step.PUT_HOLD, Step.LIFT_HOLD) and "hold" not in facts:
        raise BadBody(say("facts.hold is missing: say which hold."))
    if step is Step.COUNT and "counted" not in facts:
        raise BadBody(say("facts.counted is missing: say how many sheets lie in the stack."))


def _with_sheets(body: Mapping[str, Any]) -> dict[str, Any]:
    """One sheet may also be sent as the body itself."""
    if "sheets" in body or not any(term_for(name) for name in body):
        return dict(body)
    rest = {name: value for name, value in body.items() if name in SHEETS}
    return {**rest, "sheets": {name: value for name, value in body.items() if name not in SHEETS}}


def _sheet(row: Any, place: int) -> dict[str, str]:
    if not isinstance(row, dict):
        raise BadBody(say("sheets[{place}] has to be an object with Darwin Core names.", place=place))
    told: dict[str, str] = {}
    for name, value in row.items():
        term = term_for(name)
        if term is None or term in told:
            raise BadBody(f"sheets[{place}].{name[:60]} {_no_term(name, term)}.")
        told[term] = _cell(value, f"sheets[{place}].{term}")
    if not told.get(NUMBER_TERM, "").strip():
        raise BadBody(say("sheets[{place}].{term} is missing.", place=place, term=NUMBER_TERM))
    return told


def _no_term(name: str, term: str | None) -> str:
    if term is not None:
        return say("is there twice")
    meant = nearest(name)
    return (
        say("is no Darwin Core term; the nearest is {meant}", meant=meant) if meant else say("is no Darwin Core term")
    )


def _cell(value: Any, name: str) -> str:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return str(value)
    try:
        return str(CELL(value))
    except ValueError as error:
        raise BadBody(f"{name} {error}.") from error
