"""The freezer: one load that went through it and was opened, and one that lies in it."""

from __future__ import annotations

from app.domain.numbers import COMMANDS
from app.domain.stages import Step
from app.queries.freezers import freezer_page
from seed_demo.hands import Work
from seed_demo.life import Life
from seed_demo.sheets import Sheet
from seed_demo.stories import Story

AT = "freezer"
IN_IT = "in the freezer"


def goes_in(many: int) -> Story:
    """So many sheets with holes in their leaves are bagged, and the bag goes into the freezer."""

    def story(life: Life) -> Work:
        sheets = [sheet for sheet in life.shelves.ready if sheet.is_free][-life.size(many, 2) :]
        if not sheets:
            return
        life.hands.signs_in(life.crew.extra, AT)
        yield 20
        code = life.hands.scans(COMMANDS["new-load"], AT).carry["code"]
        for sheet in sheets:
            sheet.story = IN_IT
            yield life.between(15, 40)
            life.hands.scans(sheet.number, AT)
        yield 240
        life.hands.scans(code, AT)
        yield 6
        life.hands.scans(_freezer(life), AT)
        life.hands.all_leave(AT)

    return story


def comes_out(life: Life) -> Work:
    """It has been cold for long enough, and comes out; the bag stays closed."""
    yield from _said(life, Step.LOAD_OUT)


def is_opened(life: Life) -> Work:
    """The bag is warm: it is opened, and what was in it goes back to its shelf."""
    yield from _said(life, Step.LOAD_OPENED)
    for sheet in _inside(life):
        yield life.between(10, 20)
        life.hands.scans(sheet.number, "filing", step=Step.SHELVE, cabinet="M1", shelf="6")
        sheet.story = ""


def _said(life: Life, step: Step) -> Work:
    loads = freezer_page(life.hands.session, life.moment, life.zone).loads
    if not loads:
        return
    life.hands.signs_in(life.crew.extra, AT)
    yield 15
    life.hands.scans(loads[0].code, AT, step=step)
    life.hands.all_leave(AT)
    if step is Step.LOAD_OPENED:
        life.hands.signs_in(life.crew.extra, "filing")


def _inside(life: Life) -> list[Sheet]:
    return [sheet for sheet in life.shelves.ready if sheet.story == IN_IT]


def _freezer(life: Life) -> str:
    return freezer_page(life.hands.session, life.moment, life.zone).freezers[0].code
