"""One sheet read again: its log folded anew, and held against everything that is kept beside the log."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import zip_longest
from typing import Any

from sqlalchemy.engine import RowMapping

from app.domain.holds import OUT
from app.domain.press import Span, Stay, under_weight
from app.domain.sheet import LogEntry, Standing, after, before
from app.domain.stages import Step
from app.services.custody import row_values
from app.services.differences import Difference, plainly
from app.services.log import log_entry
from app.services.traces import out_columns

STAY_COLUMNS = ("stack_id", "layer", "laid_at", "out_at", "laid_entry_id", "out_entry_id")
HOLD_COLUMNS = ("kind", "put_at", "put_entry_id", "lifted_at", "lifted_entry_id", "with_whom", "due_on")
_FROM = ("from_stage", "came_at", "from_cabinet_id", "from_shelf_id", "from_stack_id", "from_layer")


@dataclass(frozen=True, slots=True)
class Kept:
    """What the tables hold of one sheet: its row, its entries in the order in which they were written, stays and holds."""

    row: RowMapping
    entries: Sequence[Any]
    stays: Sequence[Any]
    holds: Sequence[Any]


@dataclass(frozen=True, slots=True)
class PressRoom:
    """The spans of each stack by the log, in order, and the take-outs in question with the seconds they are short."""

    spans: Mapping[int, Sequence[Span]]
    doubted: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Link:
    """One entry that stands, and how the sheet stood before and after it."""

    row: Any
    entry: LogEntry
    was: Standing
    now: Standing


@dataclass(slots=True)
class Walk:
    """What follows from the standing entries of a sheet, gathered in the order in which they happened.

    `outs` are its take-outs, how it stood before and where it had lain; `minimum_s` the minimum of each gluing, by when.
    """

    stands: Standing = field(default_factory=Standing)
    stays: list[dict[str, Any]] = field(default_factory=list)
    holds: list[dict[str, Any]] = field(default_factory=list)
    outs: list[tuple[Any, Standing, list[Stay]]] = field(default_factory=list)
    minimum_s: dict[datetime | None, int] = field(default_factory=dict)


def sheet_differences(kept: Kept, press: PressRoom) -> Iterator[Difference]:
    """Every difference between a sheet's log and its row, its stays, its holds and the minimum of its take-outs."""
    try:
        links = yield from _chain(kept)
        walk = _walk(links)
    except (ValueError, TypeError, KeyError) as error:
        yield _difference(kept, "its entries", f"cannot be read ({error})", "another state")
        return
    yield from _row_differences(kept, walk.stands)
    yield from _side_rows(kept, "stay in a stack", STAY_COLUMNS, walk.stays, kept.stays)
    yield from _side_rows(kept, "hold", HOLD_COLUMNS, walk.holds, kept.holds)
    for row, known, stays in walk.outs:
        minimum = timedelta(seconds=walk.minimum_s.get(known.glued_at, 0))
        yield from _too_early(kept, row, minimum, stays, press)


def _chain(kept: Kept) -> Generator[Difference, None, list[Link]]:
    """Hold each entry against what was known when it was written; return those that stand, in happened order."""
    links: list[Link] = []
    for row in kept.entries:
        yield from _follows(kept, row, _known(links))
        if row.step != Step.CORRECT:
            _put_in(links, row, log_entry(row))
            continue
        place = next((place for place, link in enumerate(links) if link.row.id == row.corrects), None)
        if place is None:
            yield _difference(kept, f"entry {row.id} corrects", "an entry that does not stand", f"entry {row.corrects}")
            continue
        _put_together(links, place, links[place + 1 :])
        if row.to_stage != _known(links).stage:
            stage = plainly(_known(links).stage)
            yield _difference(kept, f"entry {row.id} leads to", stage, plainly(row.to_stage))
    return links


def _follows(kept: Kept, row: Any, known: Standing) -> Iterator[Difference]:
    known, place = before(known, Step(row.step)), known.place
    expected = (known.stage, known.came_at, place.cabinet_id, place.shelf_id, place.stack_id, place.layer)
    written = tuple(getattr(row, name) for name in _FROM)
    if written == expected:
        return
    for name, by_log, by_row in zip(_FROM, expected, written, strict=True):
        if by_log != by_row:
            yield _difference(kept, f"entry {row.id}, {_words(name)}", plainly(by_log), plainly(by_row))


def _known(links: Sequence[Link]) -> Standing:
    return links[-1].now if links else Standing()


def _put_in(links: list[Link], row: Any, entry: LogEntry) -> None:
    place = len(links)
    while place and links[place - 1].entry.happened_at > entry.happened_at:
        place -= 1
    _put_together(links, place, [Link(row, entry, Standing(), Standing()), *links[place:]])


def _put_together(links: list[Link], place: int, rest: Sequence[Link]) -> None:
    """Fold these links anew onto those before the place."""
    del links[place:]
    for link in rest:
        was = _known(links)
        links.append(Link(link.row, link.entry, was, after(was, link.entry)))


