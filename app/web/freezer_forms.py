"""The forms of the freezer: a new load, what happened to a freezer, what nobody scanned, and whether a cabinet is clean."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from flask_wtf import FlaskForm
from wtforms import DateTimeLocalField, RadioField, SelectField, StringField
from wtforms.validators import InputRequired, Length, Optional

from app.domain.language import mark
from app.domain.stages import Step
from app.domain.wall import moments_of
from app.queries.freezers import FreezerView
from app.queries.people import WorkerLine
from app.web.fields import own_ids
from app.web.forms import REASON
from app.web.late import WallForm
from app.web.render import house

LATER = mark("That is before it began. Give a later time.")


class NewLoadForm(FlaskForm):  # type: ignore[misc]
    """A bag or box for the freezer."""

    name = StringField(mark("Name, if it is to have one of its own"), [Optional(), Length(max=80)])


class EventForm(WallForm):
    """What happened to a freezer, and from when until when."""

    freezer = SelectField(mark("Freezer"), [InputRequired(mark("Choose a freezer."))])
    step = SelectField(mark("What happened"), choices=[
        (Step.POWER_CUT.value, mark("it had no power")), (Step.DEFROSTED.value, mark("it was defrosted")),
        (Step.FREEZER_OPENED.value, mark("it was opened")), (Step.FREEZER_RUNS.value, mark("it runs again, since")),
    ])  # fmt: skip
    ends_at = DateTimeLocalField(
        mark("Until when, if anybody knows"), [Optional()], format=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"]
    )
    reason = StringField(mark("Where you know it from"), REASON)

    def ending(self) -> datetime | None:
        """Until when; the later of two where the clock showed it twice, so that no time counts that may not."""
        found = moments_of(self.ends_at.data, house().zone) if self.ends_at.data else ()
        return found[-1] if found else None

    def validate(self, extra_validators: Any = None) -> bool:
        """Whether it makes sense: it ends after it begins."""
        if not super().validate(extra_validators):
            return False
        begins = self.happened_at.data
        if self.ends_at.data and begins and self.ends_at.data < begins:
            self.ends_at.errors = [LATER]
            return False
        return True


class LateLoadForm(WallForm):
    """What was done with a load while nobody could scan."""

    step = SelectField(mark("What happened"), choices=[
        (Step.LOAD_IN.value, mark("it was put into a freezer")), (Step.LOAD_COLD.value, mark("its logger showed that it was cold")),
        (Step.LOAD_OUT.value, mark("it came out")), (Step.LOAD_OPENED.value, mark("it was opened")),
    ])  # fmt: skip
    freezer = SelectField(mark("Into which freezer"), [Optional()], default="")
    reading_c = StringField(mark("What the logger showed, °C"), [Optional(), Length(max=12)])
    worker = SelectField(mark("Who did it"), [InputRequired(mark("Say who did it."))])
    reason = StringField(mark("Where you know it from"), REASON)

    def facts(self) -> dict[str, Any]:
        """What else was told."""
        return {name: getattr(self, name).data for name in ("freezer", "reading_c") if getattr(self, name).data}


class CleanForm(FlaskForm):  # type: ignore[misc]
    """Whether a cabinet is clean, and why."""

    clean = RadioField(mark("This cabinet"), [InputRequired(mark("Say whether it is clean."))], choices=[
        ("yes", mark("is clean: only treated sheets lie in it and go into it")), ("no", mark("is not clean")),
    ])  # fmt: skip
    reason = StringField(mark("Why?"), REASON)


def event_form(freezers: Sequence[FreezerView], *, fresh: bool = False) -> EventForm:
    """The form for what happened to a freezer; `fresh` for one that nobody has filled in."""
    form = EventForm(formdata=None, prefix="") if fresh else EventForm()
    form.freezer.choices = [(each.code, each.name) for each in freezers]
    own_ids(form, "event")
    return form


def late_load_form(people: Sequence[WorkerLine], freezers: Sequence[str], *, fresh: bool = False) -> LateLoadForm:
    """The form for what nobody scanned of a load."""
    form = LateLoadForm(formdata=None) if fresh else LateLoadForm()
    form.freezer.choices = [("", "–"), *((name, name) for name in freezers)]
    form.worker.choices = [(str(each.worker_id), each.name) for each in people]
    own_ids(form, "late")
    return form
