"""From a sheet's own page: another has its number, two plants are in it, another sheet is of the same specimen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from werkzeug.wrappers import Response as AnyResponse

from app.domain.answer import Answer
from app.services.apart import divide, tell_apart
from app.services.deeds import number_typed, sheet_asked
from app.services.desk import Desk, ScanRequest
from app.services.specimens import same_specimen
from app.web.asking import asked, done_once
from app.web.deeds import told
from app.web.parting_forms import ApartForm, DivideForm, SameSpecimenForm
from app.web.sheet_page import Refusing, draw


def apart(number: str) -> AnyResponse:
    """Another sheet bears this one's number: it gets one of its own."""
    form = ApartForm()
    if not form.validate():
        return draw(number, 422, Refusing("tell_apart", form))
    request = replace(asked(number, form.reason.data), facts={"known": form.known.data})
    return _told(
        number, request, Refusing("tell_apart", form), "apart", lambda desk: tell_apart(desk, sheet_asked(desk))
    )


def divided(number: str) -> AnyResponse:
    """Two plants are in it: the second gets a number of its own, or, where they are glued, it is noted."""
    form = DivideForm()
    if not form.validate():
        return draw(number, 422, Refusing("divide", form))
    request = replace(asked(number, ""), facts={"plant": form.plant.data or ""})
    return _told(number, request, Refusing("divide", form), "divide", lambda desk: divide(desk, sheet_asked(desk)))


def one_specimen(number: str) -> AnyResponse:
    """Another sheet is of the same specimen."""
    form = SameSpecimenForm()
    if not form.validate():
        return draw(number, 422, Refusing("same_specimen", form))
    text = form.other.data or ""

    def act(desk: Desk) -> Answer:
        row = sheet_asked(desk)
        # The page stays that of the sheet that was asked about.
        return replace(same_specimen(desk, row, number_typed(desk, text, row)), sheet=None)

    return _told(number, asked(number, ""), Refusing("same_specimen", form), f"specimen {text}", act)


def _told(
    number: str, request: ScanRequest, refusing: Refusing, what: str, act: Callable[[Desk], Answer]
) -> AnyResponse:
    return told(number, done_once(request, act, what), refusing, with_next=True)
