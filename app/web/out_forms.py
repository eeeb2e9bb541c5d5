"""What is asked for before something goes out of the room: which sheets, which part of the log, and who takes it."""

from __future__ import annotations

from collections.abc import Sequence

from flask import request
from flask_wtf import FlaskForm
from wtforms import BooleanField, DateField, SelectField, StringField
from wtforms.validators import DataRequired, Length, Optional

from app.domain.language import mark, say
from app.domain.stages import STAGES
from app.web.forms import REASON

EXACT = mark("With the exact places of plants marked sensitive")
CODE = [Length(max=80)]
NAME = [Length(max=200)]


class DayField(DateField):
    """A day as the calendar field sends it."""

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read what was typed; said in the room's words where it is no day."""
        try:
            super().process_formdata(valuelist)
        except ValueError as error:
            raise ValueError(say("Give the day as 2026-11-25.")) from error


class SheetsForm(FlaskForm):  # type: ignore[misc]
    """Which sheets go out, and what is told of them."""

    consignment = StringField(mark("Consignment, by its code"), CODE)
    cabinet = SelectField(mark("Cabinet"), default="")
    stage = SelectField(mark("Stage"), default="")
    withdrawn = BooleanField(mark("Those too that have left for good"))
    exact_places = BooleanField(EXACT)
    no_mark = BooleanField(mark("The table without the mark by which spreadsheets know its letters"))


class LogForm(FlaskForm):  # type: ignore[misc]
    """Which part of the log goes out, and what is told in it."""

    since = DayField(mark("From"), [Optional()])
    until = DayField(mark("To"), [Optional()])
    consignment = StringField(mark("Consignment, by its code"), CODE)
    workers = BooleanField(mark("With the number of whoever did it"))
    everything = BooleanField(mark("With what was taken back, and the corrections"))


class MakeForm(FlaskForm):  # type: ignore[misc]
    """Who takes the next hand-over."""

    to_whom = StringField(mark("Who takes it?"), [DataRequired(mark("Say who takes it.")), *NAME])
    exact_places = BooleanField(EXACT)


class ReceiveForm(FlaskForm):  # type: ignore[misc]
    """Who received a hand-over."""

    who = StringField(mark("Who received it?"), [DataRequired(mark("Say who received it.")), *NAME])


class CallBackForm(FlaskForm):  # type: ignore[misc]
    """Why a hand-over is called back."""

    why = StringField(mark("Why?"), REASON)


def sheets_form(cabinets: Sequence[str], *, asked: bool = True) -> SheetsForm:
    """The form, as the address fills it in where it was asked."""
    form = SheetsForm(request.args if asked else None, meta={"csrf": False})
    form.cabinet.choices = [("", say("any")), *((name, name) for name in cabinets)]
    form.stage.choices = [("", say("any")), *((stage.value, str(row.words)) for stage, row in STAGES.items())]
    return form


def log_form(*, asked: bool = True) -> LogForm:
    """The form, as the address fills it in where it was asked."""
    return LogForm(request.args if asked else None, meta={"csrf": False})
