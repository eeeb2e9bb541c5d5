"""Fields and checks of fields that more than one form has."""

from __future__ import annotations

from typing import Any

from wtforms import DateField, ValidationError
from wtforms.widgets import CheckboxInput

from app.domain.drying import pressed_moment
from app.domain.language import say
from app.web.render import house, now


class Day(DateField):
    """A day, with a sentence for what is none."""

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read what was sent; ValueError with the sentence."""
        try:
            super().process_formdata(valuelist)
        except ValueError:
            raise ValueError(say("That is no day. Give it like 2026-12-31.")) from None


class Tick(CheckboxInput):
    """One box of several: that at least one is asked for does not make the browser ask for each of them."""

    validation_attrs = ["disabled"]


def could_be_pressed(_form: Any, field: Any) -> None:
    """A validator: something fresh may have been pressed on this day; ValidationError with the reason why it was not."""
    try:
        if field.data is not None:
            pressed_moment(field.data, house().zone, now())
    except ValueError as error:
        raise ValidationError(str(error)) from error


def own_ids(form: Any, what: str) -> None:
    """Give each field an id and a label of its own, headed by `what`, where several forms stand on one page; names stay."""
    for each in form:
        each.id = each.label.field_id = f"{what}-{each.short_name}"
