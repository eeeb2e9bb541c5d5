"""The form by which a forgotten sign-out is put right."""

from __future__ import annotations

from collections.abc import Sequence

from wtforms import SelectField, StringField
from wtforms.validators import InputRequired

from app.domain.language import mark, say
from app.domain.words import dated
from app.queries.attendance import TimeThere
from app.web.forms import REASON
from app.web.late import WallForm
from app.web.render import house, now


class HoursForm(WallForm):
    """When somebody really left."""

    time = SelectField(mark("Which time"), [InputRequired(mark("Say which time is meant."))])
    reason = StringField(mark("Why?"), REASON)


def hours_form(times: Sequence[TimeThere]) -> HoursForm:
    """The form, with the times that may be put right."""
    form = HoursForm()
    form.time.choices = [(str(each.attendance_id), _said(each)) for each in times]
    return form


def _said(time: TimeThere) -> str:
    until = say("until {until}", until=dated(time.until, house().zone, now())) if time.until else say("still signed in")
    return f"{dated(time.since, house().zone, now())}, {time.station}, {until}"
