"""What the design says of the freezer: bags are filled, put in, come out and are opened; what was cold for long enough is treated.

A load's times are reckoned anew from the log whenever somebody asks, so that nothing of them is kept here that could be forgotten.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from tests.machine.model import DRYING, INTAKE, MOUNTED, READY, UNDER_PRESS, Entry, Sheet, World
from tests.machine.steps import (
    CHANGES,
    DONE_SAID,
    RULES,
    WHICH,
    Desk,
    Refuse,
    Said,
    behind,
    refusals,
    refused,
    take,
    write,
)

# How cold each freezer gets, and for how long which cold is enough: 7 days at -20 °C, 3 at -30 °C.
FREEZERS = {"Freezer": -20.0, "Deep": -30.0, "Kitchen": -18.0}
NEEDS = {"Freezer": (-20.0, 7), "Deep": (-30.0, 3), "Kitchen": (-20.0, 7)}
CHILLS = WARMS = timedelta(hours=24)
FILLING = timedelta(minutes=30)
WARMING = ("freezer-opened", "defrosted", "power-cut")
OF_FREEZER, OF_LOAD = (*WARMING, "freezer-runs", "stayed-cold"), ("load-in", "load-cold", "load-out", "load-opened")
DAMP, WET = (INTAKE, DRYING), (MOUNTED, UNDER_PRESS)
FAR = datetime.max.replace(tzinfo=ZoneInfo("UTC"))


@dataclass(frozen=True)
class Cold:
    """Some time in a freezer in which nothing warmed a load: by which rule, until when, and since when it was cold."""

    rule: tuple[float, int]
    until: datetime
    since: datetime | None

    @property
    def is_enough(self) -> bool:
        return self.since is not None and self.until - self.since >= timedelta(days=self.rule[1])


@dataclass(frozen=True)
class Times:
    """A load by its log."""

    put_in_at: datetime | None = None
    freezer: str | None = None
    cold: Cold | None = None
    out_at: datetime | None = None
    opened_at: datetime | None = None
    treated: bool | None = None
    last_at: datetime | None = None

    @property
    def is_inside(self) -> bool:
        return self.put_in_at is not None and self.out_at is None and self.opened_at is None

    @property
    def due(self) -> datetime | None:
        return self.cold.since + timedelta(days=self.cold.rule[1]) if self.cold and self.cold.since else None


# -- what the log says ----------------------------------------------------------------------------------------------
def times_of(world: World, name: str) -> Times:
    """A load's times by what stands in its log and in its freezers'."""
    rows = world.of(("load", name))
    last = max((each.happened_at for each in rows), default=None)
    places = [place for place, each in enumerate(rows) if each.step == "load-in"]
    if not places:
        return Times(last_at=last)
    colds = [cold for place in places for cold in _colds(world, rows, place)]
    after = rows[places[-1] + 1 :]
    out = next((each.happened_at for each in after if each.step in ("load-out", "load-opened")), None)
    opened = next((each.happened_at for each in after if each.step == "load-opened"), None)
    cold = next((each for each in colds if each.is_enough), colds[-1])
    treated = None if opened is None or out is None else cold.is_enough and opened - out >= WARMS
    begun = rows[places[-1]]
    return Times(begun.happened_at, begun.facts["freezer"], cold, out, opened, treated, last)


def _colds(world: World, rows: list[Entry], place: int) -> list[Cold]:
    """One putting in: the time until it ended, less what was warm, each piece with when it began to be cold."""
    begun, freezer = rows[place], rows[place].facts["freezer"]
    until = next((each.happened_at for each in rows[place + 1 :] if each.step != "load-cold"), FAR)
    rule, reads = NEEDS[freezer], [each for each in rows if each.step == "load-cold"]
    pieces, at = [], begun.happened_at
    for begins, ends, highest in warm_times(world, freezer):
        is_warm = begins < until and ends > begun.happened_at and (highest is None or highest > rule[0])
        if is_warm:
            pieces += [(at, begins)] if begins > at else []
            at = max(at, ends)
    colds = [_cold(freezer, begins, ends, reads) for begins, ends in (*pieces, *([(at, until)] if at < until else []))]
    return colds if at < until else [*colds, Cold(rule, until, None)]


def _cold(freezer: str, begins: datetime, ends: datetime, reads: list[Entry]) -> Cold:
    rule = NEEDS[freezer]
    read = next(
        (each.happened_at for each in reads if begins <= each.happened_at < ends and each.facts["c"] <= rule[0]), None
    )
    reckoned = begins + CHILLS if FREEZERS[freezer] <= rule[0] else None
    return Cold(rule, ends, read or reckoned)


def warm_times(world: World, freezer: str) -> list[tuple[datetime, datetime, float | None]]:
    """From when until when a freezer was warm, and the highest that a logger showed then."""
    rows = world.of(("cabinet", freezer))
    runs = [each.happened_at for each in rows if each.step == "freezer-runs"]
    highest = {id(each.facts["of"]): each.facts["c"] for each in rows if each.step == "stayed-cold"}
    found = []
    for each in rows:
        if each.step in WARMING:
            begins = each.facts.get("begins", each.happened_at)
            ends = each.facts.get("ends") or next((at for at in runs if at >= begins), FAR)
            ends = each.happened_at if each.step == "freezer-opened" else ends
            found.append((begins, ends, highest.get(id(each))))
    return sorted(found, key=lambda each: each[0])


def inside(world: World, freezer: str) -> list[str]:
    """The loads that lie in a freezer now."""
    return [name for name in world.loads if (times := times_of(world, name)).is_inside and times.freezer == freezer]


def bundles_in(world: World, name: str) -> set[str]:
    """What was put into a load tied, and is in it still by the log."""
    return {
        each.facts["tied"]
        for each in world.standing()
        if each.step == "freeze" and each.facts["load"] == name and each.facts["tied"]
    }


def lies_in(world: World, name: str) -> list[Sheet]:
    """The sheets in a load, by number."""
    bundles = {name, *bundles_in(world, name)}
    mine = (each for each in world.sheets.values() if each.bundle in bundles and not each.is_closed)
    return sorted(mine, key=lambda each: each.number)


def holds_until(zone: ZoneInfo, opened: datetime) -> datetime:
    """Until when a treatment holds: one open day in the open, Monday to Friday, counted by shares of a local day."""
    day = opened.astimezone(zone).date()
    first = day if day.weekday() < 5 else _next_open(day)
    until, begins, length = _next_open(first), *_span(first, zone)
    share = max(opened - begins, timedelta(0))
    return _span(until, zone)[0] + timedelta(
        microseconds=int(share / timedelta(microseconds=1)) * _span(until, zone)[1] // length
    )


def _next_open(day: date) -> date:
    day += timedelta(days=1)
    return day if day.weekday() < 5 else _next_open(day)


def _span(day: date, zone: ZoneInfo) -> tuple[datetime, int]:
    begins, ends = (datetime(each.year, each.month, each.day, tzinfo=zone).astimezone(ZoneInfo("UTC"))
                    for each in (day, day + timedelta(days=1)))  # fmt: skip
    return begins, int((ends - begins) / timedelta(microseconds=1))


# -- at a desk ------------------------------------------------------------------------------------------------------
def filling(desk: Desk) -> str | None:
    """The load that is filled here; none once somebody walked away from it."""
    waits = (desk.station.pending if desk.station else None) or {}
    return waits["load"] if "load" in waits and desk.now - waits["filled_at"] <= FILLING else None


def fill(desk: Desk, name: str) -> None:
    """What is scanned next goes in this load."""
    desk.keep(pending={"load": name, "filled_at": desk.now}, last_sheet=None)


def may_be_frozen(desk: Desk, sheet: Sheet) -> list[tuple[str, str]]:
    """Why a sheet may not go into the load that is filled here."""
    why = [("damp", "stop")] if sheet.stage in DAMP else [("wet-adhesive", "stop")] if sheet.stage in WET else []
    why += [("on-another-table", "stop")] if sheet.stage == READY and sheet.table not in (None, desk.at) else []
    name = filling(desk)
    if name is None:
        return [*why, ("no-load", "which-one")]
    why += [("load-closed", "stop")] if times_of(desk.world, name).put_in_at is not None else []
    return why + ([("wrong-stage", "not-yet")] if sheet.bundle == name else [])


def new_load(desk: Desk) -> Said:
    """The card: a bag is begun."""
    _somebody(desk)
    name = f"Load {len(desk.world.loads) + 1}"
    desk.world.loads.append(name)
    fill(desk, name)
    return DONE_SAID


def bundle_in(desk: Desk, name: str) -> Said | None:
    """A bundle's card while a bag is filled: all that is there goes in, tied, or nothing. None where no bag is meant."""
    load = filling(desk)
    if desk.step != "freeze" and (desk.step is not None or load is None):
        loads = [each for each in desk.world.loads if name in bundles_in(desk.world, each)]
        if any(times_of(desk.world, each).is_inside for each in loads):
            raise Refuse(("load-closed", "stop"))
        return None
    _somebody(desk)
    if load is None:
        raise Refuse(("no-load", "which-one"))
    here = _in_bundle(desk.world, name)
    why = [each for sheet in here for each in _keeps_out(desk, sheet)]
    if why or not here:
        raise Refuse(*(why or [("load-empty", "stop")]))
    for sheet in here:
        write(desk, sheet, "freeze", sheet, facts={"load": load, "tied": name})
    fill(desk, load)
    return DONE_SAID


