"""One sheet's page: what it is, where it is, since when, and what may happen next."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.domain.holds import OUT
from app.domain.language import say
from app.domain.limits import limit_words, treatment_holds
from app.domain.numbers import shown
from app.domain.treatment import STANDS_STILL
from app.domain.words import age
from app.queries.house import patterns_now
from app.queries.left_behind import is_left_behind
from app.queries.lines import place_of, stage_words
from app.queries.next_steps import NextStep, next_steps
from app.queries.sheet_facts import (
    Clock,
    HoldView,
    Part,
    cautions_of,
    clock_of,
    former_numbers,
    hazards_of,
    holds_of,
    other_parts,
    place_in_stack,
    sheet_row,
    sighting_of,
)
from app.queries.sheet_log import LogLine, Names, log_of, standing_lines
from app.queries.telling import Telling
from app.queries.waiting import Judge, judge
from app.queries.wanted import Wish, wishes_of
from app.queries.whereabouts import Walk, walk_of


@dataclass(frozen=True, slots=True)
class SheetPage:
    """All that is known of one sheet. `place` is where to walk; `layer` counts from the bottom of its stack.

    `seen_at` is the last sighting or entry, whichever is later. Whether `locality` may be shown is the caller's to
    decide by `is_sensitive`. `log` is in the order of what happened; by `entry` it is in the order of what was known.
    """

    sheet_id: int
    number: str
    shown: str
    former: tuple[str, ...]
    plant: str
    authorship: str
    family: str
    collector: str
    record_number: str
    event_date: str
    locality: str
    is_sensitive: bool
    notes: str
    consignment: str
    consignment_code: str
    pieces: int
    bulk: str
    part: int
    parts: int
    part_words: str
    others: tuple[Part, ...]
    stage: str
    stage_words: str
    closed_as: str
    since: datetime | None
    age: str
    place: str
    walk: Walk
    cabinet: str
    shelf: str
    stack: str
    layer: int | None
    table: str
    bundle: str
    hands: tuple[str, ...]
    hands_at: datetime | None
    seen_at: datetime | None
    seen_where: str
    seen_by: tuple[str, ...]
    holds: tuple[HoldView, ...]
    cautions: tuple[str, ...]
    hazards: tuple[str, ...]
    adhesive: str
    method: str
    glued_at: datetime | None
    without_weight: bool
    outcome: str
    waits_for: str
    wish: Wish | None
    treated_until: datetime | None
    treated: bool
    has_label: bool
    clock: Clock | None
    next_steps: tuple[NextStep, ...]
    stalled: bool
    left_behind: bool
    limit_words: str
    stalls_at: datetime | None
    version: int
    log: tuple[LogLine, ...]

    @property
    def treatment_stands_still(self) -> bool:
        """Whether its treatment does not wear off now, because it lies in a clean cabinet."""
        return self.treated_until == STANDS_STILL

    @property
    def out(self) -> HoldView | None:
        """The hold that says with whom it is, of a sheet that is out."""
        return next((hold for hold in self.holds if hold.kind == OUT), None)


def sheet_page(session: Session, number: str, now: datetime, zone: ZoneInfo, *, by_names: bool = True,
               worker_ids: tuple[int, ...] = ()) -> SheetPage | None:  # fmt: skip
    """The page of the sheet with this number, or that once had it; None when there is none.

    Without `by_names` only the names of `worker_ids` are shown, as a station shows them.
    """
    row = sheet_row(session, number)
    if row is None:
        return None
    judged = judge(session, now, zone)
    names = Names(by_names, frozenset(worker_ids))
    standing, told = _standing(session, row, judged), _log(session, row, judged, names)
    return SheetPage(**_known(session, row), **standing, **told, wish=_wish(session, row, names),
                     walk=_walk(session, row, standing["place"], told))  # fmt: skip


def sheet_json(session: Session, number: str, now: datetime, zone: ZoneInfo, *, by_names: bool = True,
               worker_ids: tuple[int, ...] = ()) -> dict[str, Any] | None:  # fmt: skip
    """The sheet as the JSON interface gives it; moments in ISO 8601 with their offset. None when there is none."""
    page = sheet_page(session, number, now, zone, by_names=by_names, worker_ids=worker_ids)
    if page is None:
        return None
    clock = page.clock
    return {
        "number": page.number, "shown": page.shown, "former": list(page.former), "plant": page.plant, "family": page.family,
        "collector": page.collector, "record_number": page.record_number, "consignment": page.consignment_code,
        "stage": page.stage or None, "since": _iso(page.since, zone), "cabinet": page.cabinet or None,
        "shelf": page.shelf or None, "stack": page.stack or None, "layer": page.layer, "table": page.table or None,
        "bundle": page.bundle or None, "holds": [hold.kind for hold in page.holds], "hazards": list(page.hazards),
        "adhesive": page.adhesive or None, "bulk": page.bulk, "outcome": page.outcome or None,
        "under_weight_minutes": int(clock.under_weight / MINUTE) if clock else None,
        "needs_minutes": int(clock.minimum / MINUTE) if clock else None,
        "ready_at": _iso(clock.ready_at, zone) if clock else None, "treated": page.treated, "stalled": page.stalled,
        "closed_as": page.closed_as or None, "version": page.version, "log": [_line(line, zone) for line in page.log],
    }  # fmt: skip


def _known(session: Session, row: Any) -> dict[str, Any]:
    patterns = patterns_now(session)
    parts = row.parts or 1
    return {
        "sheet_id": row.id, "number": row.number, "shown": shown(row.number, patterns),
        "former": former_numbers(session, row.id, patterns), "plant": row.plant or "", "authorship": row.authorship or "",
        "family": row.family or "", "collector": row.collector or "", "record_number": row.record_number or "",
        "event_date": row.event_date or "", "locality": row.locality or "", "is_sensitive": row.is_sensitive,
        "notes": row.notes or "", "consignment": row.consignment or "", "consignment_code": row.consignment_code or "",
        "pieces": row.pieces, "bulk": row.bulk, "part": row.part, "parts": parts,
        "part_words": say("{part} of {parts}", part=row.part, parts=parts) if parts > 1 else "",
        "others": other_parts(session, row, patterns),
        "adhesive": row.adhesive or "", "method": row.method or "", "glued_at": row.glued_at,
        "without_weight": row.without_weight,
        "has_label": row.has_label, "version": row.version, "hazards": hazards_of(session, row),
    }  # fmt: skip


def _standing(session: Session, row: Any, judged: Judge) -> dict[str, Any]:
    clock, held_clock = clock_of(session, row, judged.now)
    wait = judged.wait_of(row, held_clock)
    place, layer_words = place_in_stack(session, row)
    return {
        "stage": row.stage or "", "stage_words": stage_words(row.stage, row.closed_as), "closed_as": row.closed_as or "",
        "since": row.came_at, "age": age(row.came_at, judged.now) if row.came_at else "",
        "place": place_of(row, layer_words), "cabinet": row.cabinet or "", "shelf": row.shelf or "",
        "stack": row.stack or "", "layer": place, "table": row.on_table or "", "bundle": row.bundle or "",
        "cautions": cautions_of(session, row), "outcome": row.outcome or "", "waits_for": say(judged.waits_for(row)),
        "treated_until": row.treated_until,
        "treated": treatment_holds(row.treated_until, judged.now), "clock": clock,
        "next_steps": next_steps(row), "stalled": wait.stalled, "limit_words": limit_words(wait.limit),
        "stalls_at": wait.stalls_at, "left_behind": is_left_behind(session, judged, row, wait),
    }  # fmt: skip


def _log(session: Session, row: Any, judged: Judge, names: Names) -> dict[str, Any]:
    telling = Telling(judged.calendar.zone, judged.now, patterns_now(session))
    log = log_of(session, row.id, telling, names)
    standing = standing_lines(log)
    last = standing[-1] if standing else None
    seen_at, seen_where, seen_by = sighting_of(session, row.id, names)
    if last is not None and (seen_at is None or last.happened_at >= seen_at):
        seen_at, seen_where, seen_by = last.happened_at, last.station, last.who
    return {
        "hands": last.who if last else (), "hands_at": last.happened_at if last else None, "seen_at": seen_at,
        "seen_where": seen_where, "seen_by": seen_by, "holds": holds_of(session, row.id, {line.entry: line for line in log}),
        "log": log,
    }  # fmt: skip


def _walk(session: Session, row: Any, place: str, told: dict[str, Any]) -> Walk:
    lines = standing_lines(told["log"])
    # What was written on a page shows nobody the sheet, unless nothing else was ever written.
    last = next((line for line in reversed(lines) if line.station), lines[-1] if lines else None)
    return walk_of(session, row, place, told["holds"], last, patterns_now(session))


def _wish(session: Session, row: Any, names: Names) -> Wish | None:
    wish = wishes_of(session, [row.id]).get(row.id) if row.wanted_at is not None and row.in_queue else None
    return wish if wish is None or names.may_show(wish.by_id) else replace(wish, by="")


def _line(line: LogLine, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "entry": line.entry, "step": line.step, "happened_at": _iso(line.happened_at, zone),
        "recorded_at": _iso(line.recorded_at, zone), "words": line.sentence, "workers": list(line.who),
        "station": line.station or None, "corrects": line.corrects, "taken_back": bool(line.taken_back),
        "late": line.is_late, "after_the_fact": line.after_the_fact, "early_by_s": line.early_by_s,
    }  # fmt: skip


def _iso(moment: datetime | None, zone: ZoneInfo) -> str | None:
    return moment.astimezone(zone).isoformat() if moment is not None else None


MINUTE = timedelta(minutes=1)
