"""Work at the press: laying in, weights on and off, taking out; every stack opened as seldom as can be."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from app.domain.stages import Step
from seed_demo.hands import Work
from seed_demo.life import Life
from seed_demo.sheets import Pile, Sheet

DAILY = ("P1", "P2", "P3")
SPARE, SLOW = "P4", "P5"
A_DAY = timedelta(hours=24)


def turns(life: Life, pile: Pile, on: bool) -> None:
    """The weights are put on, and the sheets counted but in the slow stack; or they are lifted."""
    facts = {"counted": len(pile.lying)} if on and pile.cards.name != SLOW else {}
    life.hands.scans(pile.cards.on if on else pile.cards.off, "press", facts=facts)
    pile.turned(life.moment, on)


def lays(life: Life, sheet: Sheet, pile: Pile, **more: Any) -> None:
    """A glued sheet is laid in; the weights of the stack are off."""
    life.hands.scans(sheet.number, "press", step=Step.PUT_UNDER_WEIGHT, stack=pile.cards.name, **more)
    pile.lays_in(sheet, life.moment)


def takes_out(life: Life, sheet: Sheet, pile: Pile, **more: Any) -> None:
    """A sheet is taken out and put on the inspection shelf."""
    life.hands.scans(sheet.number, "press", step=Step.TAKE_OUT, cabinet="D1", shelf="1", **more)
    pile.gives_out(sheet, life.moment)
    sheet.day = life.day
    life.shelves.to_inspect.append(sheet)


def brought(life: Life, sheet: Sheet, into: str = "") -> Work:
    """A glued sheet is brought from the table: slow ones to their own stack, the others to the one being filled."""
    pile = life.shelves.piles[into or (SLOW if sheet.minimum > A_DAY else _filling(life))]
    if pile.weights_on:
        turns(life, pile, on=False)
        yield life.between(20, 40)
    lays(life, sheet, pile)


def mornings(life: Life) -> Work:
    """First thing: whoever is at the press takes down the stacks in which everything is ready."""
    life.hands.signs_in(life.crew.press, "press")
    yield 500
    for name in DAILY:
        pile = life.shelves.piles[name]
        if pile.lying and len(life.shelves.ready_in(pile, life.moment)) == len(pile.lying):
            yield from unloads(life, pile)


def middays(life: Life) -> Work:
    """At midday: whatever is ready comes out, from under others too; only the slow stack is left in peace."""
    for name in (*DAILY, SPARE):
        yield from unloads(life, life.shelves.piles[name])


def slow_stack(life: Life) -> Work:
    """In the afternoon: what is ready in the slow stack comes out, while its weights are off for the day's slow ones."""
    pile = life.shelves.piles[SLOW]
    yield from unloads(life, pile, leaves_open=True)
    yield 600
    if pile.lying and not pile.weights_on:
        turns(life, pile, on=True)


def unloads(life: Life, pile: Pile, leaves_open: bool = False) -> Work:
    """The weights are lifted, what is ready is taken out, and the weights go back on what stays."""
    ready = life.shelves.ready_in(pile, life.moment)
    if not ready:
        return
    if pile.weights_on:
        turns(life, pile, on=False)
        yield 30
    for sheet in ready:
        takes_out(life, sheet, pile)
        yield life.between(25, 50)
    if pile.lying and not leaves_open:
        turns(life, pile, on=True)
        yield 30


def weights_go_on(life: Life, part: str) -> Work:
    """The filling of the morning or afternoon is over: the lid is on, and the weights go on."""
    name = life.filling.pop(part, "")
    pile = life.shelves.piles.get(name)
    if pile is not None and pile.lying and not pile.weights_on:
        turns(life, pile, on=True)
        yield 20


def _filling(life: Life) -> str:
    part = "morning" if life.moment < life.at(12, 30) else "afternoon"
    if part not in life.filling:
        piles = life.shelves.piles
        life.filling[part] = min(DAILY, key=lambda name: (len(piles[name].lying), piles[name].weights_on, name))
    return life.filling[part]