def _in_bundle(world: World, name: str) -> list[Sheet]:
    return sorted(
        (each for each in world.sheets.values() if each.bundle == name and not each.is_closed),
        key=lambda each: each.number,
    )


def _keeps_out(desk: Desk, sheet: Sheet) -> list[tuple[str, str]]:
    is_behind = sheet.last_at is not None and desk.happened_at < sheet.last_at
    return [("clock-behind", "stop")] if is_behind else refusals(desk, sheet, "freeze")


def scan_load(desk: Desk, name: str) -> Said:
    """A bag's card: what is said with it, or how it stands."""
    times, waits = times_of(desk.world, name), (desk.station.pending if desk.station else None) or {}
    desk.keep(pending=None, last_sheet=None)
    if desk.step not in (None, "freeze", *DEEDS):
        raise Refuse(("wrong-stage", "stop"))
    is_said = desk.already_done and times.put_in_at is not None
    said = (
        "load-cold"
        if "reading_c" in desk.facts
        else ("load-opened" if times.out_at else "load-out")
        if is_said
        else None
    )
    step = desk.step if desk.step in DEEDS else said
    if step is not None:
        return DEEDS[step](desk, name, times)
    if times.put_in_at is None:
        fill(desk, name)
        return take(desk, desk.world.sheets[waits["code"]], "freeze") if waits.get("step") == "freeze" else DONE_SAID
    if times.opened_at is not None:
        return DONE_SAID
    return _inside(desk, times) if times.out_at is None else _outside(desk, name, times)


