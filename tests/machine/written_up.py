"""Pages of the manager: what nobody could scan, of a sheet, a load or a freezer, with its own time; and one hold for many sheets."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from tests.machine import freezer
from tests.machine.crew import Crew
from tests.machine.doors import Sent
from tests.machine.model import Sheet
from tests.machine.steps import DONE_SAID, Desk, Refuse, Said, after, behind, refusals, take, write

# Whoever did one of these found it dry, and felt it.
FELT = frozenset({"pass-as-dry", "arrive-dry", "arrive-mounted"})
STEPS = ("take-in", "lay-to-dry", "papers-changed", "pass-as-dry", "arrive-dry", "arrive-mounted", "take-up", "put-back", "mount",
         "put-under-weight", "take-out", "found-out", "re-glue", "back-to-table", "inspect", "file", "bring-back", "shelve")  # fmt: skip
EVENTS = ("power-cut", "defrosted", "freezer-opened", "freezer-runs")
ASKED = ("adhesive", "bulk", "outcome")


def of_sheet(crew: Crew, number: str, step: str, by: str, at: datetime, *, slug: str, stack: str, shelf: tuple[str, str] | None,
             facts: dict[str, Any]) -> None:  # fmt: skip
    """The page of a sheet: what was done with it, by whom, when and where."""
    told = {name: facts[name] for name in ASKED if name in facts}
    fields = {"step": step, "worker": str(crew.room.worker[by]), "stack": stack, "reason": "on the list", **_wall(crew, "happened_at", at), **told,
              "station": str(crew.room.station[slug]) if slug else "", "shelf": crew.room.code("shelf", "/".join(shelf)) if shelf else ""}  # fmt: skip
    sent = crew.doors.of_sheet("hedda", number, "late", **fields)
    told |= {"dryness": True, "felt_again": True} if step in FELT else {}
    desk = _desk(crew, sent, by, at, step=step, stack=stack, shelf=shelf, facts=told, slug=slug or None)
    crew.both(sent, desk, lambda: _done(desk, lambda: _with_sheet(desk, number)))


def of_load(crew: Crew, name: str, step: str, by: str, at: datetime, *, into: str, reading: float) -> None:
    """The page of a load: it was put in, read as cold, taken out or opened."""
    code = crew.text_of(("load", name))
    told: dict[str, Any] = (
        {"freezer": into} if step == "load-in" else {"reading_c": str(reading)} if step == "load-cold" else {}
    )
    fields = {
        "step": step,
        "worker": str(crew.room.worker[by]),
        "reason": "on the list",
        **_wall(crew, "happened_at", at),
        **told,
    }
    sent = Sent("form", "hedda", f"/freezer/{code}/late", {"scan_id": crew.doors.next_id(), **fields})
    desk = _desk(crew, sent, by, at, step=step, facts=told)
    crew.both(sent, desk, lambda: _done(desk, lambda: freezer.scan_load(desk, name)))


def of_freezer(crew: Crew, name: str, step: str, at: datetime, until: datetime | None) -> None:
    """The page of the freezers: from when until when one was warm."""
    fields = {
        "freezer": crew.text_of(("freezer", name)),
        "step": step,
        "reason": "seen by the night round",
        **_wall(crew, "happened_at", at),
    }
    fields |= _wall(crew, "ends_at", until) if until else {}
    sent = Sent("form", "hedda", "/freezer/event", {"scan_id": crew.doors.next_id(), **fields})
    told = {"begins": at, **({"ends": until} if until else {})}
    desk = _desk(crew, sent, "hedda", at, step=step, facts=told)
    crew.both(sent, desk, lambda: _done(desk, lambda: freezer.scan_freezer(desk, name)))


def many_held(crew: Crew, who: str, step: str, kind: str, numbers: list[str], reason: str) -> None:
    """One hold is put on many sheets, or lifted of them, by whoever teaches or manages."""
    fields = {"deed": step.removesuffix("-hold"), "hold": kind, "reason": reason, "numbers": "\n".join(numbers)}
    sent = Sent("form", who, "/holds/many", {"scan_id": crew.doors.next_id(), **fields})
    if who not in ("hedda", "rosamund"):
        crew.refused_at_the_door(sent, 403)
        return
    desk = crew.desk(
        sent.fields["scan_id"], by=(who,), manages=who == "hedda", step=step, facts={"hold": kind}, reason=reason
    )
    crew.both(sent, desk, lambda: _all_that_may(desk, step, numbers))


def _all_that_may(desk: Desk, step: str, numbers: list[str]) -> Said:
    known = [desk.world.sheets[each] for each in dict.fromkeys(numbers) if each in desk.world.sheets]
    going = [
        each for each in known if (each.last_at is None or each.last_at <= desk.now) and not refusals(desk, each, step)
    ]
    for sheet in going:
        write(desk, sheet, step, after(desk, sheet, step))
    return DONE_SAID if going else Said("stop")


def _wall(crew: Crew, name: str, at: datetime) -> dict[str, str]:
    return {name: at.astimezone(crew.world.zone).strftime("%Y-%m-%dT%H:%M:%S")}


def _desk(crew: Crew, sent: Sent, by: str, at: datetime, *, slug: str | None = None, **more: Any) -> Desk:
    return crew.desk(sent.fields["scan_id"], by=(by,), at=slug, manages=True, is_late=True, is_written_up=True, happened_at=at,
                     reason=sent.fields["reason"], **more)  # fmt: skip


def _done(desk: Desk, deed: Any) -> Said:
    if desk.happened_at > desk.now:
        return Said("stop", frozenset({"too-old"}))
    if desk.by == ("ines",):
        return Said("stop", frozenset({"unknown-worker"}))
    try:
        said: Said = deed()
    except Refuse as refuse:
        return refuse.said
    return said


def _with_sheet(desk: Desk, number: str) -> Said:
    sheet = desk.world.sheets.get(number)
    if sheet is None:
        if desk.step != "take-in":
            raise Refuse(("unknown-number", "stop"))
        sheet = desk.world.sheets[number] = Sheet(number)
    behind(desk, sheet)
    return take(desk, sheet, desk.step or "")
