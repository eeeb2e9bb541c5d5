"""What is left lying, in every way there is, and what comes to light only later: told late, found off, in doubt."""

from __future__ import annotations

from datetime import timedelta

from app.domain.stages import Step
from app.services.late import write_late
from seed_demo.hands import Work
from seed_demo.life import Life
from seed_demo.pressing import DAILY, SLOW, SPARE, lays, takes_out, turns
from seed_demo.rounds import judges
from seed_demo.sheets import Sheet
from seed_demo.tables import glued, mounts_one

LEFT_AT_TABLE = 1


def left_without_weights(life: Life) -> Work:
    """An early hour at the second table: the sheets are laid in, called away, and nobody puts the weights on."""
    who, pile = life.crew.extra, life.shelves.piles[SPARE]
    life.hands.signs_in(who, "table-2")
    yield 150
    sheets = [sheet for _ in range(4) if (sheet := life.shelves.take(lambda each: each.bulk != "bulky"))]
    for place, sheet in enumerate(sheets):
        life.hands.scans(sheet.number, "table-2", step=Step.TAKE_UP)
        yield life.between(420, 480)
        glued(life, "table-2", who, sheet)
        yield 50
        if place < len(sheets) - LEFT_AT_TABLE:
            lays(life, sheet, pile)


def forgotten_in_the_stack(life: Life) -> Work:
    """Two bulky sheets at the bottom of the slow stack; later everybody takes out only what lies above them."""
    who, pile = life.crew.extra, life.shelves.piles[SLOW]
    life.hands.signs_in(who, "table-2")
    for _ in range(2):
        sheet = life.shelves.take(lambda each: each.bulk == "bulky") or life.shelves.take()
        if sheet is not None:
            yield from _laid_slowly(life, sheet, who)
    if pile.lying and not pile.weights_on:
        turns(life, pile, on=True)
    yield from ()


def _laid_slowly(life: Life, sheet: Sheet, who: str) -> Work:
    pile = life.shelves.piles[SLOW]
    life.hands.scans(sheet.number, "table-2", step=Step.TAKE_UP)
    yield 700
    glued(life, "table-2", who, sheet, bulk="bulky")
    yield 80
    if pile.weights_on:
        turns(life, pile, on=False)
        yield 25
    lays(life, sheet, pile)
    sheet.story = "forgotten"


def one_too_few(life: Life) -> Work:
    """The slow stack is counted at the end of the day: one fewer than by the log."""
    pile = life.shelves.piles[SLOW]
    life.hands.scans(pile.cards.on, "press", step=Step.COUNT, facts={"counted": len(pile.lying) - 1})
    yield from ()


def set_aside_to_mend(life: Life) -> Work:
    """What is to be mended is put on the repair shelf, and stays there."""
    life.hands.signs_in(life.crew.second, "inspection")
    yield 120
    waiting = [sheet for sheet in life.shelves.to_inspect if sheet.may_be_judged_by(life.crew.second)]
    for sheet in waiting[: life.size(2, 1)]:
        judges(life, sheet, "to-be-mended")
        sheet.story = "to mend"
        yield 2


def passed_and_left(life: Life) -> Work:
    """Some that were passed slip behind the others and are not filed."""
    left = sum(sheet.story == "unfiled" for sheet in life.shelves.to_file)
    for sheet in [each for each in life.shelves.to_file if each.is_free][: life.size(3, 1) - left]:
        sheet.story = "unfiled"
    yield from ()


def fills_the_spare(life: Life) -> Work:
    """On this afternoon some go into the spare stack."""
    for _ in range(2):
        sheet = life.shelves.take(lambda each: each.bulk != "bulky")
        if sheet is not None:
            yield from mounts_one(life, "table-1", life.crew.table, sheet, SPARE)
    pile = life.shelves.piles[SPARE]
    yield 200
    if pile.lying and not pile.weights_on:
        turns(life, pile, on=True)


def told_late(life: Life) -> Work:
    """The spare stack is taken down when its time has come; then somebody says that its weights had been off before noon."""
    pile = life.shelves.piles[SPARE]
    ready = life.shelves.ready_in(pile, life.moment)
    if not ready:
        return
    turns(life, pile, on=False)
    yield 40
    for sheet in ready:
        takes_out(life, sheet, pile)
        yield 45
    yield 500
    for code, hour, minute in ((pile.cards.off, 10, 5), (pile.cards.on, 11, 40)):
        _writes_weights(life, code, hour, minute)
        yield 60


def _writes_weights(life: Life, code: str, hour: int, minute: int) -> None:
    by = (life.hands.room.workers[life.crew.press].worker_id,)
    reason = "A sheet was looked for in it; said at tea, not scanned"
    life.hands.scans(code, None, happened_at=life.at(hour, minute), worker_ids=by, manages=True, reason=reason)


def found_off(life: Life) -> Work:
    """In the morning the weights of a stack are found off: its time counts only up to when they were last seen on it."""
    pile = next((life.shelves.piles[name] for name in DAILY if life.shelves.piles[name].weights_on), None)
    if pile is None:
        return
    seen_on = pile.spans[-1].on_at
    life.hands.scans(pile.cards.off, "press", facts={"found": True})
    pile.turned(seen_on, False)
    yield 120
    turns(life, pile, on=True)


def power_cut(life: Life) -> Work:
    """The power was off; what was inspected meanwhile was kept on paper, and the manager writes it up."""
    who = life.crew.second
    sheet = next((each for each in life.shelves.to_inspect if each.may_be_judged_by(who)), None)
    if sheet is None:
        return
    act = lambda desk: write_late(desk, Step.INSPECT, life.hands.room.stations["inspection"])  # noqa: E731
    life.hands.manages(sheet.number, act, "late inspection", by=who, happened_at=life.moment - timedelta(minutes=70),
                       facts={"outcome": "passed"}, cabinet="D1", shelf="2", reason="Power cut, from the paper log")  # fmt: skip
    sheet.outcome, sheet.day = "passed", life.day
    life.shelves.to_inspect.remove(sheet)
    life.shelves.to_file.append(sheet)
    yield from ()