def _inside(desk: Desk, times: Times) -> Said:
    return (
        WHICH
        if times.due is not None and times.due <= desk.happened_at
        else refused([("not-cold-long-enough", "not-yet")])
    )


def _outside(desk: Desk, name: str, times: Times) -> Said:
    assert times.out_at is not None
    if times.due is None or times.due > times.out_at:
        fill(desk, name)
        return Said("stop")
    return WHICH if desk.happened_at >= times.out_at + WARMS else refused([("still-cold", "not-yet")])


def scan_freezer(desk: Desk, freezer: str) -> Said:
    """A freezer's code: the bag in hand goes in, or what happened to it is said."""
    if desk.step is not None:
        if desk.step not in OF_FREEZER:
            raise Refuse(("no-load", "which-one"))
        return _happened(desk, freezer)
    waits = (desk.station.pending if desk.station else None) or {}
    if "load" not in waits:
        return WHICH
    desk.keep(pending=None)
    return _goes_in(desk, waits["load"], freezer)


def _happened(desk: Desk, freezer: str) -> Said:
    _somebody(desk)
    rows = desk.world.of(("cabinet", freezer))
    last = max((each.happened_at for each in rows), default=None)
    facts: dict[str, Any] = {}
    if desk.step == "stayed-cold":
        warmed = [each for each in rows if each.step in WARMING]
        if not warmed:
            raise Refuse(("out-of-order", "stop"))
        facts = {"of": warmed[-1], "c": float(desk.facts["highest_c"])}
    if not desk.is_late:
        _not_behind(desk, last)
    if desk.is_late:
        facts |= {each: desk.facts[each] for each in ("begins", "ends") if each in desk.facts}
    elif desk.step == "power-cut":
        known = [last, *(times_of(desk.world, each).last_at for each in inside(desk.world, freezer))]
        facts = {
            "begins": max(
                (each for each in known if each is not None and each <= desk.happened_at), default=desk.happened_at
            )
        }
    before = treated(desk.world)
    _write(desk, ("cabinet", freezer), desk.step or "", facts)
    hear_again(desk, before)
    return DONE_SAID


