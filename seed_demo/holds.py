"""Holds and cautions: labels that are still to come, names in doubt, a sheet that is not found, mould that is seen."""

from __future__ import annotations

from app.domain.stages import Step
from app.services.deeds import lift_hold, put_hold
from seed_demo.hands import Work
from seed_demo.life import Life
from seed_demo.sheets import Sheet


def refused_for_its_label(life: Life) -> Work:
    """A sheet that still waits for its label is brought to the table: stop."""
    held = next((sheet for sheet in life.shelves.ready if sheet.held), None)
    if held is not None:
        life.hands.scans(held.number, "table-1", answers="stop", step=Step.TAKE_UP)
    yield from ()


def labels_come(life: Life) -> Work:
    """The printed labels are here: all but the latest holds are lifted."""
    for sheet in [each for each in life.shelves.ready if each.held and each.day < life.day - 6]:
        act = lambda desk: lift_hold(desk, "label-to-come")  # noqa: E731
        life.hands.manages(sheet.number, act, "lift label-to-come", facts={"hold": "label-to-come"})
        sheet.held = False
        yield 40


def name_is_in_doubt(life: Life) -> Work:
    """Two names are queried; they may be mounted, but not filed."""
    for sheet in [each for each in life.shelves.ready if each.is_free][-2:]:
        _holds(life, sheet, "name-query", "Looks more like the other species; for the next naming day")
        sheet.story = "name query"
        yield 60


def is_not_found(life: Life) -> Work:
    """A sheet is not on its shelf."""
    sheet = next((each for each in reversed(life.shelves.ready) if each.is_free), None)
    if sheet is not None:
        _holds(life, sheet, "not-found", "Not on its shelf, looked on both sides of it")
        sheet.story = "not found"
    yield from ()


def is_mouldy(life: Life) -> Work:
    """Mould is seen on a sheet that waits: the caution travels with it from now on."""
    sheet = next((each for each in life.shelves.ready if each.story == "left behind"), None)
    if sheet is None:
        return
    life.hands.signs_in(life.crew.round, "intake")
    yield 40
    life.hands.scans(sheet.number, "intake", step=Step.SHELVE, facts={"hazards": ("mould",)}, cabinet="M2", shelf="5")


def _holds(life: Life, sheet: Sheet, kind: str, reason: str) -> None:
    act = lambda desk: put_hold(desk, kind)  # noqa: E731
    life.hands.manages(sheet.number, act, f"put {kind}", facts={"hold": kind}, reason=reason)
