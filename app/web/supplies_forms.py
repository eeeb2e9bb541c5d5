"""The forms of the supplies: what they are and how they are bought, what was counted, came in and was taken, and the lots."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from fractions import Fraction
from typing import Any

from flask_wtf import FlaskForm
from wtforms import DateField, DateTimeLocalField, HiddenField, IntegerField, SelectField, StringField
from wtforms.validators import DataRequired, InputRequired, Length, NumberRange, Optional, Regexp, ValidationError

from app.domain.language import mark
from app.domain.supplies import KINDS, UNIT_WORDS, amount_typed
from app.services.supplies import Told
from app.web.late import WallForm
from app.web.render import now
from app.web.security import visitor

WHY = [DataRequired(mark("Say why; it stays in the history.")), Length(max=300)]
WHOLE = {"inputmode": "numeric"}
NUMBER = mark("Give a whole number, such as 100.")
AT_LEAST_ONE = [InputRequired(NUMBER), NumberRange(1, 1_000_000, NUMBER)]
SHOWN = ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"]


def an_amount(form: Any, field: Any) -> None:
    """A validator: an amount that can be meant."""
    try:
        if field.data and field.data.strip():
            amount_typed(field.data)
    except ValueError as error:
        raise ValidationError(str(error)) from error


class WhenForm(WallForm):
    """A time as the clock on the wall showed it, or left empty for just now."""

    happened_at = DateTimeLocalField(mark("When, if not just now"), [Optional()], format=SHOWN)

    def when(self) -> tuple[bool, datetime | None]:
        """Whether what was typed is one moment, and which; None for just now."""
        if self.happened_at.data is None:
            return True, None
        moment = self.moment()
        return moment is not None, moment


class BoughtForm(FlaskForm):  # type: ignore[misc]
    """How a supply is called, and how it is bought."""

    name = StringField(mark("Name"), [DataRequired(mark("It needs a name.")), Length(max=80)])
    pack = IntegerField(mark("How many are in a pack"), AT_LEAST_ONE, default=1, render_kw=WHOLE)
    order_below = IntegerField(
        mark("Order below"), [InputRequired(NUMBER), NumberRange(0, 1_000_000, NUMBER)], default=0, render_kw=WHOLE
    )
    lead_weeks = IntegerField(
        mark("Weeks from the order until it is here"),
        [InputRequired(NUMBER), NumberRange(0, 104, NUMBER)],
        default=4,
        render_kw=WHOLE,
    )
    supplier = StringField(mark("From whom"), [Optional(), Length(max=200)])

    def bought(self) -> dict[str, Any]:
        """How it is bought."""
        return {"pack": self.pack.data, "order_below": self.order_below.data, "lead_weeks": self.lead_weeks.data,
                "supplier": (self.supplier.data or "").strip() or None}  # fmt: skip


class AddForm(BoughtForm):
    """A supply that is kept from now on."""

    kind = SelectField(mark("What it is"), choices=[(kind, row.words) for kind, row in KINDS.items()])
    unit = SelectField(mark("Counted in"), choices=[("", mark("as is usual for it")), *UNIT_WORDS.items()], default="")
    holds = IntegerField(mark("One of them holds"), [Optional(), NumberRange(1, 1_000_000, NUMBER)], render_kw=WHOLE)
    adhesive = SelectField(mark("Which adhesive"), default="")


class CountForm(WhenForm):
    """A cupboard that somebody counted."""

    amount = StringField(
        mark("Counted in the cupboard"),
        [InputRequired(mark("Say how many.")), an_amount],
        render_kw={"inputmode": "decimal"},
    )
    why = StringField(mark("A note, if there is one"), [Optional(), Length(max=300)])


class CameForm(WhenForm):
    """A delivery."""

    amount = StringField(
        mark("How many came in"), [InputRequired(mark("Say how many.")), an_amount], render_kw={"inputmode": "decimal"}
    )
    lot = StringField(mark("Number of the lot, as on the label"), [Optional(), Length(max=60)])
    label_on = DateField(mark("The date on the label"), [Optional()])
    supplier = StringField(mark("From whom"), [Optional(), Length(max=200)])


class TakenForm(WhenForm):
    """Something that was spoiled, or taken for another end."""

    amount = StringField(
        mark("How many"), [InputRequired(mark("Say how many.")), an_amount], render_kw={"inputmode": "decimal"}
    )
    why = StringField(mark("What became of it"), WHY)


class RightForm(FlaskForm):  # type: ignore[misc]
    """A line of the history put right."""

    line = HiddenField("line", [Regexp(r"^[0-9]{1,9}$")])
    amount = StringField(
        mark("The right amount; empty to strike it out"), [Optional(), an_amount], render_kw={"inputmode": "decimal"}
    )
    why = StringField(mark("Why?"), WHY)


class WhyForm(FlaskForm):  # type: ignore[misc]
    """A deed that says why."""

    why = StringField(mark("Why?"), WHY)


class LotForm(FlaskForm):  # type: ignore[misc]
    """A lot that is here already, without a delivery."""

    lot = StringField(
        mark("Number of the lot, as on the label"), [DataRequired(mark("Type its number.")), Length(max=60)]
    )
    label_on = DateField(mark("The date on the label"), [Optional()])


class LabelForm(LotForm):
    """What stands on a lot's label, put right."""

    why = StringField(mark("Why?"), WHY)


class OpenedForm(WhenForm):
    """A pot that was opened, or put away, and that nobody scanned then."""

    station = SelectField(mark("Where"), [InputRequired(mark("Say where."))])
    what = SelectField(
        mark("What was done"),
        choices=[("opened", mark("it was opened")), ("away", mark("it was put away, and none of a known lot opened"))],
    )
    why = StringField(mark("Where you know it from"), WHY)


class OtherLotForm(FlaskForm):  # type: ignore[misc]
    """It was not this lot that was opened then."""

    line = HiddenField("line", [Regexp(r"^[0-9]{1,9}$")])
    lot = SelectField(mark("Which lot it was"), default="")
    why = StringField(mark("Why?"), WHY)


def amount_of(form: Any) -> Fraction:
    """The amount of a form that was found good."""
    return amount_typed(form.amount.data or "")


def choose(field: SelectField, first: str, choices: Sequence[tuple[str, str]]) -> None:
    """Fill a choice, with words for none of them."""
    field.choices = [("", first), *choices]


def told_by(form: Any) -> Told | None:
    """Now, by whoever asks, and the moment that the form names; None where it names no single one."""
    is_one, at = form.when() if hasattr(form, "when") else (True, None)
    return Told(now(), visitor().worker_id, at) if is_one else None
