"""The write-up of the paper form: the head of one paper, and a row for each deed on it."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from typing import Any

from flask import request
from flask_wtf import FlaskForm
from wtforms import DateField, Form, HiddenField, SelectField, StringField, TimeField
from wtforms.validators import InputRequired, Length, Optional

from app.domain.language import mark, say
from app.domain.stages import STEP_WORDS, Step
from app.services.late import LATE_STEPS
from app.web.forms import REASON
from app.web.late import BULKS, HOURS, NOTHING, Choices
from app.web.scans import LONGEST_ID

ROWS = 20
# What the paper has a column to tick for: what may go on while nothing works, and both sides of a stack's card.
TICKS: tuple[tuple[str, str], ...] = (
    ("take-in", mark("taken in")), ("lay-to-dry", mark("laid to dry")), ("take-up", mark("taken up")), ("mount", mark("mounted")),
    ("put-under-weight", mark("put in stack")), ("weights-off", mark("weights off")), 
    ("weights-on", mark("weights on")), ("", mark("other")),
)  # fmt: skip
INSPECTED: tuple[tuple[str, str], ...] = (
    ("passed", mark("inspected: passed")), ("to-be-mended", mark("inspected: to be mended")),
    ("mended-here", mark("inspected: mended here")),
)  # fmt: skip
WEIGHTS: dict[str, bool] = {"weights-off": False, "weights-on": True}


def _steps() -> Iterator[tuple[str, str]]:
    """What may be chosen in a row: what the paper has to tick first, then the rest; an inspection with its outcome."""
    yield NOTHING
    yield from ((value, words) for value, words in TICKS if value)
    ticked = {value for value, _ in TICKS}
    for step in LATE_STEPS:
        if step is Step.INSPECT:
            yield from ((f"{step.value}:{value}", words) for value, words in INSPECTED)
        elif step.value not in ticked:
            yield step.value, STEP_WORDS[step][1]


STEPS: tuple[tuple[str, str], ...] = tuple(_steps())


class ClockField(TimeField):
    """A time of day, as the clock on the wall showed it."""

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read what was typed; said in the room's words where it is no time."""
        try:
            super().process_formdata(valuelist)
        except ValueError as error:
            raise ValueError(say("Give the time as the clock showed it, as 14:05.")) from error


class HeadForm(FlaskForm):  # type: ignore[misc]
    """The head of one paper."""

    day = DateField(mark("Date on the form"), [InputRequired(mark("Say of which day it is."))])
    station = SelectField(mark("Station on the form"), [Optional()], default="")
    worker = SelectField(mark("Who, where a row names nobody"), [Optional()], default="")
    reason = StringField(mark("Where you know it from"), REASON, default=mark("the paper form"))


class RowForm(Form):
    """One row of the paper. `said` holds why it is not written, `twice` whether its hour came twice that night."""

    scan_id = HiddenField()
    number = StringField(mark("Number"), [Length(max=80)])
    step = SelectField(mark("What was done"), [InputRequired(mark("Say what was done."))], choices=list(STEPS))
    at = ClockField(mark("Time"), [InputRequired(mark("Say at what time."))], format=["%H:%M", "%H:%M:%S"])
    hour = SelectField(mark("In the hour that came twice"), [Optional()], choices=HOURS, default="")
    worker = SelectField(mark("Who"), [Optional()], default="")
    place = StringField(mark("Stack or shelf"), [Length(max=120)])
    adhesive = SelectField(mark("Adhesive"), [Optional()], default="")
    bulk = SelectField(mark("Bulk"), [Optional()], choices=BULKS, default="")
    remarks = StringField(mark("Remarks"), [Length(max=300)])

    def __init__(self, place_on_paper: int, choices: Choices, formdata: Any = None) -> None:
        super().__init__(formdata, prefix=f"row-{place_on_paper}")
        self.place_on_paper, self.said, self.twice = place_on_paper, list[str](), False
        self.worker.choices = _people(choices)
        self.adhesive.choices = [NOTHING, *[(each.code, each.name) for each in choices.adhesives]]
        if not 0 < len(self.scan_id.data or "") <= LONGEST_ID:
            self.is_new_try()

    def is_new_try(self) -> None:
        """Give it a scan id of its own: what comes now is another scan than what was refused."""
        self.scan_id.data = secrets.token_urlsafe(16)

    @property
    def is_empty(self) -> bool:
        """Whether nothing stands in it; a name or an adhesive alone is nothing that was done."""
        written = (self.number.data, self.step.data, self.place.data, self.remarks.data)
        return not any((each or "").strip() for each in written) and not any(self.at.raw_data or ())


def head_form(choices: Choices) -> HeadForm:
    """The head, with everything in it that may be sent."""
    form = HeadForm()
    form.station.choices = [NOTHING, *[(str(each.station_id), each.name) for each in choices.stations]]
    form.worker.choices = _people(choices)
    return form


def empty_rows(choices: Choices) -> list[RowForm]:
    """The rows of a paper that nobody has typed in yet."""
    return [RowForm(place, choices) for place in range(1, ROWS + 1)]


def rows_sent(choices: Choices) -> list[RowForm]:
    """The rows that were sent, in the order of the paper; those that are empty are left out."""
    places = (place for place in range(1, ROWS + 1) if f"row-{place}-number" in request.form)
    rows = (RowForm(place, choices, request.form) for place in places)
    return [row for row in rows if not row.is_empty]


def _people(choices: Choices) -> list[tuple[str, str]]:
    return [NOTHING, *[(str(each.worker_id), each.name) for each in choices.workers if not each.retired_at]]
