"""The forms of the room's calendar: weekdays, dates, what is taken back, and whose holidays."""

from __future__ import annotations

from datetime import date
from typing import Any

from flask_wtf import FlaskForm
from wtforms import HiddenField, RadioField, SelectField, SelectMultipleField, StringField, TextAreaField
from wtforms.validators import DataRequired, Length
from wtforms.widgets import CheckboxInput, ListWidget

from app.domain.dates import read_dates
from app.domain.words import WEEKDAYS
from app.services.holidays_of import MOST_YEARS, countries, parts_of
from app.web.forms import REASON

CLOSED, OPEN, USUAL = "closed", "open", "usual"
WHOLE = ("", "the whole country")


class WeekdaysForm(FlaskForm):  # type: ignore[misc]
    """The weekdays on which the room is open."""

    weekdays = SelectMultipleField(
        "Open on", coerce=int, choices=list(enumerate(WEEKDAYS)), option_widget=CheckboxInput(),
        widget=ListWidget(prefix_label=False),
    )  # fmt: skip
    reason = StringField("Why?", REASON)


class DatesForm(FlaskForm):  # type: ignore[misc]
    """Dates that are closed or open against their weekday."""

    dates = TextAreaField("Dates", [DataRequired("Type at least one date."), Length(max=8000)])
    kind = RadioField(
        "On these dates the room is", default=CLOSED,
        choices=[(CLOSED, "closed"), (OPEN, "open"), (USUAL, "as the weekday says")],
    )  # fmt: skip
    reason = StringField("Why?", REASON)

    def read(self, year: int) -> tuple[date, ...]:
        """The dates typed, of this year where none is said; none, and errors beside the field, if any cannot be read."""
        typed = read_dates(str(self.dates.data), year)
        self.dates.errors = typed.wrong
        return () if typed.wrong else typed.days


class TakeBackForm(FlaskForm):  # type: ignore[misc]
    """Set dates that are as their weekday says again. Each span travels as two ISO dates."""

    spans = SelectMultipleField("Dates", validate_choice=False)
    reason = StringField("Why?", REASON)

    def read(self, year: int) -> tuple[date, ...]:
        """The dates ticked; none, and errors beside the field, if there are none or they are no dates."""
        if not self.spans.data:
            self.spans.errors = ("Tick what is to be taken back.",)
            return ()
        typed = read_dates(", ".join(self.spans.data), year)
        self.spans.errors = typed.wrong
        return () if typed.wrong else typed.days


class HolidaysForm(FlaskForm):  # type: ignore[misc]
    """Whose public holidays, and of which years. `offered` is the country whose parts stood to be chosen from."""

    country = SelectField("Country", [DataRequired("Choose a country.")])
    part = SelectField("Part of it")
    first = SelectField("From", coerce=int)
    years = SelectField("For", coerce=int, choices=[(n, f"{n} year" + "s" * (n > 1)) for n in range(1, MOST_YEARS + 1)])
    offered = HiddenField()

    def offer(self, this_year: int, asked: Any) -> HolidaysForm:
        """Fill in what can be chosen, this year and the next if no year is asked for. A part of another country than the
        one asked for is let go.
        """
        known = [(land.code, land.name) for land in countries()]
        country = asked.get("country", "")
        self.country.choices = [("", "choose one"), *known]
        parts = parts_of(country) if country in dict(known) else ()
        self.part.choices = [WHOLE, *((each.code, each.name) for each in parts)]
        self.first.choices = [(year, str(year)) for year in range(this_year, this_year + MOST_YEARS)]
        if asked.get("offered", "") != country:
            self.part.data = ""
        if "first" not in asked:
            self.first.data, self.years.data = this_year, 2
        return self
