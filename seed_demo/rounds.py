"""The rounds of the room: drying, inspecting, mending and filing."""

from __future__ import annotations

from datetime import timedelta

from app.domain.stages import Step
from seed_demo.hands import Work
from seed_demo.life import Life
from seed_demo.looked_at import FOUND, how_it_is
from seed_demo.sheets import HOUSE, Press, Sheet


def files_first(life: Life, sheets: int) -> Work:
    """At opening what was passed the day before is filed."""
    if not _to_be_filed(life):
        return
    life.hands.signs_in(life.crew.round, "filing")
    yield 240
    yield from _files(life, sheets)


def drying_round(life: Life) -> Work:
    """Papers are changed press by press; what has dried is felt, and passed sheet by sheet."""
    if not any(press.sheets for press in life.shelves.presses.values()):
        return
    life.hands.signs_in(life.crew.round, "drying")
    yield 60
    for press in life.shelves.presses.values():
        if press.sheets and not press.left:
            yield from _passes(life, press) if _is_dry(life, press) else _changes_papers(life, press)


def lays_to_dry(life: Life, press: Press) -> Work:
    """A press that has just come in is laid in the dryer, all of it with one scan of its card."""
    life.hands.signs_in(life.crew.round, "drying")
    yield 45
    facts = {"all": True, "drying": "heated" if press.heated else "unheated"}
    life.hands.scans(life.hands.room.bundles[press.name], "drying", step=Step.LAY_TO_DRY, facts=facts)
    press.pressed_at, press.papers_day = life.moment, life.day


def inspects(life: Life, sheets: int) -> Work:
    """What is dry is looked at by somebody who neither mounted nor mended it."""
    who = life.crew.second
    waiting = [sheet for sheet in life.shelves.to_inspect if sheet.may_be_judged_by(who)]
    if not waiting:
        return
    life.hands.signs_in(who, "inspection")
    yield 220
    mended = [sheet for sheet in life.shelves.to_mend if sheet.is_free and sheet.day <= life.day - 3][:1]
    for sheet in mended:
        _mends(life, sheet, who)
        yield life.between(400, 700)
    for sheet in waiting[:sheets]:
        judges(life, sheet, "to-be-mended" if life.dice.random() < 0.07 else "passed")
        yield life.between(120, 200)


def judges(life: Life, sheet: Sheet, outcome: str) -> None:
    """One look at one sheet, and how it ends."""
    passed = outcome == "passed"
    facts = how_it_is(outcome, [] if passed else [life.dice.choice(FOUND)])
    life.hands.scans(
        sheet.number, "inspection", step=Step.INSPECT, facts=facts, cabinet="D1", shelf="2" if passed else "3"
    )
    sheet.outcome, sheet.day = outcome, life.day
    life.shelves.to_inspect.remove(sheet)
    (life.shelves.to_file if passed else life.shelves.to_mend).append(sheet)


def files(life: Life, sheets: int) -> Work:
    """What was passed goes into the cabinets, by family."""
    if not _to_be_filed(life):
        return
    life.hands.signs_in(life.crew.round, "filing")
    yield 60
    yield from _files(life, sheets)


def shelf_of(sheet: Sheet) -> tuple[str, str]:
    """The cabinet and shelf of a sheet's family: three cabinets of eight shelves, A to Z."""
    place = min((ord(sheet.species.family[0]) - ord("A")) * 24 // 26, 23)
    return f"F{place // 8 + 1}", str(place % 8 + 1)


def _to_be_filed(life: Life) -> list[Sheet]:
    return [sheet for sheet in life.shelves.to_file if sheet.is_free and sheet.day < life.day and _is_whole(sheet)]


def _files(life: Life, sheets: int) -> Work:
    for sheet in _to_be_filed(life)[:sheets]:
        cabinet, shelf = shelf_of(sheet)
        life.hands.scans(sheet.number, "filing", step=Step.FILE, cabinet=cabinet, shelf=shelf)
        sheet.day = life.day
        life.shelves.to_file.remove(sheet)
        life.shelves.filed.append(sheet)
        yield life.between(60, 110)


def _is_whole(sheet: Sheet) -> bool:
    return sheet.partner is None or sheet.partner.outcome == "passed"


def _mends(life: Life, sheet: Sheet, who: str) -> None:
    life.hands.scans(
        sheet.number, "inspection", step=Step.INSPECT, facts={"outcome": "mended-here"}, cabinet="D1", shelf="1"
    )
    sheet.mended_by, sheet.outcome = (*sheet.mended_by, who), "mended-here"
    life.shelves.to_mend.remove(sheet)
    life.shelves.to_inspect.append(sheet)


def _is_dry(life: Life, press: Press) -> bool:
    usual = HOUSE.dry_heated_days if press.heated else HOUSE.dry_unheated_days
    return press.pressed_at is not None and life.moment - press.pressed_at >= timedelta(days=usual)


def _changes_papers(life: Life, press: Press) -> Work:
    if life.day - press.papers_day < (2 if press.heated else 1):
        return
    card = life.hands.room.bundles[press.name]
    life.hands.scans(card, "drying", step=Step.PAPERS_CHANGED, facts={"all": True})
    press.papers_day = life.day
    yield life.between(240, 420)


def _passes(life: Life, press: Press) -> Work:
    shelf = str(life.between(1, 6))
    for sheet in list(press.sheets):
        has_label = bool(sheet.story) or life.dice.random() > 0.06
        facts = {"dryness": True, "label": has_label}
        life.hands.scans(sheet.number, "drying", step=Step.PASS_AS_DRY, facts=facts, cabinet="M1", shelf=shelf)
        sheet.held, sheet.day = not has_label, life.day
        press.sheets.remove(sheet)
        life.shelves.ready.append(sheet)
        yield life.between(45, 80)
