"""Lines for sheets on shelves and in the dryer: waiting too long, or left behind; singly where they are few in a place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

from sqlalchemy import ColumnElement

from app.db.models import Sheet, table_of
from app.domain.language import mark, say, spoken
from app.domain.stages import Stage
from app.domain.words import sheets_said
from app.queries.kinds import KINDS
from app.queries.lying import Heap, heaps, sheets_of
from app.queries.need import SINGLY, Asked, Need, NeedKind, of_sheet
from app.queries.remembered import hour_that_matters, remembered
from app.queries.stalled import Waiting, stalled_where

SHEET = table_of(Sheet)
NINE_IN_TEN = 90
PAPERS_AT = next(kind.since for kind in KINDS if kind.stage is Stage.DRYING)


def papers_not_changed(asked: Asked, kind: NeedKind) -> list[Need]:
    """Plants in the dryer whose papers were due, by bundle, or by the place where they lie."""
    return _told(asked, kind, Stage.DRYING, since=PAPERS_AT)


def fresh_too_long(asked: Asked, kind: NeedKind) -> list[Need]:
    """Fresh plants that have waited at intake for longer than the house allows."""
    return _told(asked, kind, Stage.INTAKE, fresh=True)


def stalled(asked: Asked, kind: NeedKind) -> list[Need]:
    """What has waited too long on the shelves, dry at intake, ready for mounting or dry; the longest first."""
    found = [
        *_told(asked, kind, Stage.INTAKE, fresh=False),
        *_told(asked, kind, Stage.READY),
        *_told(asked, kind, Stage.DRY),
    ]
    return sorted(found, key=lambda need: str(need.since))


def left_behind(asked: Asked, kind: NeedKind) -> list[Need]:
    """Places where sheets lie that are left behind, the longest first; not those to which as many stalled ones lead
    already: nobody is sent to the same shelf twice.
    """
    share = asked.judged.house.left_behind_share
    of_them = say("nine in ten") if share == NINE_IN_TEN else say("more than {share} %", share=share)
    sent = Counter[str]()
    for need in stalled(asked, STALLED):
        sent[need.within or need.about] += need.many
    found = []
    for heap in (each for each in asked.behind if each.count > sent[each.key]):
        what = say(
            "{sheets} left behind: {share} {what}", sheets=sheets_said(heap.count), share=of_them, what=kind.words
        )
        end = ("picks", heap.cabinet) if heap.cabinet else ("left-behind", heap.stage.value)
        found.append(_of_heap(kind, heap, what, end))
    return found


def _told(asked: Asked, kind: NeedKind, stage: Stage, *, fresh: bool | None = None,
          since: ColumnElement[Any] = SHEET.c.came_at) -> list[Need]:  # fmt: skip
    """The lines for what has waited too long at a stage, kept for each language. How many those are in each
    cabinet was counted before, for the flow; while nothing is written and the numbers stay, they are the same sheets.
    """
    mine = [each for each in asked.waiting if each.kind.stage is stage and _is_so(each, fresh)]
    late = tuple((KINDS.index(each.kind), each.cabinet_id, each.stalled) for each in mine if each.stalled)
    if not late:
        return []
    key = (asked.judged.frozen, late, hour_that_matters(asked.judged))
    return remembered(
        asked.session, f"{kind.name} {stage} {spoken().code}", key, lambda: _read(asked, kind, stage, fresh, since)
    )


def _is_so(each: Waiting, fresh: bool | None) -> bool:
    return fresh is None or bool(each.kind.facts.get("fresh")) is fresh


def _read(asked: Asked, kind: NeedKind, stage: Stage, fresh: bool | None, since: ColumnElement[Any]) -> list[Need]:
    where = [SHEET.c.stage == stage, stalled_where(asked.session, asked.judged, stage)]
    where += [SHEET.c.fresh.is_(fresh)] if fresh is not None else []
    found = heaps(asked.session, *where, since=since)
    needs = (need for heap in found for need in _of_place(asked, kind, heap, where, since))
    return sorted(needs, key=lambda need: str(need.since))


def _of_place(asked: Asked, kind: NeedKind, heap: Heap, where: Iterable[ColumnElement[bool]],
              since: ColumnElement[Any]) -> list[Need]:  # fmt: skip
    # What lies in a bundle has one card, and is done with one scan.
    one, many = WORDS.get(kind.name) or WORDS[heap.stage]
    if heap.count > SINGLY or (heap.bundle and heap.stage is Stage.DRYING):
        end = ("cabinet", heap.cabinet) if heap.cabinet else ("stalled", heap.stage.value)
        return [_of_heap(kind, heap, say("{sheets} {what}", sheets=sheets_said(heap.count), what=many), end)]
    rows = sheets_of(asked.session, heap, *where, since=since)
    return [of_sheet(asked, kind, row.number, row.since, heap.stage.value, say(one), heap.key) for row in rows]


def _of_heap(kind: NeedKind, heap: Heap, what: str, end: tuple[str, str]) -> Need:
    return Need(kind.name, heap.said, what, heap.since, say(kind.do), *end, heap.stage.value,
                many=heap.count, shelf=heap.shelf, about=heap.key)  # fmt: skip


# Of one sheet in a line of its own, and of many together.
WORDS: dict[str, tuple[str, str]] = {
    "fresh-too-long": (mark("is fresh, and waits at intake too long"), mark("are fresh, and wait at intake too long")),
    Stage.INTAKE: (mark("waits at intake too long"), mark("wait at intake too long")),
    Stage.DRYING: (mark("its papers have not been changed"), mark("whose papers have not been changed")),
    Stage.READY: (mark("waits for mounting too long"), mark("wait for mounting too long")),
    Stage.DRY: (mark("is dry, and waits too long"), mark("are dry, and wait too long")),
}

STALLED = NeedKind("stalled", mark("waits too long"), mark("see the list"), stalled)
