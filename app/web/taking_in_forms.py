"""The forms of taking in: one plant with what its label says, and a run of new numbers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from flask_wtf import FlaskForm
from wtforms import (
    BooleanField,
    DateField,
    IntegerField,
    RadioField,
    SelectField,
    SelectMultipleField,
    StringField,
    TextAreaField,
)
from wtforms.validators import InputRequired, Length, NumberRange, Optional, ValidationError
from wtforms.widgets import CheckboxInput, ListWidget

from app.domain.cutting import PAPERS
from app.domain.hazards import HAZARD_WORDS
from app.domain.language import mark, say
from app.services.taking_in import FRESH, MOST_IN_A_RUN, MOST_PARTS, Run, Told
from app.web.fields import could_be_pressed

NONE = ("", mark("none"))
CAME = [
    ("fresh", mark("fresh, to be dried")),
    ("dry", mark("dry, to be mounted")),
    ("mounted", mark("mounted elsewhere")),
]
TEXTS = (
    "number",
    "consignment",
    "name",
    "authorship",
    "family",
    "collector",
    "record_number",
    "event_date",
    "locality",
    "notes",
)


def text(label: str, most: int = 200, **more: Any) -> StringField:
    """A line of the label, that may be empty."""
    return StringField(label, [Optional(), Length(max=most)], render_kw={"autocomplete": "off", **more})


class PlantForm(FlaskForm):  # type: ignore[misc]
    """One plant that is taken in."""

    number = StringField(
        mark("Number"), [Optional(), Length(max=40)], render_kw={"class": "number-entry", "autocomplete": "off"}
    )
    consignment = SelectField(mark("Consignment"))
    name = text(mark("Name of the plant"), list="names")
    authorship = text(mark("Author"))
    family = text(mark("Family"), 80)
    collector = text(mark("Collected by"), list="collectors")
    record_number = text(mark("Collector's number"), 60)
    event_date = text(mark("Collected on"), 60)
    locality = StringField(mark("Where it grew"), [Optional(), Length(max=1000)])
    notes = TextAreaField(mark("The collector's notes"), [Optional(), Length(max=4000)])
    came = RadioField(mark("It came"), choices=CAME, default=FRESH)
    pressed_on = DateField(mark("Pressed on"), [Optional(), could_be_pressed])
    felt = BooleanField(mark("I felt it: stiff, not cool, and it does not droop"))
    bulk = SelectField(
        mark("Bulk"),
        choices=[("thin", mark("thin")), ("ordinary", mark("ordinary")), ("bulky", mark("bulky"))],
        default="ordinary",
    )
    parts = IntegerField(
        mark("On how many sheets"), [InputRequired(mark("Say how many.")), NumberRange(1, MOST_PARTS)], default=1
    )
    label = BooleanField(mark("Its final label is with it"), default=True)
    hazards = SelectMultipleField(mark("Dangers"), option_widget=CheckboxInput(), widget=ListWidget(prefix_label=False),
                                  choices=[(kind, words) for kind, words in HAZARD_WORDS.items()])  # fmt: skip

    def validate_felt(self, field: BooleanField) -> None:
        """What came dry was felt by somebody."""
        if self.came.data != FRESH and not field.data:
            raise ValidationError(say("Feel it. If it is still damp, say that it came fresh."))

    def told(self) -> Told:
        """What was said of it."""
        said = {name: " ".join((getattr(self, name).data or "").split()) for name in TEXTS if name != "notes"}
        return Told(**said, notes=(self.notes.data or "").strip(), parts=self.parts.data or 1, came=self.came.data)

    def facts(self) -> dict[str, Any]:
        """The facts of its steps."""
        facts: dict[str, Any] = {
            "bulk": self.bulk.data,
            "label": bool(self.label.data),
            "hazards": list(self.hazards.data or ()),
        }
        if self.came.data == FRESH and self.pressed_on.data is not None:
            facts["pressed_on"] = self.pressed_on.data.isoformat()
        return facts


class RunForm(FlaskForm):  # type: ignore[misc]
    """A run of new numbers."""

    consignment = SelectField(mark("Consignment"), [InputRequired(mark("Choose a consignment."))])
    many = IntegerField(mark("How many sheets"), [InputRequired(mark("Say how many.")), NumberRange(1, MOST_IN_A_RUN)])
    came = RadioField(
        mark("They came"), choices=CAME[:1] + [("dry", mark("dry: each is felt and scanned next"))], default=FRESH
    )
    bundle = SelectField(mark("In which bundle"))
    paper = RadioField(mark("Slips on"), choices=[(name, each.words) for name, each in PAPERS.items()], default="a4")

    def told(self) -> Run:
        """What was asked for."""
        bundle = int(self.bundle.data) if self.bundle.data else None
        return Run(self.many.data or 0, str(self.consignment.data), self.came.data == FRESH, bundle)


def plant_form(found: Sequence[tuple[str, str]], offered: dict[str, Any] | None = None) -> PlantForm:
    """The form for a plant; with `offered`, one that nobody has filled in and that says these again."""
    form = PlantForm(formdata=None, data=offered) if offered is not None else PlantForm()
    form.consignment.choices = [NONE, *found]
    if offered is not None and form.consignment.data not in [code for code, _ in found]:
        form.consignment.data = ""
    return form


def run_form(found: Sequence[tuple[str, str]], bundles: list[tuple[str, str]], offered: str | None) -> RunForm:
    """The form for a run of numbers."""
    form = RunForm(formdata=None, data={"consignment": offered}) if offered is not None else RunForm()
    form.consignment.choices = list(found)
    form.bundle.choices = [NONE, *bundles]
    return form
