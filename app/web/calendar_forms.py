"""The forms of the room's calendar: weekdays, dates, what is taken back, and whose holidays."""

from __future__ import annotations

from datetime import date
from typing import Any

from flask_wtf import FlaskForm
from wtforms import HiddenField, RadioField, SelectField, SelectMultipleField, StringField, TextAreaField
from wtforms.validators import DataRequired, Length
from wtforms.widgets import CheckboxInput, ListWidget

from app.domain.dates import read_dates
from app.domain.folding import folded
from app.domain.language import mark, say, say_n, spoken
from app.services.holidays_of import MOST_YEARS, countries, parts_of
from app.web.forms import REASON
from app.web.languages import country_named

CLOSED, OPEN, USUAL = "closed", "open", "usual"
WHOLE = ("", mark("the whole country"))


class WeekdaysForm(FlaskForm):  # type: ignore[misc]
    """The weekdays on which the room is open."""

    weekdays = SelectMultipleField(
        mark("Open on"), coerce=int, choices=lambda: list(enumerate(spoken().weekdays)), option_widget=CheckboxInput(),
        widget=ListWidget(prefix_label=False),
    )  # fmt: skip
    reason = StringField(mark("Why?"), REASON)


class DatesForm(FlaskForm):  # type: ignore[misc]
    """Dates that are closed or open against their weekday."""

    dates = TextAreaField(mark("Dates"), [DataRequired(mark("Type at least one date.")), Length(max=8000)])
    kind = RadioField(
        mark("On these dates the room is"), default=CLOSED,
        choices=[(CLOSED, mark("closed")), (OPEN, mark("open")), (USUAL, mark("as the weekday says"))],
    )  # fmt: skip
    reason = StringField(mark("Why?"), REASON)

    def read(self, year: int) -> tuple[date, ...]:
        """The dates typed, of this year where none is said; none, and errors beside the field, if any cannot be read."""
        typed = read_dates(str(self.dates.data), year)
        self.dates.errors = typed.wrong
        return () if typed.wrong else typed.days


class TakeBackForm(FlaskForm):  # type: ignore[misc]
    """Set dates that are as their weekday says again. Each span travels as two ISO dates."""

    spans = SelectMultipleField(mark("Dates"), validate_choice=False)
    reason = StringField(mark("Why?"), REASON)

    def read(self, year: int) -> tuple[date, ...]:
        """The dates ticked; none, and errors beside the field, if there are none or they are no dates."""
        if not self.spans.data:
            self.spans.errors = (say("Tick what is to be taken back."),)
            return ()
        typed = read_dates(", ".join(self.spans.data), year)
        self.spans.errors = typed.wrong
        return () if typed.wrong else typed.days


class HolidaysForm(FlaskForm):  # type: ignore[misc]
    """Whose public holidays, and of which years. `offered` is the country whose parts stood to be chosen from."""

    country = SelectField(mark("Country"), [DataRequired(mark("Choose a country."))])
    part = SelectField(mark("Part of it"))
    first = SelectField(mark("From"), coerce=int)
    years = SelectField(mark("For"), coerce=int)
    offered = HiddenField()

    def offer(self, this_year: int, asked: Any) -> HolidaysForm:
        """Fill in what can be chosen, this year and the next if no year is asked for. A part of another country than the
        one asked for is let go.
        """
        named = ((land.code, country_named(land.code, land.name)) for land in countries())
        known = sorted(named, key=lambda each: folded(each[1]))
        country = asked.get("country", "")
        self.country.choices = [("", say("choose one")), *known]
        parts = parts_of(country) if country in dict(known) else ()
        self.part.choices = [WHOLE, *((each.code, each.name) for each in parts)]
        self.years.choices = [(n, say_n("{n} year", "{n} years", n)) for n in range(1, MOST_YEARS + 1)]
        self.first.choices = [(year, str(year)) for year in range(this_year, this_year + MOST_YEARS)]
        if asked.get("offered", "") != country:
            self.part.data = ""
        if "first" not in asked:
            self.first.data, self.years.data = this_year, 2
        return self
