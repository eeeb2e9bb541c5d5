"""A sheet's own page: where it is, since when, what may happen next, and the forms for what may be done with it."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from typing import Any

from flask import Response
from flask_wtf import FlaskForm

from app.db.engine import reading
from app.domain.answer import Answer
from app.domain.hazards import DEFERS
from app.domain.holds import HOLDS, OUT
from app.domain.language import mark, say
from app.queries.brief import brief_of
from app.queries.cabinets import cabinets
from app.queries.doubted import doubts_of
from app.queries.hazards import dangers_of
from app.queries.lots import lots_of_sheet
from app.queries.out_hand_overs import handed
from app.queries.people import station_list, workers
from app.queries.press import press_room
from app.queries.room import adhesives
from app.queries.sheets import SheetPage, sheet_page
from app.queries.stations import signed_in_here
from app.web.forms import GluingForm, HoldForm, ReasonForm, RenumberForm, TogetherForm
from app.web.late import Choices, late_form, offer_steps
from app.web.parting_forms import parting_forms
from app.web.permissions import PERMISSIONS, TEACH
from app.web.render import house, now, page
from app.web.security import visitor
from app.web.wish_forms import LetGoForm, OutForm, WantedForm

UNKNOWN = mark("There is no sheet with this number here.")


@dataclass(frozen=True, slots=True)
class Refusing:
    """What was refused: which of the page's forms was sent, with its errors, and the answer if a rule refused it."""

    deed: str = ""
    form: FlaskForm | None = None
    answer: Answer | None = None
    more: dict[str, Any] = field(default_factory=dict)


def draw(number: str, status: int = 200, refusing: Refusing | None = None) -> Response:
    """The page of one sheet for whoever asks; 404 when there is none."""
    refusing = refusing or Refusing()
    may = may_do()
    with reading(house().database) as session:
        sheet = seen_by_visitor(session, number)
        if sheet is None:
            return no_such_sheet()
        brief = brief_of(session, sheet.sheet_id, now(), house().zone)
        doubts, lots = doubts_of(session, sheet.sheet_id), lots_of_sheet(session, sheet.sheet_id)
        dangers = dangers_of(session, sheet.sheet_id, by_names=visitor().sees_names())
        handed_over = handed(session, sheet.sheet_id)
        choices = choices_of(session) if may & {"late", "regluing"} else None
    forms = _forms(sheet, may, choices)
    if refusing.form is not None:
        forms[refusing.deed] = refusing.form
    for deed, form in forms.items():
        _own_ids(form, deed)
    if "late" in forms:
        offer_steps(forms["late"], sheet.stage)
    return page("sheets/one.html", status, sheet=sheet, brief=brief, doubts=doubts, dangers=dangers, handed=handed_over,
                may_clear=bool(visitor().roles & PERMISSIONS["hazards.clear"]), lots=lots,
                sees_lots=bool(visitor().roles & PERMISSIONS["supplies.lot"]),
                forms=forms, may=may, refusing=refusing, asks=_asks(sheet),
                defers=DEFERS, shows_locality=shows_locality(sheet), fresh_id=lambda: secrets.token_urlsafe(16))  # fmt: skip


def no_such_sheet() -> Response:
    """There is none."""
    return page(
        "doors/error.html",
        404,
        code=say("No such sheet"),
        what=UNKNOWN,
        do=say("Type it off the slip once more, or search by name."),
    )


def seen_by_visitor(session: Any, number: str) -> SheetPage | None:
    """The sheet as this visitor may see it: names in its log are for trainer and manager, and for those named."""
    who = visitor()
    mine: tuple[int, ...] = () if who.worker_id is None else (who.worker_id,)
    if who.station_id is not None and not who.sees_names():
        mine += tuple(each.worker_id for each in signed_in_here(session, who.station_id))
    return sheet_page(session, number, now(), house().zone, by_names=who.sees_names(), worker_ids=mine)


def shows_locality(sheet: SheetPage) -> bool:
    """Exact places of plants marked sensitive are for trainer and manager only."""
    return not sheet.is_sensitive or visitor().sees_names()


def _asks(sheet: SheetPage) -> bool:
    """Whether this visitor may say more of what the sheet is wanted for: nobody has asked yet, or it is theirs to settle."""
    who = visitor()
    return sheet.wish is None or sheet.wish.by_id == who.worker_id or bool(who.rights & TEACH)


def may_do() -> frozenset[str]:
    """Which deeds with a sheet are this visitor's."""
    names = (name for name, allowed in PERMISSIONS.items() if name.startswith("sheets.") and visitor().roles & allowed)
    return frozenset(name.removeprefix("sheets.") for name in names)


def choices_of(session: Any) -> Choices:
    """What the room has to choose from."""
    stacks = press_room(session, now(), house().zone)
    return Choices(workers(session), station_list(session), stacks, cabinets(session), adhesives(session))


def hold_form(held: frozenset[str] | None = None) -> HoldForm:
    """The form for a hold; without `held`, every kind may be sent."""
    form = HoldForm()
    form.hold.choices = [(kind, row.words) for kind, row in HOLDS.items() if kind not in {OUT, *(held or ())}]
    return form


def gluing_form(choices: Choices) -> GluingForm:
    """The form that puts adhesive and bulk right."""
    form = GluingForm()
    form.adhesive.choices = [("", say("nobody knows")), *[(each.code, each.name) for each in choices.adhesives]]
    return form


def _forms(sheet: SheetPage, may: frozenset[str], choices: Choices | None) -> dict[str, Any]:
    held = frozenset(hold.kind for hold in sheet.holds)
    forms: dict[str, Any] = {deed: ReasonForm() for deed in ("early", "withdraw", "doubt") if deed in may}
    if "hold" in may:
        forms["hold"] = hold_form(held)
        forms["renumber"] = RenumberForm()
        forms["together"] = TogetherForm()
        forms |= {"out": OutForm(), **parting_forms()}
    if "wanted" in may:
        forms |= {"wanted": WantedForm(), "let_go": LetGoForm()}
    if choices is not None:
        forms["regluing"] = gluing_form(choices)
        named = {each.name: each.code for each in choices.adhesives}
        forms["regluing"].adhesive.process_data(named.get(sheet.adhesive, ""))
        forms["regluing"].bulk.process_data(sheet.bulk)
    if choices is not None and "late" in may:
        forms["late"] = late_form(choices)
    return forms


def _own_ids(form: FlaskForm, deed: str) -> None:
    """Several forms of the page ask for a reason: each field gets an id of its own, its name stays."""
    for each in form:
        if not each.id.startswith(f"{deed}-"):
            each.id = each.label.field_id = f"{deed}-{each.id}"
