"""What does not go by the book: slips and their corrections, early releases, sheets that come back, and people."""

from __future__ import annotations

from collections.abc import Callable

from app.domain.stages import Step
from app.services import people
from seed_demo.hands import Work
from seed_demo.life import Life
from seed_demo.looked_at import NEIGHBOURS_LABEL, SPRUNG
from seed_demo.people import LEFT, MANAGER, NEWCOMER
from seed_demo.pressing import DAILY, SLOW, SPARE, brought, lays, takes_out, turns
from seed_demo.room import PATTERN, add_person
from seed_demo.sheets import Pile, Sheet
from seed_demo.tables import glued, mounts_one

Story = Callable[[Life], Work]


def somebody_leaves(life: Life) -> Work:
    """A volunteer of many years stops; the log stays whole."""
    by = life.hands.room.workers[MANAGER].worker_id
    people.retire_worker(life.hands.session, life.hands.room.workers[LEFT].worker_id, life.moment, by=by)
    yield from ()


def somebody_comes(life: Life) -> Work:
    """A new volunteer takes over those hours."""
    add_person(life.hands.session, life.hands.room, NEWCOMER, life.moment)
    yield from ()


def wrong_sheet(life: Life) -> Work:
    """The neighbour's folder was scanned; the scan is taken back and the right one scanned."""
    wrong, right = life.shelves.take(), life.shelves.take()
    if wrong is None or right is None:
        return
    answer = life.hands.scans(wrong.number, "table-1", step=Step.TAKE_UP)
    yield 40
    life.hands.undoes(_entry(answer.entry), "table-1")
    life.shelves.ready.insert(0, wrong)
    yield 25
    yield from mounts_one(life, "table-1", life.crew.table, right)


def needs_two_sheets(life: Life) -> Work:
    """The plant does not fit on one sheet: a further number, and both say 1 of 2 and 2 of 2."""
    sheet = life.shelves.take(lambda each: each.bulk != "bulky")
    if sheet is None:
        return
    life.hands.scans(sheet.number, "table-1", step=Step.TAKE_UP)
    yield 240
    answer = life.hands.scans(sheet.number, "table-1", step=Step.ANOTHER_SHEET)
    second = Sheet(_number_in(answer.lines[0]), sheet.species, bulk=sheet.bulk, partner=sheet)
    sheet.partner = second
    for each in (sheet, second):
        yield life.between(420, 640)
        glued(life, "table-1", life.crew.table, each)
        life.hands.soon(life.between(50, 100), brought(life, each))


def goes_in_a_packet(life: Life) -> Work:
    """A moss is kept in a packet, not glued."""
    sheet = life.shelves.take(lambda each: each.species.bulk == "thin") or life.shelves.take()
    if sheet is None:
        return
    life.hands.scans(sheet.number, "table-1", step=Step.TAKE_UP)
    yield 300
    facts = {"unmounted": "packet"}
    life.hands.scans(sheet.number, "table-1", step=Step.GOES_UNMOUNTED, facts=facts, cabinet="D1", shelf="1")
    sheet.day = life.day
    life.shelves.to_inspect.append(sheet)


def glued_unscanned(life: Life) -> Work:
    """A glued sheet comes to the press and nobody scanned it as mounted: who glued it is asked, and answered."""
    sheet = life.shelves.take(lambda each: each.bulk != "bulky")
    if sheet is None:
        return
    life.hands.scans(sheet.number, "table-1", step=Step.TAKE_UP)
    yield 800
    pile = life.shelves.piles[SPARE]
    life.hands.scans(sheet.number, "press", answers="which-one", step=Step.PUT_UNDER_WEIGHT, stack=SPARE)
    yield 20
    who = life.crew.table
    # Nobody says with what it was glued: it is given the longest time, that of paste.
    sheet.is_glued(who, "paste", sheet.bulk)
    lays(life, sheet, pile, already_done=True, facts={"glued_by": life.hands.room.workers[who].number})
    yield 60
    turns(life, pile, on=True)


def out_of_its_stack(life: Life) -> Work:
    """A sheet lies beside its stack and not in it: it is written as out early, and goes under weight again."""
    pile, sheet = _still_needs_time(life)
    if pile is None or sheet is None:
        return
    life.hands.scans(sheet.number, "press", step=Step.TAKE_OUT, already_done=True)
    pile.gives_out(sheet, pile.seen_at or life.moment)
    yield 90
    yield from brought(life, sheet)


