"""The question on the page of what lies ahead: what would a changed pace do."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from flask import request
from wtforms import Form, IntegerField, SelectField
from wtforms.validators import NumberRange, Optional

from app.domain.changed_pace import MOST_AFTERNOONS, Change
from app.domain.language import mark, say, say_n
from app.queries.changed_pace import changed_pace, may_be_away
from app.web.security import visitor

HALF, WHOLE = "half", "whole"
MOST_WEEKS, MOST_PLACES = 52, 500


class ChangedPaceForm(Form):
    """One more afternoon, somebody away, a bigger press. It only asks, so it stands in the address."""

    afternoons = SelectField(mark("More afternoons a week"), default="0")
    share = SelectField(mark("Each as much as"), default=WHOLE)
    away = SelectField(mark("Who is away"), default="")
    weeks = IntegerField(
        mark("For how many weeks"),
        [Optional(), NumberRange(0, MOST_WEEKS, mark("Give 1 to 52 weeks, or leave it empty for good."))],
    )
    places = IntegerField(
        mark("More places in the press"),
        [Optional(), NumberRange(0, MOST_PLACES, mark("Give 0 to 500 places."))],
    )

    def change(self) -> Change:
        """What is asked, of a form that is valid."""
        share = Fraction(1, 2) if self.share.data == HALF else Fraction(1)
        away = int(self.away.data) if self.away.data else None
        return Change(int(self.afternoons.data or 0), share, away, self.weeks.data or 0, self.places.data or 0)


def asked_change(session: Any, judged: Any, stages: Any) -> dict[str, Any]:
    """The form as it was sent in the address, and what it would change; nothing asked, nothing reckoned.

    Only who sees names may ask about one worker: their part of the work could be read off the dates.
    """
    form = ChangedPaceForm(request.args)
    form.afternoons.choices = [("0", say("none")), *((str(n), _afternoons(n)) for n in range(1, MOST_AFTERNOONS + 1))]
    form.share.choices = [(WHOLE, say("a usual open day here")), (HALF, say("half of a usual open day here"))]
    people = may_be_away(session, judged) if visitor().sees_names() else ()
    form.away.choices = [("", say("nobody")), *((str(worker), name) for worker, name in people)]
    is_asked = any(name in request.args for name in ("afternoons", "away", "places"))
    change = form.change() if is_asked and form.validate() else Change()
    found = changed_pace(session, judged, stages, change) if change else None
    return {"change_form": form, "changed": found, "asks_people": bool(people)}


def _afternoons(many: int) -> str:
    return say_n("{n} afternoon", "{n} afternoons", many)
