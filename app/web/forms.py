"""The forms that are filled in by hand, and what they ask for."""

from __future__ import annotations

from flask_wtf import FlaskForm
from flask_wtf.file import FileField, FileRequired
from wtforms import (
    BooleanField,
    HiddenField,
    IntegerField,
    PasswordField,
    SelectField,
    SelectMultipleField,
    StringField,
)
from wtforms.validators import DataRequired, InputRequired, Length, NumberRange, Optional, Regexp
from wtforms.widgets import ListWidget

from app.domain.language import mark
from app.web.fields import Tick

REASON = [DataRequired(mark("Say why; it stays in the log.")), Length(max=500)]
RIGHTS = [
    ("reader", mark("reader")), ("volunteer", mark("volunteer")), ("trainer", mark("trainer")), ("manager", mark("manager")),
]  # fmt: skip
NAME = [DataRequired(mark("It needs a name.")), Length(max=120)]


class FirstForm(FlaskForm):  # type: ignore[misc]
    """The first manager."""

    code = StringField(
        mark("Code from the window"), [InputRequired(mark("Type the code that the window shows.")), Length(max=64)]
    )
    name = StringField(mark("Your name"), NAME, render_kw={"autocomplete": "username"})
    password = PasswordField(mark("Password, at least 10 characters"), [InputRequired(mark("Choose a password.")), Length(max=200)],
                             render_kw={"autocomplete": "new-password"})  # fmt: skip
    folder = StringField(mark("Folder on another disk for the backups, if there is one already"), [Length(max=1000)])


class PlaceForm(FlaskForm):  # type: ignore[misc]
    """The second place of the backups."""

    folder = StringField(mark("Folder on another disk"), [Length(max=1000)])


class SignInForm(FlaskForm):  # type: ignore[misc]
    """Signing in with a password."""

    name = StringField(
        mark("Your name or number"),
        [InputRequired(mark("Type your name.")), Length(max=200)],
        render_kw={"autocomplete": "username"},
    )
    password = PasswordField(
        mark("Password"),
        [InputRequired(mark("Type your password.")), Length(max=200)],
        render_kw={"autocomplete": "current-password"},
    )


class OwnPasswordForm(FlaskForm):  # type: ignore[misc]
    """A new password of one's own: the old one shows that nobody else sits at the browser."""

    old = PasswordField(mark("Your password until now"), [InputRequired(mark("Type the old password, too.")), Length(max=200)],
                        render_kw={"autocomplete": "current-password"})  # fmt: skip
    password = PasswordField(
        mark("New password, at least 10 characters"), [InputRequired(mark("Choose a password.")), Length(max=200)],
        render_kw={"autocomplete": "new-password"},
    )  # fmt: skip


class PasswordForm(FlaskForm):  # type: ignore[misc]
    """A new password for somebody else."""

    password = PasswordField(
        mark("New password, at least 10 characters"), [InputRequired(mark("Choose a password.")), Length(max=200)],
        render_kw={"autocomplete": "new-password"},
    )  # fmt: skip


class ReasonForm(FlaskForm):  # type: ignore[misc]
    """A deed that says why."""

    reason = StringField(mark("Why?"), REASON)


class HoldForm(FlaskForm):  # type: ignore[misc]
    """Putting a hold on a sheet."""

    hold = SelectField(mark("Hold"), [InputRequired()])
    reason = StringField(mark("Why?"), REASON)


class RenumberForm(FlaskForm):  # type: ignore[misc]
    """Another number for a sheet."""

    number = StringField(mark("New number, empty to mint one"), [Optional(), Length(max=40)])
    reason = StringField(mark("Why?"), REASON)


class TogetherForm(FlaskForm):  # type: ignore[misc]
    """Another number that is the same sheet."""

    other = StringField(mark("The other number"), [InputRequired(mark("Type the other number.")), Length(max=40)])
    reason = StringField(mark("Why?"), REASON)


class GluingForm(FlaskForm):  # type: ignore[misc]
    """Adhesive and bulk of a sheet, put right."""

    adhesive = SelectField(mark("Adhesive"))
    bulk = SelectField(
        mark("Bulk"), [InputRequired()], choices=[("thin", "thin"), ("ordinary", "ordinary"), ("bulky", "bulky")]
    )
    reason = StringField(mark("Why?"), REASON)


class WorkerForm(FlaskForm):  # type: ignore[misc]
    """A new worker."""

    name = StringField(mark("Name"), NAME)
    rights = SelectMultipleField(
        mark("Rights"), [InputRequired(mark("Choose at least one."))], option_widget=Tick(),
        widget=ListWidget(prefix_label=False), choices=RIGHTS,
    )  # fmt: skip


class RightsForm(FlaskForm):  # type: ignore[misc]
    """What a worker may do, changed."""

    rights = SelectMultipleField(
        mark("Rights"), [InputRequired(mark("Choose at least one."))], option_widget=Tick(),
        widget=ListWidget(prefix_label=False), choices=RIGHTS,
    )  # fmt: skip


class PinForm(FlaskForm):  # type: ignore[misc]
    """A new PIN."""

    pin = PasswordField(
        mark("New PIN, 4 to 8 digits"),
        [InputRequired(mark("Choose a PIN.")), Length(max=8)],
        render_kw={"autocomplete": "off"},
    )


class TokenForm(FlaskForm):  # type: ignore[misc]
    """A key for a script or a scanner."""

    name = StringField(mark("What it is for"), NAME)
    scope = SelectField(
        mark("It may"),
        choices=[
            ("read", mark("read")),
            ("scan", mark("scan at one station")),
            ("manage", mark("do what the manager may")),
        ],
    )
    station = SelectField(mark("Station"), [Optional()])
    days = IntegerField(mark("Days until it ends"), [InputRequired(), NumberRange(1, 3650)], default=365)


class StationForm(FlaskForm):  # type: ignore[misc]
    """A new station."""

    name = StringField(mark("Name"), NAME)
    kind = SelectField(mark("What is done there"), [InputRequired()])
    practises = BooleanField(mark("For practice: nothing scanned there is written in the room's log"))


class RuleForm(FlaskForm):  # type: ignore[misc]
    """A house rule, changed."""

    value = IntegerField(mark("New value"), [InputRequired(mark("Give a whole number."))])
    reason = StringField(mark("Why?"), REASON)


class YesNoRuleForm(FlaskForm):  # type: ignore[misc]
    """A house rule that is either kept or not, changed."""

    value = SelectField(
        mark("New value"), [InputRequired(mark("Say yes or no."))], coerce=int, choices=[(1, "yes"), (0, "no")]
    )
    reason = StringField(mark("Why?"), REASON)


class LyingForm(FlaskForm):  # type: ignore[misc]
    """Whether a raised minimum holds for the sheets lying there; `version` is that of the rules they were listed by."""

    version = HiddenField(mark("Version"), [Regexp(r"^[0-9]{1,9}$")])
    reason = StringField(mark("Why?"), REASON)


class ImportForm(FlaskForm):  # type: ignore[misc]
    """A file of sheets."""

    file = FileField(mark("CSV file, or Darwin Core archive"), [FileRequired(mark("Choose a file."))])
    consignment = SelectField(mark("Consignment"), [InputRequired(mark("Choose a consignment."))])
    write = BooleanField(mark("Write it now"))
