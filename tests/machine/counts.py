"""What the design says of a cabinet check: what is expected is fixed when it begins, scans only count, and what is not seen is held."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from tests.machine.model import Entry
from tests.machine.steps import DONE_SAID, WHICH, Desk, Refuse, Said, write

OF_CHECKS = frozenset({"begin-check", "end-check", "close-check"})


@dataclass
class Check:
    """The check of one shelf: what lay there by the log when it began, and what was scanned since."""

    shelf: tuple[str, str]
    expected: list[str]
    seen: set[str] = field(default_factory=set)


def asked(desk: Desk) -> Said:
    """The card away from a check: which shelf?"""
    if not desk.by:
        raise Refuse(("not-signed-in", "stop"))
    desk.keep(pending={"check": True}, last_sheet=None)
    return WHICH


def begin(desk: Desk, shelf: tuple[str, str]) -> Said:
    """The shelf is scanned: what lies there is expected, but what is known not to be there."""
    if not desk.by:
        raise Refuse(("not-signed-in", "stop"))
    lying = [each.number for each in desk.world.sheets.values()
             if each.place == ("cabinet", *shelf) and not each.is_closed and "not-found" not in each.holds]  # fmt: skip
    desk.keep(check=Check(shelf, lying), pending=None, last_sheet=None, bundle=None, shelf=shelf)
    return _written(desk, "begin-check", shelf)


def count(desk: Desk, kind: str, name: str) -> Said:
    """A scan in a check: a sheet is seen where it lies, and told whether it belongs there; a card ends the check."""
    assert desk.station is not None
    check: Check = desk.station.check
    if not desk.by:
        raise Refuse(("not-signed-in", "stop"))
    if kind == "card":
        return WHICH if set(check.expected) - check.seen and desk.facts.get("check") != "all" else _ended(desk, check)
    sheet = desk.world.sheets.get(name)
    if sheet is None:
        return Said("stop")
    check.seen.add(name)
    desk.keep(last_sheet=name)
    if (
        "not-found" in sheet.holds
        and not sheet.is_closed
        and (sheet.last_at is None or sheet.last_at <= desk.happened_at)
    ):
        write(desk, sheet, "lift-hold", replace(sheet, holds=sheet.holds - {"not-found"}))
    return DONE_SAID if sheet.place == ("cabinet", *check.shelf) and not sheet.is_closed else Said("stop")


def close(desk: Desk, check: Check) -> Said:
    """The manager closes it: what was expected and not seen is held as not found, under one scan."""
    for number in check.expected:
        sheet = desk.world.sheets[number]
        if number not in check.seen and (sheet.last_at is None or sheet.last_at <= desk.now):
            write(desk, sheet, "put-hold", replace(sheet, holds=sheet.holds | {"not-found"}))
    return _written(desk, "close-check", check.shelf)


def _ended(desk: Desk, check: Check) -> Said:
    desk.keep(check=None, shelf=None, last_sheet=None)
    return _written(desk, "end-check", check.shelf)


def _written(desk: Desk, step: str, shelf: tuple[str, str]) -> Said:
    desk.world.write(
        Entry(("cabinet", shelf[0]), step, frozenset(desk.by), desk.at, desk.scan, desk.happened_at, desk.now)
    )
    return DONE_SAID
