"""The room's calendar: a year of open and closed days, and the forms that change them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from flask import Blueprint, abort, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.calendar import Calendar, local_day
from app.domain.dates import days_words
from app.domain.language import say, say_n, spoken
from app.domain.words import date_said, weekday_said
from app.queries.calendar import YEARS_AROUND, Effect, calendar_in_force, effect_of, year_view
from app.services.calendar import close_holidays, set_days, set_weekdays, unset_days
from app.services.holidays_of import Holiday, place_words, public_holidays
from app.web.calendar_forms import CLOSED, USUAL, DatesForm, HolidaysForm, TakeBackForm, WeekdaysForm
from app.web.fields import own_ids
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("calendar", __name__)
FORMS: dict[str, Callable[..., Any]] = {"weekdays": WeekdaysForm, "dates": DatesForm, "back": TakeBackForm}


@dataclass(frozen=True, slots=True)
class Offered:
    """One holiday as it is offered: whether it would close a day that is open, and else why not."""

    day: date
    weekday: str
    words: str
    name: str
    closes: bool
    note: str
    ticked: bool


@bp.get("/room/calendar")
def show() -> AnyResponse:
    """One year of the room, day by day."""
    return _year(_asked_year(), {})


@bp.post("/room/calendar/weekdays")
def weekdays() -> AnyResponse:
    """The weekdays on which the room is open, from now on."""
    form = WeekdaysForm()

    def write(session: Any) -> str:
        changed = set_weekdays(session, form.weekdays.data or (), str(form.reason.data), now(), visitor().worker_id)
        return say("The weekdays were changed.") if changed else say("The weekdays were like that already.")

    return _tried("weekdays", form, form.weekdays, write) if form.validate() else _wrong("weekdays", form)


@bp.post("/room/calendar/dates")
def dates() -> AnyResponse:
    """Close dates, open them, or leave them to their weekday again."""
    form, year = DatesForm(), _asked_year()
    days = form.read(year) if form.validate() else ()
    if not days:
        return _wrong("dates", form)
    why, by = str(form.reason.data), visitor().worker_id

    def write(session: Any) -> str:
        if form.kind.data == USUAL:
            return _counted(say("As the weekday says"), days, unset_days(session, days, why, now(), by=by))
        closed = form.kind.data == CLOSED
        return _counted(
            say("Closed") if closed else say("Open"), days, set_days(session, days, not closed, why, now(), by=by)
        )

    return _tried("dates", form, form.dates, write, days)


@bp.post("/room/calendar/back")
def take_back() -> AnyResponse:
    """Set dates are as their weekday says again."""
    form = TakeBackForm()
    days = form.read(_asked_year()) if form.validate() else ()
    if not days:
        return _wrong("back", form)

    def write(session: Any) -> str:
        taken = unset_days(session, days, str(form.reason.data), now(), by=visitor().worker_id)
        return _counted(say("Taken back"), days, taken)

    return _tried("back", form, form.spans, write, days)


@bp.get("/room/calendar/holidays")
def holidays() -> AnyResponse:
    """Whose public holidays: choose, and look at them before anything is closed."""
    asked = request.args
    form = HolidaysForm(formdata=asked or None, meta={"csrf": False}).offer(_today().year, asked)
    return _holidays(form, status=200 if "country" not in asked or form.validate() else 422)


@bp.post("/room/calendar/holidays")
def accept() -> AnyResponse:
    """Close the room on the holidays that are ticked."""
    form = HolidaysForm().offer(_today().year, request.form)
    ticked = set(request.form.getlist("day"))
    listed = _listed(form) if form.validate() else ()
    named = {each.day: each.name for each in listed if each.day.isoformat() in ticked}
    if not named:
        return _holidays(form, ticked=ticked, wrong=say("Tick the days on which the room is closed."), status=422)
    # Kept as why each of the days is closed, so in the words of the program.
    whose = f"public holidays, {place_words(form.country.data, form.part.data)}"

    def write(session: Any) -> str:
        return _counted(
            say("Closed"), list(named), close_holidays(session, named, whose, now(), by=visitor().worker_id)
        )

    flash(_with_effect(write))
    return redirect(url_for("calendar.show", year=form.first.data))


def _tried(what: str, form: Any, field: Any, write: Callable[[Any], str], days: Sequence[date] = ()) -> AnyResponse:
    """Write it and show the year that it is about; or say beside the field why it cannot be."""
    try:
        said = _with_effect(write)
    except ValueError as error:
        field.errors = [str(error)]
        return _wrong(what, form)
    flash(said)
    return redirect(url_for("calendar.show", year=days[0].year if days else _asked_year()))


def _with_effect(write: Callable[[Any], str]) -> str:
    """Do it, and say what was done and what that means for the sheets that wait now."""
    database, zone = house().database, house().zone
    with reading(database) as session:
        before = calendar_in_force(session, zone)
    with transaction(database) as session:
        said = write(session)
    with reading(database) as session:
        return f"{said} {effect_words(effect_of(session, before, now(), zone))}"


def effect_words(effect: Effect) -> str:
    """How many sheets more or fewer count as stalled: "With this, 12 fewer sheets are stalled: 3 instead of 15."."""
    differ = abs(effect.after - effect.before)
    if not differ:
        return say("Stalled sheets: {after:,}, as before.", after=effect.after)
    before, after = effect.before, effect.after
    if after > before:
        return say_n("With this, {n:,} more sheet is stalled: {after:,} instead of {before:,}.",
                     "With this, {n:,} more sheets are stalled: {after:,} instead of {before:,}.",
                     differ, after=after, before=before)  # fmt: skip
    return say_n("With this, {n:,} fewer sheet is stalled: {after:,} instead of {before:,}.",
                 "With this, {n:,} fewer sheets are stalled: {after:,} instead of {before:,}.",
                 differ, after=after, before=before)  # fmt: skip


def _counted(what: str, days: Sequence[date], many: int) -> str:
    return say_n("{what}: {days} ({n} day).", "{what}: {days} ({n} days).", many, what=what, days=days_words(days))


def _wrong(what: str, form: Any) -> AnyResponse:
    return _year(_asked_year(), {what: form}, 422, wrong=what)


def _year(year: int, sent: dict[str, Any], status: int = 200, wrong: str = "") -> AnyResponse:
    with reading(house().database) as session:
        view = year_view(session, year, now(), house().zone)
    forms = {what: sent.get(what) or made(formdata=None) for what, made in FORMS.items()}
    if "weekdays" not in sent:
        forms["weekdays"].weekdays.data = sorted(view.open_weekdays)
    for what, form in forms.items():
        own_ids(form, what)
    return page("room/calendar.html", status, view=view, forms=forms, wrong=wrong, weekdays=spoken().weekdays)


def _asked_year() -> int:
    """The year that the page shows; today's where none is asked for, and no page for one that is out of reach."""
    year = request.args.get("year", str(_today().year))
    if not (year.isascii() and year.isdigit() and abs(int(year[:9]) - _today().year) <= YEARS_AROUND):
        abort(404)
    return int(year)


