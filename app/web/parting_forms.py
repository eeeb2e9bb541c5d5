"""The forms for what is not one sheet with one number: two with one, two plants in one, one specimen on two, none."""

from __future__ import annotations

from flask_wtf import FlaskForm
from wtforms import SelectField, StringField
from wtforms.validators import InputRequired, Length, Optional

from app.domain.language import mark
from app.web.forms import REASON

LONGEST_LABEL = 200


class ApartForm(FlaskForm):  # type: ignore[misc]
    """Two sheets with one number."""

    known = SelectField(
        mark("Which of them has the room had all along?"), [InputRequired(mark("Say whether it is known."))],
        choices=[("no", mark("nobody knows: both are held")), ("yes", mark("this one, whose page it is"))],
    )  # fmt: skip
    reason = StringField(mark("Why?"), REASON)


class DivideForm(FlaskForm):  # type: ignore[misc]
    """Two plants in one fold, or on one sheet."""

    plant = StringField(mark("Name of the other plant"), [Optional(), Length(max=120)])


class SameSpecimenForm(FlaskForm):  # type: ignore[misc]
    """The other sheet of a specimen."""

    other = StringField(
        mark("Number of the other sheet"), [InputRequired(mark("Type the other number.")), Length(max=40)]
    )


class LabelForm(FlaskForm):  # type: ignore[misc]
    """What the label of a sheet without a number says."""

    on_label = StringField(
        mark("On the label"), [InputRequired(mark("Type what the label says, or a dash.")), Length(max=LONGEST_LABEL)]
    )
    consignment = SelectField(mark("Consignment"), [Optional()])


def parting_forms() -> dict[str, FlaskForm]:
    """The forms of these deeds on a sheet's own page, by deed."""
    return {"tell_apart": ApartForm(), "divide": DivideForm(), "same_specimen": SameSpecimenForm()}
