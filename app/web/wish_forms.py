"""The forms by which a sheet is asked for, let go, and sent out."""

from __future__ import annotations

from datetime import date
from typing import Any

from flask_wtf import FlaskForm
from wtforms import StringField
from wtforms.validators import DataRequired, Length, Optional, ValidationError

from app.domain.calendar import local_day
from app.domain.language import mark, say
from app.web.fields import Day
from app.web.forms import REASON
from app.web.render import house, now

LONGEST_WHY = 300


def today() -> date:
    """This day in the room."""
    return local_day(now(), house().zone)


class LaterDay(Day):
    """A day that has not passed yet, or none."""

    def pre_validate(self, form: Any) -> None:
        """A day that has passed is said to be so."""
        if self.data is not None and self.data < today():
            raise ValidationError(say("That day has passed. Give today or a later one."))


class WantedForm(FlaskForm):  # type: ignore[misc]
    """Asking that a sheet be done soon."""

    why = StringField(mark("What for?"), [DataRequired(mark("Say what it is wanted for.")), Length(max=LONGEST_WHY)])
    needed_on = LaterDay(mark("Needed by, if there is a day"), [Optional()])


class LetGoForm(FlaskForm):  # type: ignore[misc]
    """A sheet is no longer wanted."""

    how = StringField(
        mark("What became of it?"), [DataRequired(mark("Say what became of it.")), Length(max=LONGEST_WHY)]
    )


class OutForm(FlaskForm):  # type: ignore[misc]
    """A sheet goes out to somebody."""

    with_whom = StringField(mark("With whom"), [DataRequired(mark("Say who has it.")), Length(max=120)])
    due_on = LaterDay(mark("Due back, if there is a day"), [Optional()])
    reason = StringField(mark("Why?"), REASON)
