"""Work at the mounting tables: take up, mount, bring to the press; about four sheets an hour, as is published."""

from __future__ import annotations

from typing import Any

from app.domain.stages import Step
from seed_demo.hands import Work
from seed_demo.life import Life
from seed_demo.pressing import brought
from seed_demo.sheets import Sheet
from seed_demo.uses import for_one

# Florida Museum, cost of services: on average 4 prepared sheets an hour, a quarter of an hour each.
FASTEST_S, SLOWEST_S = 560, 860


def opens_table(life: Life) -> Work:
    """Whoever mounts at the first table signs in, before anybody else."""
    life.hands.signs_in(life.crew.table, "table-1")
    yield from ()


def mounts(life: Life, table: str, who: str, sheets: int, *, slow: int = 0, signs_in: bool = False) -> Work:
    """A run of sheets at one table, one after the other; the slow ones last, for they go in a stack of their own."""
    if signs_in:
        life.hands.signs_in(who, table)
        yield life.between(60, 120)
    for _ in range(sheets):
        sheet = life.shelves.take(lambda each: each.bulk != "bulky")
        if sheet is not None:
            yield from mounts_one(life, table, who, sheet)
    for _ in range(slow):
        sheet = life.shelves.take(lambda each: each.bulk == "bulky") or life.shelves.take()
        if sheet is not None:
            yield from mounts_one(life, table, who, sheet, **_slowly(life))


def mounts_one(life: Life, table: str, who: str, sheet: Sheet, into: str = "", **facts: Any) -> Work:
    """One sheet is taken up, mounted and brought to the press."""
    life.hands.scans(sheet.number, table, step=Step.TAKE_UP)
    yield life.between(FASTEST_S, SLOWEST_S)
    glued(life, table, who, sheet, **facts)
    life.hands.soon(life.between(60, 180), brought(life, sheet, into))
    yield life.between(90, 260)


def glued(life: Life, table: str, who: str, sheet: Sheet, **facts: Any) -> None:
    """A sheet that was taken up is scanned as mounted."""
    facts = for_one(sheet.bulk, facts)
    life.hands.scans(sheet.number, table, step=Step.MOUNT, facts=facts)
    sheet.is_glued(who, str(facts.get("adhesive", "pva")), str(facts["bulk"]))


def _slowly(life: Life) -> dict[str, Any]:
    """Before a weekend a bulky one in starch paste; on other days now paste, now only bulky."""
    if life.date.weekday() == 4:
        return {"adhesive": "paste", "bulk": "bulky"}
    return {"adhesive": "paste"} if life.dice.random() < 0.5 else {"bulk": "bulky"}