def too_early(life: Life) -> Work:
    """Somebody asks whether a sheet may come out; not yet."""
    _, sheet = _still_needs_time(life)
    if sheet is not None:
        life.hands.scans(sheet.number, "press", answers="not-yet", step=Step.TAKE_OUT)
    yield from ()


def let_out_early(life: Life) -> Work:
    """The manager lets one out before its time, and says why; it stays in the log for good."""
    pile, sheet = _still_needs_time(life)
    if pile is None or sheet is None:
        return
    if pile.weights_on:
        turns(life, pile, on=False)
        yield 45
    manager = (life.hands.room.workers[MANAGER].worker_id,)
    reason = "Wanted for the open day this afternoon; lies flat in its folder with a board on it"
    takes_out(life, sheet, pile, early=True, reason=reason, worker_ids=manager, manages=True)
    yield 60
    if pile.lying:
        turns(life, pile, on=True)


def _still_needs_time(life: Life) -> tuple[Pile | None, Sheet | None]:
    for name in (*DAILY, SLOW):
        pile = life.shelves.piles[name]
        sheet = next(
            (each for each in reversed(pile.lying) if each.is_free and not life.shelves.is_ready(each, life.moment)),
            None,
        )
        if pile.weights_on and sheet is not None:
            return pile, sheet
    return None, None


def is_brought_back(life: Life) -> Work:
    """A filed sheet comes back: damage was seen."""
    sheet = next((each for each in life.shelves.filed if each.mounted_by), None)
    if sheet is None:
        return
    life.hands.signs_in(life.crew.round, "filing")
    yield 40
    reason = "The packet has come loose; seen when the folder was lent to the reading room"
    life.hands.scans(sheet.number, "filing", step=Step.BRING_BACK, cabinet="D1", shelf="1", reason=reason)
    life.shelves.filed.remove(sheet)
    sheet.outcome, sheet.day = "", life.day
    life.shelves.to_inspect.append(sheet)


def goes_back_to_the_table(life: Life) -> Work:
    """The wrong label was glued on: it is soaked off and mounted anew."""
    sheet = next((each for each in life.shelves.to_inspect if each.is_free), None)
    if sheet is None:
        return
    life.hands.signs_in(life.crew.second, "inspection")
    yield 60
    life.hands.scans(sheet.number, "inspection", step=Step.BACK_TO_TABLE, cabinet="M1", shelf="5",
                     reason="The label of its neighbour was glued on", facts={"findings": NEIGHBOURS_LABEL})  # fmt: skip
    life.shelves.to_inspect.remove(sheet)
    sheet.mounted_by, sheet.outcome = "", ""
    life.shelves.ready.insert(0, sheet)


def is_glued_again(life: Life) -> Work:
    """A stem has sprung loose: one spot of glue, and two hours under weight by itself."""
    who, pile = life.crew.second, life.shelves.piles[SPARE]
    sheet = next((each for each in life.shelves.to_inspect if each.is_free and each.mounted_by), None)
    if sheet is None or pile.lying:
        return
    life.hands.signs_in(who, "inspection")
    yield 60
    facts = {"adhesive": "spot", "bulk": "ordinary", "findings": SPRUNG}
    life.hands.scans(sheet.number, "inspection", step=Step.RE_GLUE, facts=facts)
    life.shelves.to_inspect.remove(sheet)
    mended_by = (*sheet.mended_by, who)
    sheet.is_glued(sheet.mounted_by, "spot", "ordinary")
    sheet.mended_by = mended_by
    yield 90
    lays(life, sheet, pile)
    yield 30
    turns(life, pile, on=True)


def is_withdrawn(life: Life) -> Work:
    """A duplicate is sent away in exchange: it leaves the queue."""
    sheet = life.shelves.take()
    if sheet is not None:
        by = (life.hands.room.workers[MANAGER].worker_id,)
        reason = "duplicate sent in exchange to the Brannholt Botanic Garden"
        life.hands.scans(sheet.number, None, step=Step.WITHDRAW, worker_ids=by, manages=True, reason=reason)
    yield from ()


def _number_in(line: str) -> str:
    """The number that an answer names, as it is kept: "The new sheet is TQX 000123·4: …"."""
    digits = line.split(PATTERN.prefix, 1)[1].split(":", 1)[0]
    return PATTERN.prefix + "".join(character for character in digits if character.isalnum())


def _entry(entry: int | None) -> int:
    assert entry is not None
    return entry
