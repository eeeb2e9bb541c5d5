"""The forms of a cabinet check: what is to be checked, and how it is closed."""

from __future__ import annotations

from collections.abc import Sequence

from flask_wtf import FlaskForm
from wtforms import IntegerField, SelectField, StringField
from wtforms.validators import Length, NumberRange, Optional


class BeginForm(FlaskForm):  # type: ignore[misc]
    """What is to be checked."""

    shelf = SelectField("What")
    sample = IntegerField(
        "Only some sheets, drawn by chance: how many?", [Optional(), NumberRange(1, 5000, "Between 1 and 5000.")]
    )


class CloseForm(FlaskForm):  # type: ignore[misc]
    """How a check ends."""

    reason = StringField("Note", [Length(max=500)])


def begin_form(shelves: Sequence[str]) -> BeginForm:
    """The form for a cabinet with these shelves."""
    form = BeginForm()
    form.shelf.choices = [("", "the whole cabinet"), *((name, f"shelf {name}") for name in shelves)]
    return form
