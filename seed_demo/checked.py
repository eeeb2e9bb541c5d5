"""Cabinet checks: the filed sheets of one cabinet counted and closed with one missing, and a shelf that is half counted."""

from __future__ import annotations

from app.domain.numbers import COMMANDS
from app.queries.cabinets import cabinets
from app.queries.checks import checks
from app.queries.listing import sheets_like
from app.queries.sieve import Sieve
from app.services.closed_checks import close_check
from seed_demo.hands import Work
from seed_demo.life import Life

AT = "filing"


def cabinet_is_checked(life: Life) -> Work:
    """A cabinet of filed sheets is counted by scans: one is not there, and one lies there that is still to be filed."""
    lying = _lying(life, "F1")
    if len(lying) < 2:
        return
    yield from _begins(life, "F1")
    for number in lying[:-1]:
        life.hands.scans(number, AT)
        yield life.between(6, 11)
    strays = [sheet for sheet in life.shelves.to_file if sheet.is_free][:1]
    for stray in strays:
        life.hands.scans(stray.number, AT, answers="stop")
        yield 30
    life.hands.scans(COMMANDS["check"], AT, facts={"check": "all"})
    _is_missed(life, lying[-1])
    life.hands.all_leave(AT)
    yield 1500
    _closes(life)


def half_a_check(life: Life) -> Work:
    """A cabinet is counted until somebody is called away; the check goes on another day."""
    lying = _lying(life, "M2")
    if not lying:
        return
    yield from _begins(life, "M2")
    for number in lying[: (len(lying) + 1) // 2]:
        life.hands.scans(number, AT)
        yield life.between(6, 11)
    life.hands.scans(COMMANDS["check"], AT, facts={"check": "leave"})
    life.hands.all_leave(AT)


def _begins(life: Life, cabinet: str) -> Work:
    life.hands.signs_in(life.crew.extra, AT)
    yield 20
    code = next(each.code for each in cabinets(life.hands.session) if each.name == cabinet)
    life.hands.scans(COMMANDS["check"], AT, answers="which-one")
    yield 5
    life.hands.scans(code, AT)
    yield 15


def _lying(life: Life, cabinet: str) -> list[str]:
    """What lies in a cabinet by the log, without what is known to be away."""
    sieve = Sieve(cabinet=cabinet, sort="number")
    rows = sheets_like(life.hands.session, sieve, life.moment, life.zone, limit=200).rows
    return [row.number for row in rows if not row.holds]


def _is_missed(life: Life, number: str) -> None:
    """Nobody takes it as the next one while it is missing."""
    for sheet in life.shelves.filed:
        if sheet.number == number:
            sheet.story = "missed by a check"


def _closes(life: Life) -> None:
    check_id = checks(life.hands.session, names=False)[0].check_id
    life.hands.manages(
        "", lambda desk: close_check(desk, check_id), f"close check {check_id}", reason="Looked for twice"
    )