def _today() -> date:
    return local_day(now(), house().zone)


def _listed(form: HolidaysForm) -> tuple[Holiday, ...]:
    return public_holidays(form.country.data, form.part.data, form.first.data, form.years.data)


def _holidays(
    form: HolidaysForm, *, ticked: Collection[str] | None = None, wrong: str = "", status: int = 200
) -> AnyResponse:
    """The chooser, and the list once it is known whose."""
    offered: tuple[Offered, ...] | None = None
    if form.country.data and not form.errors:
        with reading(house().database) as session:
            cal = calendar_in_force(session, house().zone)
        offered = tuple(_offered(each, cal, ticked) for each in _listed(form))
    return page("room/holidays.html", status, form=form, offered=offered, wrong="" if form.errors else wrong)


def _offered(holiday: Holiday, cal: Calendar, ticked: Collection[str] | None) -> Offered:
    """What would close an open day is ticked; what is closed anyway, or was opened on purpose, is left to be ticked."""
    day = holiday.day
    closes = cal.is_open(day) and day not in cal.opened
    note = "" if closes else say("opened by its date") if cal.is_open(day) else say("closed anyway")
    words = date_said(day)
    return Offered(day, weekday_said(day), words, holiday.name, closes, note,
                   closes if ticked is None else day.isoformat() in ticked)  # fmt: skip
