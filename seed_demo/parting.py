"""What is not one sheet with one number: two plants in one fold, a sheet that lost its slip, one number on two sheets."""

from __future__ import annotations

from app.domain.numbers import COMMANDS
from app.domain.stages import Step
from seed_demo.hands import Work
from seed_demo.life import Life
from seed_demo.sheets import Sheet


def two_in_a_fold(life: Life) -> Work:
    """A second plant lies in the fold: it gets a number of its own, and waits for its label."""
    sheet = _free(life)
    if sheet is not None:
        life.hands.scans(sheet.number, "table-1", step=Step.DIVIDE, facts={"plant": "Poa alpina"})
    yield from ()


def without_a_number(life: Life) -> Work:
    """A fold without a slip: it is none of those that the room knows, so it gets a number and is held."""
    life.hands.signs_in(life.crew.round, "intake")
    yield 40
    life.hands.scans(COMMANDS["no-number"], "intake", answers="which-one")
    yield 60
    label = {"on_label": "Carex viridula 2b"}
    life.hands.scans(COMMANDS["no-number"], "intake", answers="which-one", facts=label)
    yield 30
    made = life.hands.scans(COMMANDS["no-number"], "intake", facts={**label, "is": "new"})
    yield 50
    dry = {"dryness": True, "label": True}
    life.hands.scans(made.slip, "intake", step=Step.ARRIVE_DRY, facts=dry, cabinet="M2", shelf="5")


def one_number_twice(life: Life) -> Work:
    """Two folds bear one number; it is known which of them the room has had, so the other gets its own."""
    sheet = _free(life)
    if sheet is None:
        return
    told = life.hands.scans(sheet.number, "table-1", step=Step.TELL_APART, facts={"known": "yes"})
    yield 60
    life.hands.signs_in(life.crew.round, "intake")
    yield 30
    dry = {"dryness": True, "label": True}
    life.hands.scans(told.slip, "intake", step=Step.ARRIVE_DRY, facts=dry, cabinet="M2", shelf="5")


def _free(life: Life) -> Sheet | None:
    return next((each for each in reversed(life.shelves.ready) if each.is_free), None)
