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
from wtforms.widgets import CheckboxInput, ListWidget

REASON = [DataRequired("Say why; it stays in the log."), Length(max=500)]
NAME = [DataRequired("It needs a name."), Length(max=120)]


class FirstForm(FlaskForm):  # type: ignore[misc]
    """The first manager."""

    code = StringField(
        "Code from the console", [InputRequired("Type the code that the console shows."), Length(max=64)]
    )
    name = StringField("Your name", NAME, render_kw={"autocomplete": "username"})
    password = PasswordField("Password, at least 10 characters", [InputRequired("Choose a password."), Length(max=200)],
                             render_kw={"autocomplete": "new-password"})  # fmt: skip


class SignInForm(FlaskForm):  # type: ignore[misc]
    """Signing in with a password."""

    name = StringField(
        "Your name or number",
        [InputRequired("Type your name."), Length(max=200)],
        render_kw={"autocomplete": "username"},
    )
    password = PasswordField(
        "Password",
        [InputRequired("Type your password."), Length(max=200)],
        render_kw={"autocomplete": "current-password"},
    )


class OwnPasswordForm(FlaskForm):  # type: ignore[misc]
    """A new password of one's own: the old one shows that nobody else sits at the browser."""

    old = PasswordField("Your password until now", [InputRequired("Type the old password, too."), Length(max=200)],
                        render_kw={"autocomplete": "current-password"})  # fmt: skip
    password = PasswordField(
        "New password, at least 10 characters", [InputRequired("Choose a password."), Length(max=200)],
        render_kw={"autocomplete": "new-password"},
    )  # fmt: skip


class PasswordForm(FlaskForm):  # type: ignore[misc]
    """A new password for somebody else."""

    password = PasswordField(
        "New password, at least 10 characters", [InputRequired("Choose a password."), Length(max=200)],
        render_kw={"autocomplete": "new-password"},
    )  # fmt: skip


class ReasonForm(FlaskForm):  # type: ignore[misc]
    """A deed that says why."""

    reason = StringField("Why?", REASON)


class HoldForm(FlaskForm):  # type: ignore[misc]
    """Putting a hold on a sheet."""

    hold = SelectField("Hold", [InputRequired()])
    reason = StringField("Why?", REASON)


class RenumberForm(FlaskForm):  # type: ignore[misc]
    """Another number for a sheet."""

    number = StringField("New number, empty to mint one", [Optional(), Length(max=40)])
    reason = StringField("Why?", REASON)


class TogetherForm(FlaskForm):  # type: ignore[misc]
    """Another number that is the same sheet."""

    other = StringField("The other number", [InputRequired("Type the other number."), Length(max=40)])
    reason = StringField("Why?", REASON)


class GluingForm(FlaskForm):  # type: ignore[misc]
    """Adhesive and bulk of a sheet, put right."""

    adhesive = SelectField("Adhesive")
    bulk = SelectField(
        "Bulk", [InputRequired()], choices=[("thin", "thin"), ("ordinary", "ordinary"), ("bulky", "bulky")]
    )
    reason = StringField("Why?", REASON)


class WorkerForm(FlaskForm):  # type: ignore[misc]
    """A new worker."""

    name = StringField("Name", NAME)
    rights = SelectMultipleField(
        "Rights", [InputRequired("Choose at least one.")], option_widget=CheckboxInput(), widget=ListWidget(prefix_label=False),
        choices=[("reader", "reader"), ("volunteer", "volunteer"), ("trainer", "trainer"), ("manager", "manager")],
    )  # fmt: skip


class RightsForm(FlaskForm):  # type: ignore[misc]
    """What a worker may do, changed."""

    rights = SelectMultipleField(
        "Rights", [InputRequired("Choose at least one.")], option_widget=CheckboxInput(), widget=ListWidget(prefix_label=False),
        choices=[("reader", "reader"), ("volunteer", "volunteer"), ("trainer", "trainer"), ("manager", "manager")],
    )  # fmt: skip


class PinForm(FlaskForm):  # type: ignore[misc]
    """A new PIN."""

    pin = PasswordField(
        "New PIN, 4 to 8 digits", [InputRequired("Choose a PIN."), Length(max=8)], render_kw={"autocomplete": "off"}
    )


class TokenForm(FlaskForm):  # type: ignore[misc]
    """A key for a script or a scanner."""

    name = StringField("What it is for", NAME)
    scope = SelectField(
        "It may", choices=[("read", "read"), ("scan", "scan at one station"), ("manage", "do what the manager may")]
    )
    station = SelectField("Station", [Optional()])
    days = IntegerField("Days until it ends", [InputRequired(), NumberRange(1, 3650)], default=365)


class StationForm(FlaskForm):  # type: ignore[misc]
    """A new station."""

    name = StringField("Name", NAME)
    kind = SelectField("What is done there", [InputRequired()])
    practises = BooleanField("For practice: nothing scanned there is written in the room's log")


class RuleForm(FlaskForm):  # type: ignore[misc]
    """A house rule, changed."""

    value = IntegerField("New value", [InputRequired("Give a whole number.")])
    reason = StringField("Why?", REASON)


class YesNoRuleForm(FlaskForm):  # type: ignore[misc]
    """A house rule that is either kept or not, changed."""

    value = SelectField("New value", [InputRequired("Say yes or no.")], coerce=int, choices=[(1, "yes"), (0, "no")])
    reason = StringField("Why?", REASON)


class LyingForm(FlaskForm):  # type: ignore[misc]
    """Whether a raised minimum holds for the sheets lying there; `version` is that of the rules they were listed by."""

    version = HiddenField("Version", [Regexp(r"^[0-9]{1,9}$")])
    reason = StringField("Why?", REASON)


class ImportForm(FlaskForm):  # type: ignore[misc]
    """A file of sheets."""

    file = FileField("CSV file, or Darwin Core archive", [FileRequired("Choose a file.")])
    consignment = SelectField("Consignment", [InputRequired("Choose a consignment.")])
    write = BooleanField("Write it now")
