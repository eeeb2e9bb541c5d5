"""What is written of a supply from its page: the form of each deed, what it does, and what is said when it is done."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask_wtf import FlaskForm

from app.domain.language import say
from app.services.lots import lot_numbered
from app.services.supplies import Told, came_in, change_supply, close_supply, count_supply, put_right, taken_out
from app.web.supplies_forms import BoughtForm, CameForm, CountForm, LotForm, RightForm, TakenForm, WhyForm, amount_of

Act = Callable[[Any, int, Any, Told], str]


def _count(session: Any, supply_id: int, form: Any, told: Told) -> str:
    count_supply(session, supply_id, amount_of(form), told, form.why.data or "")
    return say("Counted. From here the log reckons on.")


def _came(session: Any, supply_id: int, form: Any, told: Told) -> str:
    number, lot_id = (form.lot.data or "").strip(), None
    if number:
        lot_id = lot_numbered(session, supply_id, number, told, form.label_on.data)
    came_in(session, supply_id, amount_of(form), told, lot_id=lot_id, supplier=form.supplier.data or "")
    return say("Written. Print the card of its lot, and hang it at the pots.") if lot_id else say("Written.")


def _taken(session: Any, supply_id: int, form: Any, told: Told) -> str:
    taken_out(session, supply_id, amount_of(form), told, form.why.data or "")
    return say("Written.")


def _right(session: Any, supply_id: int, form: Any, told: Told) -> str:
    amount = amount_of(form) if (form.amount.data or "").strip() else None
    put_right(session, int(form.line.data), amount, told, form.why.data or "")
    return say("Put right. The old line stays in the history.")


def _change(session: Any, supply_id: int, form: Any, told: Told) -> str:
    what = change_supply(session, supply_id, told, name=form.name.data or "", **form.bought())
    return say("Changed.") if what else say("Nothing was changed.")


def _lot(session: Any, supply_id: int, form: Any, told: Told) -> str:
    lot_numbered(session, supply_id, form.lot.data or "", told, form.label_on.data)
    return say("It is on the list. Print its card, and hang it at the pots.")


def _close(session: Any, supply_id: int, form: Any, told: Told) -> str:
    close_supply(session, supply_id, told, form.why.data or "")
    return say("It is no longer kept. What was written of it stays.")


# The form of each deed, what it does, and beside which field it says what is wrong.
DEEDS: dict[str, tuple[type[FlaskForm], Act, str]] = {
    "count": (CountForm, _count, "amount"), "came": (CameForm, _came, "amount"), "taken": (TakenForm, _taken, "amount"),
    "right": (RightForm, _right, "amount"), "change": (BoughtForm, _change, "name"), "lot": (LotForm, _lot, "lot"),
    "close": (WhyForm, _close, "why"),
}  # fmt: skip
