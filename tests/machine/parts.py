"""What the design says of a specimen on several sheets: one more for a plant that needs it, and two that are said to be one."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from stdnum.iso7064 import mod_37_2

from tests.machine.model import DRY, FILED, INTAKE, READY, Entry, Sheet, World
from tests.machine.steps import (
    ANY,
    DONE_SAID,
    RULES,
    STARTS,
    WHICH,
    Desk,
    Refuse,
    Said,
    Why,
    behind,
    not_too_late,
    refusals,
    refused,
    write,
)

QUESTION_STANDS = timedelta(minutes=30)
STARTS |= {"another-sheet": frozenset({INTAKE, READY}), "same-specimen": ANY}


def minted(world: World) -> str:
    """The next number of the room's own that no sheet has."""
    while True:
        world.minted += 1
        body = f"TQX{world.minted:06d}"
        character = mod_37_2.calc_check_digit(body)
        if character not in "*IO" and body + character not in world.sheets:
            return str(body + character)


def part_waits(desk: Desk, sheet: Sheet, waits: dict[str, Any]) -> Said | None:
    """The sheet that is scanned next is the other one of its specimen; None where nothing asks for it."""
    if "same_specimen" not in waits or desk.step is not None:
        return None
    desk.keep(pending=None)
    if desk.now - waits["asked_at"] > QUESTION_STANDS:
        return None
    if waits["same_specimen"] == sheet.number:
        return asked(desk, sheet.number)
    desk.keep(last_sheet=sheet.number)
    return _same(desk, desk.world.sheets[waits["same_specimen"]], sheet)


def asked(desk: Desk, number: str | None) -> Said:
    """The card: which other sheet is of the same specimen?"""
    if number is None:
        raise Refuse(("out-of-order", "stop"))
    desk.keep(pending={"same_specimen": number, "asked_at": desk.now})
    return WHICH


def _same(desk: Desk, first: Sheet, other: Sheet) -> Said:
    if not desk.by:
        raise Refuse(("not-signed-in", "stop"))
    world = desk.world
    not_too_late(desk, "same-specimen")
    behind(desk, first)
    if first.number in world.specimens and world.specimens[first.number] == world.specimens.get(other.number):
        return DONE_SAID
    kept, joins = (other, first) if other.number in world.specimens else (first, other)
    if joins.number in world.specimens:
        raise Refuse(("out-of-order", "stop"))
    if why := [each for sheet in (kept, joins) for each in refusals(desk, sheet, "same-specimen")]:
        return refused(why)
    group = world.specimens.setdefault(kept.number, kept.number)
    world.specimens[joins.number] = group
    write(desk, kept, "same-specimen", kept)
    write(desk, joins, "same-specimen", joins, facts={"joins": group})
    return DONE_SAID


def another_sheet(desk: Desk, sheet: Sheet) -> Said:
    """The plant needs one more: a number of the room's own, with all that goes with it."""
    if not desk.by:
        raise Refuse(("not-signed-in", "stop"))
    not_too_late(desk, "another-sheet")
    if why := refusals(desk, sheet, "another-sheet"):
        return refused(why)
    world, new = desk.world, Sheet(minted(desk.world))
    group = world.specimens.setdefault(sheet.number, sheet.number)
    world.specimens[new.number] = group
    write(desk, sheet, "another-sheet", sheet)
    stands = world.sheets[sheet.number]
    like = replace(new, stage=stands.stage, place=stands.place, holds=stands.holds, bulk=stands.bulk, method=stands.method,
                   pressed_at=stands.pressed_at, treated_until=stands.treated_until)  # fmt: skip
    write(desk, new, "another-sheet", like, finds=False, facts={"joins": group})
    return DONE_SAID


def leaves(world: World, tail: list[Entry]) -> None:
    """What brought a sheet into its specimen is taken back; one that is left alone is no specimen of several."""
    for entry in tail:
        if "joins" in entry.facts:
            group = world.specimens.pop(entry.subject[1], None)
            left = [number for number, of in world.specimens.items() if of == group]
            if len(left) == 1:
                del world.specimens[left[0]]


def is_complete(desk: Desk, sheet: Sheet) -> list[Why]:
    """All its sheets are ready, or the manager says why not."""
    group = desk.world.specimens.get(sheet.number)
    mine = [
        desk.world.sheets[number]
        for number, of in desk.world.specimens.items()
        if of == group and number != sheet.number
    ]
    is_ready = all(each.stage in (DRY, FILED) for each in mine if not each.is_closed)
    return [] if is_ready or (desk.has("manager") and desk.reason.strip()) else [("specimen-incomplete", "not-yet")]


def _files(file: Any) -> Any:
    return lambda desk, sheet: [*file(desk, sheet), *is_complete(desk, sheet)]


RULES |= {
    "file": _files(RULES["file"]),
    "another-sheet": lambda desk, sheet: RULES["mount"](desk, sheet) if sheet.stage == READY else [],
}
