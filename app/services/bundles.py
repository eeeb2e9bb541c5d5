"""A bundle's card: what happens to all alike is one scan, with an entry for each sheet."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.engine import RowMapping

from app.db.models import Bundle, Sheet, table_of
from app.domain.answer import WORDS, Answer, Choice
from app.domain.errors import Refusal, Refused
from app.domain.holds import AWAY, HOLDS
from app.domain.language import say, say_n
from app.domain.moves import WORKFLOW, refusals
from app.domain.numbers import shown
from app.domain.stages import STEP_WORDS, Step
from app.domain.words import sheets_said
from app.services import saying
from app.services.custody import standing_of
from app.services.desk import Desk, somebody_is_here
from app.services.facts import make_attempt, shelf_facts
from app.services.sheets import write_step
from app.services.writers import writing_for

BUNDLE = table_of(Bundle)
SHEET = table_of(Sheet)


def bundle_by_code(desk: Desk, code: str) -> RowMapping:
    """The bundle with this code; refused when there is none, or its card was withdrawn."""
    found = desk.session.execute(select(BUNDLE).where(BUNDLE.c.code == code).with_for_update()).mappings().one_or_none()
    if found is None or found["closed_at"] is not None:
        raise Refused(
            Refusal("unknown-number", say("No bundle here has this card."), say("Scan its sheets one by one."))
        )
    return found


def scan_bundle(desk: Desk, bundle: RowMapping) -> Answer:
    """Show how many lie in it first; then move all of them, but those that were scanned as exceptions."""
    rows = _in_it(desk, bundle["id"])
    desk.keep(bundle_id=bundle["id"])
    steps = [desk.request.step] if desk.request.step else _steps_for(desk, rows)
    if not rows:
        line = say("{name} is empty. What is scanned next goes in it.", name=bundle["name"])
        return Answer("done", f"{bundle['name']}.", (line,), say("Scan the sheets, one by one."))
    pending = desk.in_hand("pending") or {}
    said_yes = desk.station is None or desk.request.facts.get("all") is True or pending.get("bundle") == bundle["id"]
    if len(steps) == 1 and said_yes and steps[0] is not None:
        left_out = (*pending.get("all_but", ()), *desk.request.facts.get("all_but", ()))
        desk.keep(pending=None, bundle_id=None)
        return _move_all(desk, bundle, rows, steps[0], left_out)
    return _count_first(desk, bundle, rows, [step for step in steps if step is not None])


def leave_out(desk: Desk, row: RowMapping) -> Answer | None:
    """While a bundle is being asked about, a sheet of it that is scanned is left out; None when that is not so."""
    pending = desk.in_hand("pending") or {}
    if "bundle" not in pending or row["bundle_id"] != pending["bundle"]:
        return None
    left_out = list(dict.fromkeys((*pending["all_but"], row["number"])))
    desk.keep(pending={**pending, "all_but": left_out})
    number = shown(row["number"], desk.patterns)
    rest = len(_in_it(desk, pending["bundle"])) - len(left_out)
    carry = {"code": pending["code"], "step": pending["step"]}
    choices = (Choice(say("Yes, the other {rest}", rest=rest), "facts.all", "yes"),) if pending["step"] else ()
    return Answer(
        "which-one", WORDS["which-one"],
        (say_n("{number} is left out; {n} other would go.", "{number} is left out; {n} others would go.", rest, number=number),),
        say("Scan the next exception, or the bundle's card again."), choices=choices, carry=carry,
    )  # fmt: skip


def _count_first(desk: Desk, bundle: RowMapping, rows: Sequence[RowMapping], steps: Sequence[Step]) -> Answer:
    many = sheets_said(len(rows))
    if not steps and {Step.TAKE_IN, Step.LAY_TO_DRY} & set(desk.steps):
        line = say("{name}: {many}. What is scanned next goes in it, too.", name=bundle["name"], many=many)
        return Answer("done", f"{bundle['name']}.", (line,), say("Scan the sheets, one by one."))
    if not steps:
        desk.keep(bundle_id=None)
        line = say("{name}: {many}. Nothing is done to all of it here.", name=bundle["name"], many=many)
        return Answer("done", f"{bundle['name']}.", (line,), say("Scan its sheets one by one."))
    only = steps[0].value if len(steps) == 1 else ""
    desk.keep(pending={"bundle": bundle["id"], "code": bundle["code"], "step": only, "all_but": []})
    choices = tuple(Choice(say("{step}: all {count}", step=say(STEP_WORDS[step][0]).capitalize(), count=len(rows)), "choose",
                           f"step={step.value}&facts.all=yes") for step in steps)  # fmt: skip
    next_ = say("Scan exceptions first, if there are any; then the card again.")
    return Answer("which-one", WORDS["which-one"], (say("{name}: {many}. All of them?", name=bundle['name'], many=many),), next_,
                  choices=choices, carry={"code": bundle["code"]})  # fmt: skip


def _move_all(
    desk: Desk, bundle: RowMapping, rows: Sequence[RowMapping], step: Step, left_out: Sequence[str]
) -> Answer:
    if step not in WORKFLOW or not WORKFLOW[step].by_bundle:
        words = say("To {step} is judged sheet by sheet.", step=STEP_WORDS[step][0])
        raise Refused(Refusal("wrong-stage", words, say("Scan the sheets of it one by one.")))
    somebody_is_here(desk)
    moved, left = [], []
    for row in rows:
        why = say("left out") if row["number"] in left_out else _move_one(desk, row, step)
        if why:
            left.append({"number": row["number"], "why": why})
        else:
            moved.append(row["number"])
    desk.session.execute(update(BUNDLE).where(BUNDLE.c.id == bundle["id"]).values(last_at=desk.happened_at))
    return _all_moved(desk, bundle, step, moved, left)


def _move_one(desk: Desk, row: RowMapping, step: Step) -> str:
    more: dict[str, Any] = {}
    if step is Step.SHELVE:
        more["shelf"] = shelf_facts(desk.session, desk.in_hand("cabinet_id"), desk.in_hand("shelf_id"))
    attempt = make_attempt(desk, row, standing_of(row), step, **more)
    if away := sorted(attempt.sheet.holds & AWAY):
        # Its bundle's card was scanned, not the sheet: nobody has seen it.
        return say("by the log it is {state}; scan it if it is here", state=HOLDS[away[0]].words)
    found = refusals(attempt)
    if found:
        return found[0].said(saying.desk_tell(desk))
    if row["last_at"] is not None and row["last_at"] > desk.happened_at:
        return say("its last entry is later than this")
    write_step(desk, row, attempt, writing_for(desk, row, attempt))
    return ""


def _all_moved(
    desk: Desk, bundle: RowMapping, step: Step, moved: Sequence[str], left: Sequence[dict[str, str]]
) -> Answer:
    lines = [
        say("{moved} of {name} {STEP_WORDS}.", moved=len(moved), name=bundle["name"], STEP_WORDS=STEP_WORDS[step][1])
    ]
    lines += [f"{shown(each['number'], desk.patterns)}: {each['why']}" for each in left]
    entry = desk.written[-1] if desk.written else None
    return Answer("done" if moved else "stop", say(STEP_WORDS[step][1]).capitalize() + "." if moved else WORDS["stop"],
                  tuple(lines), "", step=step.value, entry=entry, moved=tuple(moved), left=tuple(left),
                  status=200 if moved else 422)  # fmt: skip


def _steps_for(desk: Desk, rows: Sequence[RowMapping]) -> list[Step]:
    by_bundle = [
        step
        for step in desk.steps
        if step in WORKFLOW and WORKFLOW[step].by_bundle and (step is not Step.SHELVE or desk.in_hand("shelf_id"))
    ]
    return [step for step in by_bundle if any(standing_of(row).stage in WORKFLOW[step].starts for row in rows)]


def _in_it(desk: Desk, bundle_id: int) -> list[RowMapping]:
    found = select(SHEET).where(SHEET.c.bundle_id == bundle_id, SHEET.c.closed_as.is_(None)).order_by(SHEET.c.id)
    return list(desk.session.execute(found.with_for_update()).mappings())