def _walk(links: Iterable[Link]) -> Walk:
    walk = Walk()
    for link in links:
        if link.entry.step is Step.TAKE_OUT:
            walk.outs.append((link.row, link.was, _stays_since(walk.stays, link.was.glued_at)))
        _follow_stays(walk, link.was, link.now, link.row)
        _follow_holds(walk, link.was, link.now, link.entry, link.row.facts)
        walk.stands = link.now
        if link.now.minimum_s is not None:
            # The last that is known of a gluing: adhesive and bulk may have been put right later.
            walk.minimum_s[link.now.glued_at] = link.now.minimum_s
    return walk


def _follow_stays(walk: Walk, was: Standing, now: Standing, row: Any) -> None:
    if (was.place.stack_id, was.place.layer) == (now.place.stack_id, now.place.layer):
        return
    if was.place.stack_id is not None:
        last = walk.stays[-1]
        ends = _moment(row.facts.get("counts_until")) or row.happened_at
        last.update(out_at=max(ends, last["laid_at"]), out_entry_id=row.id)
    if now.place.stack_id is not None:
        begins = _moment(row.facts.get("counts_from")) or row.happened_at
        walk.stays.append({"stack_id": now.place.stack_id, "layer": now.place.layer, "laid_at": begins, "out_at": None,
                           "laid_entry_id": row.id, "out_entry_id": None})  # fmt: skip


def _follow_holds(walk: Walk, was: Standing, now: Standing, entry: LogEntry, facts: Mapping[str, Any]) -> None:
    if was.holds == now.holds:
        return
    for kind in sorted(now.holds - was.holds):
        walk.holds.append({"kind": kind, "put_at": entry.happened_at, "put_entry_id": entry.entry_id, "lifted_at": None,
                           "lifted_entry_id": None, **out_columns(facts if kind == OUT else {})})  # fmt: skip
    for hold in walk.holds:
        if hold["lifted_at"] is None and hold["kind"] in was.holds - now.holds:
            hold.update(lifted_at=entry.happened_at, lifted_entry_id=entry.entry_id)


def _row_differences(kept: Kept, stands: Standing) -> Iterator[Difference]:
    for name, value in row_values(stands).items():
        written = kept.row[name]
        if written != value:
            yield _difference(kept, _words(name), plainly(value), plainly(written))


def _side_rows(
    kept: Kept, what: str, columns: Sequence[str], by_log: Sequence[Mapping[str, Any]], rows: Sequence[Any]
) -> Iterator[Difference]:
    expected = Counter(tuple(each[name] for name in columns) for each in by_log)
    written = Counter(tuple(getattr(row, name) for name in columns) for row in rows)
    if expected == written:
        return
    missing, surplus = (list((one - other).elements()) for one, other in ((expected, written), (written, expected)))
    for should, does in zip_longest(missing, surplus):
        yield _difference(kept, what, _side_words(columns, should), _side_words(columns, does))


def _too_early(
    kept: Kept, row: Any, minimum: timedelta, stays: Sequence[Stay], press: PressRoom
) -> Iterator[Difference]:
    pieces = (under_weight([stay], {stay.stack_id: _spans_of(press, stay)}, row.happened_at) for stay in stays)
    lain = sum(pieces, timedelta(0))
    short = int((minimum - lain).total_seconds())
    if short > (row.early_by_s or 0) and short > press.doubted.get(row.id, -1):
        by_row = f"{press.doubted[row.id]} s in question" if row.id in press.doubted else "not in question"
        yield _difference(kept, f"taken out too early (entry {row.id})", f"{short} s short", by_row)


def _stays_since(stays: Sequence[Mapping[str, Any]], since: datetime | None) -> list[Stay]:
    return [
        Stay(each["stack_id"], each["laid_at"], each["out_at"])
        for each in stays if since is None or each["laid_at"] >= since
    ]  # fmt: skip


def _spans_of(press: PressRoom, stay: Stay) -> Sequence[Span]:
    # A stack that has been used for years has many spans; only those from its laying in on are looked at.
    spans = press.spans.get(stay.stack_id, ())
    first = max(bisect_right(spans, stay.laid_at, key=lambda span: span.on_at) - 1, 0)
    last = bisect_left(spans, stay.out_at, key=lambda span: span.on_at) if stay.out_at else len(spans)
    return spans[first:last]


def _difference(kept: Kept, what: str, by_log: str, by_row: str) -> Difference:
    return Difference("sheet", kept.row["id"], kept.row["number"], what, by_log, by_row)


def _side_words(columns: Sequence[str], values: Sequence[Any] | None) -> str:
    if values is None:
        return "nothing"
    named = (f"{_words(name)} {plainly(value)}" for name, value in zip(columns, values, strict=True))
    return ", ".join(named)


def _words(column: str) -> str:
    return column.replace("_", " ").removesuffix(" id")


def _moment(kept: str | None) -> datetime | None:
    return datetime.fromisoformat(kept) if kept else None
