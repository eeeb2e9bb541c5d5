"""The forms about a consignment: begun or put right, counted by hand, closed, and the danger of all that came with it."""

from __future__ import annotations

from typing import Any

from flask_wtf import FlaskForm
from wtforms import DateField, IntegerField, SelectField, StringField, TextAreaField
from wtforms.validators import DataRequired, InputRequired, Length, NumberRange, Optional, Regexp, ValidationError

from app.domain.consigned import KINDS
from app.domain.hazards import HAZARD_WORDS
from app.domain.language import mark, say
from app.services.consignments import MOST, Told

CODE = [
    InputRequired(mark("It needs a short code.")),
    Length(max=40),
    Regexp(r"^[A-Za-z0-9._-]+$", message=mark("Letters, digits, dots and hyphens only.")),
]


class HowMany(NumberRange):
    """A number of sheets that can be meant."""

    def __call__(self, form: Any, field: Any) -> None:
        """ValidationError for what cannot be."""
        if field.data is None or not 0 <= field.data <= MOST:
            raise ValidationError(say("Give a number between 0 and {most:,}.", most=MOST))


SAID = [Optional(), HowMany(0, MOST)]


class ToldForm(FlaskForm):  # type: ignore[misc]
    """What is said of a consignment."""

    name = StringField(mark("Name"), [DataRequired(mark("It needs a name.")), Length(max=200)])
    source = StringField(mark("From whom"), [Optional(), Length(max=200)])
    kind = SelectField(mark("Kind"), [InputRequired()], choices=list(KINDS.items()))
    arrived_on = DateField(mark("Arrived on"), [Optional()])
    sheets_said = IntegerField(mark("How many sheets were said"), SAID, render_kw={"inputmode": "numeric"})
    papers = StringField(mark("Papers: letter, permit, list"), [Optional(), Length(max=500)])
    note = TextAreaField(mark("Note"), [Optional(), Length(max=2000)], render_kw={"rows": 3})

    def told(self) -> Told:
        """What was filled in."""
        return Told(self.name.data or "", self.source.data or "", self.kind.data, self.arrived_on.data, self.papers.data or "",
                    self.sheets_said.data, self.note.data or "")  # fmt: skip


class NewForm(ToldForm):
    """A parcel that has come."""

    code = StringField(mark("Short code"), CODE)


class ChangeForm(ToldForm):
    """A consignment put right."""

    why = StringField(mark("Why is it put right?"), [Optional(), Length(max=300)])


class CountForm(FlaskForm):  # type: ignore[misc]
    """A parcel counted by hand."""

    counted = IntegerField(mark("Sheets counted by hand"), [InputRequired(mark("Say how many.")), NumberRange(0, MOST)],
                           render_kw={"inputmode": "numeric"})  # fmt: skip


class CloseForm(FlaskForm):  # type: ignore[misc]
    """A consignment closed, or opened again."""

    why = StringField(mark("What is to be said of it?"), [Optional(), Length(max=300)])


class DangerForm(FlaskForm):  # type: ignore[misc]
    """A danger of all that came with it."""

    kind = SelectField(mark("Danger of all of it"), [InputRequired()], choices=list(HAZARD_WORDS.items()))
    why = StringField(mark("What was seen?"), [Optional(), Length(max=300)])


class ClearForm(FlaskForm):  # type: ignore[misc]
    """Why there is none."""

    why = StringField(
        mark("What was looked at, and found?"),
        [DataRequired(mark("Say why; it stays in the history.")), Length(max=300)],
    )
