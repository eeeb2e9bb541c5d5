"""The forms of a cabinet check: what is to be checked, and how it is closed."""

from __future__ import annotations

from collections.abc import Sequence

from flask_wtf import FlaskForm
from wtforms import IntegerField, SelectField, StringField
from wtforms.validators import Length, NumberRange, Optional

from app.domain.language import mark, say


class BeginForm(FlaskForm):  # type: ignore[misc]
    """What is to be checked."""

    shelf = SelectField(mark("What"))
    sample = IntegerField(
        mark("Only some sheets, drawn by chance: how many?"),
        [Optional(), NumberRange(1, 5000, mark("Between 1 and 5000."))],
    )


class CloseForm(FlaskForm):  # type: ignore[misc]
    """How a check ends."""

    reason = StringField(mark("Note"), [Length(max=500)])


def begin_form(shelves: Sequence[str]) -> BeginForm:
    """The form for a cabinet with these shelves."""
    form = BeginForm()
    form.shelf.choices = [("", say("the whole cabinet")), *((name, say("shelf {name}", name=name)) for name in shelves)]
    return form