def _goes_in(desk: Desk, name: str, freezer: str) -> Said:
    _somebody(desk)
    times = times_of(desk.world, name)
    if times.opened_at is not None or times.is_inside:
        raise Refuse(("out-of-order", "stop"))
    sheets = lies_in(desk.world, name)
    why = [("damp", "stop")] if any(each.stage in DAMP for each in sheets) else []
    why += [("wet-adhesive", "stop")] if any(each.stage in WET for each in sheets) else []
    if why or not sheets:
        raise Refuse(*(why or [("load-empty", "stop")]))
    others = inside(desk.world, freezer)
    _not_behind(desk, times.last_at)
    before = treated(desk.world)
    _write(desk, ("load", name), "load-in", {"freezer": freezer})
    _was_opened(desk, freezer, others, before)
    return DONE_SAID


def _is_cold(desk: Desk, name: str, times: Times) -> Said:
    _somebody(desk)
    lay_there = times.put_in_at is not None and (
        times.out_at is None or (desk.is_late and desk.happened_at <= times.out_at)
    )
    if not lay_there or times.put_in_at is None or desk.happened_at < times.put_in_at or times.cold is None:
        raise Refuse(("out-of-order", "stop"))
    if not desk.is_late and times.cold.since is not None and times.cold.since <= desk.happened_at:
        raise Refuse(("out-of-order", "stop"))
    read = float(desk.facts["reading_c"])
    if read > times.cold.rule[0]:
        raise Refuse(("not-cold", "not-yet"))
    if not desk.is_late:
        _not_behind(desk, times.last_at)
    before = treated(desk.world)
    _write(desk, ("load", name), "load-cold", {"c": read})
    hear_again(desk, before)
    return DONE_SAID


def _comes_out(desk: Desk, name: str, times: Times) -> Said:
    _somebody(desk)
    if not times.is_inside:
        raise Refuse(("out-of-order", "stop"))
    if not (desk.already_done or desk.is_late) and (times.due is None or times.due > desk.happened_at):
        raise Refuse(("not-cold-long-enough", "not-yet"))
    assert times.freezer is not None
    others, before = [each for each in inside(desk.world, times.freezer) if each != name], treated(desk.world)
    _not_behind(desk, times.last_at)
    _write(desk, ("load", name), "load-out", {})
    _was_opened(desk, times.freezer, others, before)
    return DONE_SAID


