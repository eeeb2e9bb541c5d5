"""The form of a late entry: what was done, when by the clock on the wall, by whom, and where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from flask_wtf import FlaskForm
from wtforms import DateTimeLocalField, SelectField, StringField
from wtforms.validators import InputRequired, Length, Optional

from app.domain.language import mark, say
from app.domain.moves import fits
from app.domain.stages import STEP_WORDS, Stage, Step
from app.domain.wall import moments_of
from app.queries.cabinets import CabinetView
from app.queries.people import StationLine, WorkerLine
from app.queries.press import StackView
from app.queries.room import AdhesiveLine
from app.services.late import LATE_STEPS
from app.web.forms import REASON
from app.web.render import house

NOTHING = ("", "–")
HOURS = [
    ("", mark("the clock showed it once")),
    ("first", mark("the first time round")),
    ("second", mark("the second time round")),
]
OUTCOMES = [
    NOTHING,
    ("passed", mark("passed")),
    ("to-be-mended", mark("to be mended")),
    ("mended-here", mark("mended here")),
]
BULKS = [NOTHING, ("thin", mark("thin")), ("ordinary", mark("ordinary")), ("bulky", mark("bulky"))]
LEFT_OUT = mark("That night the clocks went forward, and this time was left out. Give another.")
TWICE = mark("The clock showed this time twice that night. Say which is meant.")
# Whoever did one of these found it dry, and felt it.
FELT_DRY = (Step.PASS_AS_DRY, Step.ARRIVE_DRY, Step.ARRIVE_MOUNTED)


class WallForm(FlaskForm):  # type: ignore[misc]
    """A time as the clock on the wall showed it."""

    happened_at = DateTimeLocalField(
        mark("When, by the clock in the room"),
        [InputRequired(mark("Say when."))],
        format=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"],
    )
    hour = SelectField(mark("In the hour that came twice"), choices=HOURS, default="")

    def moment(self) -> datetime | None:
        """The moment that is meant; None, with words beside the field, where the clock tells no single one."""
        found = moments_of(self.happened_at.data, house().zone) if self.happened_at.data else ()
        if not found:
            self.happened_at.errors = [LEFT_OUT]
            return None
        if len(found) == 2 and not self.hour.data:
            self.hour.errors = [TWICE]
            return None
        return found[-1 if self.hour.data == "second" else 0]


class LateWeightsForm(WallForm):
    """Weights on or off, written up afterwards."""

    state = SelectField(
        mark("What happened"), choices=[("off", mark("the weights came off")), ("on", mark("the weights went on"))]
    )
    worker = SelectField(mark("Who did it"), [InputRequired(mark("Say who did it."))])
    reason = StringField(mark("Where you know it from"), [*REASON, Length(max=500)])


class LateForm(WallForm):
    """An entry written up afterwards."""

    step = SelectField(mark("What happened"), [InputRequired(mark("Say what happened."))])
    worker = SelectField(mark("Who did it"), [InputRequired(mark("Say who did it."))])
    station = SelectField(mark("At which station"), [Optional()], default="")
    stack = SelectField(mark("Stack"), [Optional()], default="")
    shelf = SelectField(mark("Shelf"), [Optional()], default="")
    adhesive = SelectField(mark("Adhesive, if it was glued"), [Optional()], default="")
    bulk = SelectField(mark("Bulk"), [Optional()], choices=BULKS, default="")
    outcome = SelectField(mark("Outcome, if it was inspected"), [Optional()], choices=OUTCOMES, default="")
    reason = StringField(mark("Where you know it from"), [*REASON, Length(max=500)])

    def facts(self) -> dict[str, Any]:
        """What the step asks for: whoever did it found it dry, and how an inspection ended."""
        facts: dict[str, Any] = {name: self[name].data for name in ("adhesive", "bulk", "outcome") if self[name].data}
        if self.step.data in FELT_DRY:
            facts |= {"dryness": True, "felt_again": True}
        return facts


@dataclass(frozen=True, slots=True)
class Choices:
    """What the room has to choose from in a late entry."""

    workers: Sequence[WorkerLine]
    stations: Sequence[StationLine]
    stacks: Sequence[StackView]
    cabinets: Sequence[CabinetView]
    adhesives: Sequence[AdhesiveLine]

    def place(self, code: str) -> tuple[str, str]:
        """The names of the cabinet and the shelf with this code; two empty ones for no code."""
        for cabinet in self.cabinets:
            if cabinet.code == code:
                return cabinet.name, ""
            for shelf in cabinet.shelves:
                if shelf.code == code:
                    return cabinet.name, shelf.name
        return "", ""


def late_form(choices: Choices) -> LateForm:
    """The form, with everything in it that may be sent."""
    form = LateForm()
    form.step.choices = [(step.value, STEP_WORDS[step][1]) for step in LATE_STEPS]
    form.worker.choices = [
        NOTHING,
        *[(str(each.worker_id), each.name) for each in choices.workers if not each.retired_at],
    ]
    form.station.choices = [NOTHING, *[(str(each.station_id), each.name) for each in choices.stations]]
    form.stack.choices = [NOTHING, *[(each.name, each.name) for each in choices.stacks]]
    form.shelf.choices = [NOTHING, *_places(choices.cabinets)]
    form.adhesive.choices = [
        ("", say("not known, or not glued")),
        *[(each.code, each.name) for each in choices.adhesives],
    ]
    return form


def late_weights_form(workers: Sequence[WorkerLine]) -> LateWeightsForm:
    """The form for a stack, with everybody who works here."""
    form = LateWeightsForm()
    form.worker.choices = [NOTHING, *[(str(each.worker_id), each.name) for each in workers if not each.retired_at]]
    return form


def offer_steps(form: LateForm, stage: str) -> None:
    """Offer only the steps that lead on from where the sheet stands now."""
    at = Stage(stage) if stage else None
    form.step.choices = [(step.value, STEP_WORDS[step][1]) for step in LATE_STEPS if fits(step, at)]


def _places(cabinets: Sequence[CabinetView]) -> list[tuple[str, str]]:
    places = []
    for cabinet in cabinets:
        places.append((cabinet.code, cabinet.name))
        places += [
            (shelf.code, say("{cabinet}, shelf {shelf}", cabinet=cabinet.name, shelf=shelf.name))
            for shelf in cabinet.shelves
        ]
    return places
