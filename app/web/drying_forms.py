"""The forms of the drying room: a bundle, how it dries, what is tied into which, and what a thermometer shows."""

from __future__ import annotations

from flask_wtf import FlaskForm
from wtforms import DateField, RadioField, SelectField, SelectMultipleField, StringField
from wtforms.validators import InputRequired, Length, Optional, ValidationError

from app.domain.drying import METHOD_WORDS, celsius_typed
from app.domain.language import mark, say
from app.queries.drying import BundlePage, DryingRoom
from app.services.drying import KIND_WORDS, KINDS
from app.web.fields import could_be_pressed, own_ids

METHODS = [(method, words) for method, words in METHOD_WORDS.items()]
NO_DRYER = ("", mark("in none"))
NEW = "new"


class BundleForm(FlaskForm):  # type: ignore[misc]
    """A bundle that is made, and a card for it."""

    name = StringField(mark("Name"), [Optional(), Length(max=80)])
    kind = SelectField(mark("Kind"), choices=list(zip(KINDS, KIND_WORDS, strict=True)))
    method = RadioField(mark("It dries"), choices=METHODS, default="unheated")
    dryer = SelectField(mark("In which dryer"), default="")


class HowForm(FlaskForm):  # type: ignore[misc]
    """How a bundle dries, and since when its plants are pressed."""

    method = RadioField(mark("It dries"), [InputRequired(mark("Say whether with heat."))], choices=METHODS)
    dryer = SelectField(mark("In which dryer"), default="")
    pressed_on = DateField(mark("Pressed on, if not on the day it is laid to dry"), [Optional(), could_be_pressed])


class TieForm(FlaskForm):  # type: ignore[misc]
    """Which sheets of a bundle are tied into which other one."""

    into = SelectField(mark("Into"), [InputRequired(mark("Choose a bundle."))])
    numbers = SelectMultipleField(mark("Which sheets"))
    which = RadioField(
        mark("Which"), choices=[("ticked", mark("only those ticked")), ("all", mark("all of them"))], default="ticked"
    )

    def validate_numbers(self, field: SelectMultipleField) -> None:
        """Something goes."""
        if self.which.data == "ticked" and not field.data:
            raise ValidationError(say("Tick the sheets that go, or choose all of them."))


class ReadingForm(FlaskForm):  # type: ignore[misc]
    """What a dryer's thermometer shows now."""

    dryer = SelectField(mark("Dryer"), [InputRequired(mark("Choose a dryer."))])
    celsius = StringField(mark("It shows, °C"), [InputRequired(mark("Type what it shows.")), Length(max=12)],
                          render_kw={"inputmode": "decimal", "autocomplete": "off"})  # fmt: skip
    note = StringField(mark("A note, if there is one"), [Optional(), Length(max=200)])

    def validate_celsius(self, field: StringField) -> None:
        """A temperature that a dryer can have."""
        try:
            celsius_typed(field.data or "")
        except ValueError as error:
            raise ValidationError(str(error)) from error


def bundle_form(found: DryingRoom, *, fresh: bool = False) -> BundleForm:
    """The form for a new bundle; `fresh` for one that nobody has filled in."""
    form = BundleForm(formdata=None) if fresh else BundleForm()
    form.dryer.choices = _dryers(found)
    own_ids(form, "bundle")
    return form


def reading_form(found: DryingRoom, *, fresh: bool = False) -> ReadingForm:
    """The form for a reading."""
    form = ReadingForm(formdata=None) if fresh else ReadingForm()
    form.dryer.choices = [(each.name, each.name) for each in found.dryers]
    own_ids(form, "reading")
    return form


def how_form(one: BundlePage, found: DryingRoom, *, fresh: bool = False) -> HowForm:
    """The form for how a bundle dries, as it is said now."""
    said = {"method": one.line.method, "dryer": one.line.dryer}
    form = HowForm(formdata=None, data=said) if fresh else HowForm()
    form.dryer.choices = _dryers(found)
    own_ids(form, "how")
    return form


def tie_form(one: BundlePage, *, fresh: bool = False) -> TieForm:
    """The form for tying sheets into another bundle, or a new one."""
    form = TieForm(formdata=None) if fresh else TieForm()
    form.into.choices = [*one.others, (NEW, say("a new bundle"))]
    form.numbers.choices = [(each.number, each.shown) for each in one.sheets]
    own_ids(form, "tie")
    return form


def _dryers(found: DryingRoom) -> list[tuple[str, str]]:
    return [NO_DRYER, *((each.name, each.name) for each in found.dryers)]