def _is_opened(desk: Desk, name: str, times: Times) -> Said:
    """The bag is open: what lay in it from the beginning, and may be frozen, is treated if the load was."""
    _somebody(desk)
    if times.put_in_at is None or times.opened_at is not None:
        raise Refuse(("out-of-order", "stop"))
    if not (desk.already_done or desk.is_late) and (times.out_at is None or desk.happened_at < times.out_at + WARMS):
        raise Refuse(("still-cold" if times.out_at else "not-cold-long-enough", "not-yet"))
    _not_behind(desk, times.last_at)
    sheets = lies_in(desk.world, name)
    _write(desk, ("load", name), "load-opened", {})
    is_treated = bool(times_of(desk.world, name).treated)
    for sheet in sheets:
        counts = was_frozen(desk.world, sheet, name, times.put_in_at) and sheet.stage not in (*DAMP, *WET)
        until = holds_until(desk.world.zone, desk.happened_at) if is_treated and counts else sheet.treated_until
        write(
            _behind_it(desk, sheet, desk.happened_at),
            sheet,
            "unbag",
            replace(sheet, treated_until=until),
            finds=False,
            facts={"load": name, "counts": counts},
        )
    return DONE_SAID


def was_frozen(world: World, sheet: Sheet, name: str, put_in_at: datetime) -> bool:
    """Whether it was put into the load before that went into the freezer."""
    return any(each.step == "freeze" and each.facts["load"] == name and each.happened_at <= put_in_at
               for each in world.of(("sheet", sheet.number)))  # fmt: skip


def _was_opened(desk: Desk, freezer: str, others: list[str], before: dict[str, bool | None]) -> None:
    if others:
        _write(desk, ("cabinet", freezer), "freezer-opened", {})
    hear_again(desk, before)


# -- what became known later ------------------------------------------------------------------------------------------
def treated(world: World) -> dict[str, bool | None]:
    """The loads that were opened, and whether each counts as a treatment."""
    return {name: times.treated for name in world.loads if (times := times_of(world, name)).opened_at is not None}


def hear_again(desk: Desk, before: dict[str, bool | None], but_for: frozenset[str] = frozenset()) -> None:
    """The sheets of opened loads that count otherwise than before are treated by them now, or no longer."""
    for name in desk.world.loads:
        times = times_of(desk.world, name)
        if name in before and times.treated is not before[name]:
            for sheet in [each for each in desk.world.sheets.values() if each.number not in but_for]:
                _told(desk, sheet, name, times)


def _told(desk: Desk, sheet: Sheet, name: str, times: Times) -> None:
    words = [each for each in desk.world.of(("sheet", sheet.number)) if each.step in ("unbag", "treatment")]
    if not words or words[-1].facts["load"] != name:
        return
    if times.treated and times.opened_at is not None and words[-1].facts["counts"]:
        until = holds_until(desk.world.zone, times.opened_at)
    elif times.treated or sheet.treated_until is None:
        return
    else:
        until = None
    stands = replace(sheet, treated_until=until)
    write(
        _behind_it(desk, sheet, desk.now),
        sheet,
        "treatment",
        stands,
        finds=False,
        facts={"load": name, "counts": words[-1].facts["counts"]},
    )


def _behind_it(desk: Desk, sheet: Sheet, at: datetime) -> Desk:
    """What happens to a sheet by its load is written behind its last entry, also of a time before that."""
    return replace(desk, happened_at=max(at, sheet.last_at or at))


# -- writing ----------------------------------------------------------------------------------------------------------
def _somebody(desk: Desk) -> None:
    if not desk.by:
        raise Refuse(("not-signed-in", "stop"))


def _not_behind(desk: Desk, last: datetime | None) -> None:
    behind(desk, Sheet("", last_at=last))


def _write(desk: Desk, subject: tuple[str, str], step: str, facts: dict[str, Any]) -> None:
    entry = Entry(subject, step, frozenset(desk.by), desk.at, desk.scan, desk.happened_at, desk.now, facts=facts)
    desk.world.write(entry)


RULES |= {
    "freeze": may_be_frozen,
    "unbag": lambda desk, sheet: [("wrong-stage", "stop")],
    "treatment": lambda desk, sheet: [("wrong-stage", "stop")],
}
CHANGES["freeze"] = lambda desk, sheet, stands: replace(stands, place=("bundle", filling(desk) or ""))
DEEDS: dict[str, Any] = {
    "load-in": lambda desk, name, times: _goes_in(desk, name, desk.facts["freezer"]),
    "load-cold": _is_cold, "load-out": _comes_out, "load-opened": _is_opened,
}  # fmt: skip
