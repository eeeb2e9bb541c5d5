"""What did not go by the book in one week, one by one with its reason; and what changed the week after it had ended."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from sqlalchemy import and_, bindparam, or_, select
from sqlalchemy.orm import Session

from app.db.models import Doubt, EntryWorker, Sheet, Stack, Worker, table_of
from app.db.standing import STANDS
from app.domain.language import say
from app.domain.numbers import shown
from app.domain.stages import STEP_WORDS, Step
from app.domain.words import duration
from app.queries.house import patterns_now
from app.queries.week_lines import EXCEPTIONS, ChangedSince, Exceptional
from app.queries.week_sheets import ENTRY, MOMENT, WITHIN, moments
from app.queries.weeks_kept import Span, Weeks

DOUBT, SHEET, STACK, WORKER = table_of(Doubt), table_of(Sheet), table_of(Stack), table_of(Worker)
ENTRY_WORKER = table_of(EntryWorker)
AT_ONCE = 10_000
_TAKEN = ENTRY.alias("taken")
_COLUMNS = (
    ENTRY.c.id, ENTRY.c.subject_kind, ENTRY.c.subject_id, ENTRY.c.step, ENTRY.c.happened_at, ENTRY.c.recorded_at, ENTRY.c.reason,
    ENTRY.c.is_late, ENTRY.c.after_the_fact, ENTRY.c.early_by_s, ENTRY.c.facts,
)  # fmt: skip
_ODD = (
    select(*_COLUMNS, _TAKEN.c.step.label("taken"))
    .outerjoin(_TAKEN, _TAKEN.c.id == ENTRY.c.corrects)
    .where(*WITHIN, STANDS,
           or_(ENTRY.c.early_by_s.is_not(None), ENTRY.c.is_late, ENTRY.c.after_the_fact,
               ENTRY.c.step.in_((Step.CORRECT, Step.FOUND_OUT, Step.RENUMBER))))
    .order_by(ENTRY.c.happened_at, ENTRY.c.id)
)  # fmt: skip
# Late ones whether or not they stand: one that was taken back again has changed the week twice.
_LATE = select(*_COLUMNS).where(
    *WITHIN, ENTRY.c.recorded_at >= bindparam("until", type_=MOMENT), ENTRY.c.step != Step.CORRECT
)
_TAKEN_BACK = (
    select(_TAKEN.c.id, ENTRY.c.subject_kind, ENTRY.c.subject_id, ENTRY.c.step, ENTRY.c.happened_at, _TAKEN.c.recorded_at,
           _TAKEN.c.reason)
    .join(_TAKEN, _TAKEN.c.corrects == ENTRY.c.id)
    .where(*WITHIN, _TAKEN.c.recorded_at >= bindparam("until", type_=MOMENT))
)  # fmt: skip
# One that was laid to rest by what became known later, and by nobody, is no longer in question.
_DOUBTS = (
    select(*_COLUMNS, DOUBT.c.short_s, DOUBT.c.why)
    .select_from(DOUBT)
    .join(ENTRY, ENTRY.c.id == DOUBT.c.entry_id)
    .where(*WITHIN, STANDS, ~and_(DOUBT.c.settled_at.is_not(None), DOUBT.c.settled_by.is_(None)))
    .order_by(ENTRY.c.happened_at, DOUBT.c.id)
)
_NAMES = (
    select(ENTRY_WORKER.c.entry_id, WORKER.c.name)
    .join(WORKER, WORKER.c.id == ENTRY_WORKER.c.worker_id)
    .where(ENTRY_WORKER.c.role == "did", ENTRY_WORKER.c.entry_id.in_(bindparam("entries", expanding=True)))
    .order_by(ENTRY_WORKER.c.entry_id, WORKER.c.name_key, WORKER.c.id)
)


def exceptions_of(session: Session, weeks: Weeks, span: Span, *, named: bool) -> tuple[Exceptional, ...]:
    """What did not go by the book: by kind, and within it as it happened. Entries taken back are told as that alone."""
    odd, doubts = weeks.get("odd", span, _odd), session.execute(_DOUBTS, moments(span)).all()
    told = [(kind, row) for row in odd for kind, holds in KINDS.items() if holds(row)]
    told += [("called-in-question", row) for row in doubts]
    names = _Names(session, [row for _, row in told], named=named)
    order = list(EXCEPTIONS)
    return tuple(_exceptional(kind, row, names) for kind, row in sorted(told, key=lambda each: order.index(each[0])))


def changed_since(session: Session, weeks: Weeks, span: Span, *, named: bool) -> tuple[ChangedSince, ...]:
    """What was written or taken back of a week after its end, as it became known; nothing while the week stands."""
    changes = weeks.get("changes", span, _changes)
    names = _Names(session, [row for _, row in changes], named=named)
    return tuple(
        ChangedSince(row.id, back, row.happened_at, row.recorded_at, names.subject(row),
                     say("taken back: {deed}", deed=_deed(row.step)) if back else _deed(row.step), row.reason or "", names.by(row))
        for back, row in changes
    )  # fmt: skip


class _Names:
    """The numbers, stacks and people that some rows of the log name."""

    def __init__(self, session: Session, rows: Sequence[Any], *, named: bool) -> None:
        self.patterns = patterns_now(session)
        self._numbers = _looked_up(
            session, SHEET.c.number, {row.subject_id for row in rows if row.subject_kind == "sheet"}
        )
        self._stacks = _looked_up(
            session, STACK.c.name, {row.subject_id for row in rows if row.subject_kind == "stack"}
        )
        self._people: dict[int, list[str]] = {}
        for some in _portions({row.id for row in rows} if named else set()):
            for entry_id, name in session.execute(_NAMES, {"entries": some}):
                self._people.setdefault(entry_id, []).append(name)

    def link(self, row: Any) -> str:
        """What the page of the row's subject is asked by."""
        return (self._numbers if row.subject_kind == "sheet" else self._stacks).get(row.subject_id, "")

    def subject(self, row: Any) -> str:
        """The row's subject as it is said."""
        return shown(self.link(row), self.patterns) if row.subject_kind == "sheet" else self.link(row)

    def by(self, row: Any) -> tuple[str, ...]:
        """Who did it, by name."""
        return tuple(self._people.get(row.id, ()))


def _exceptional(kind: str, row: Any, names: _Names) -> Exceptional:
    what = SAID[kind](row, names) if kind in SAID else _deed(row.step)
    reason = row.why if kind == "called-in-question" else row.reason
    return Exceptional(kind, row.id, row.happened_at, row.recorded_at, row.subject_kind == "sheet", names.subject(row),
                       names.link(row), what, reason or "", names.by(row))  # fmt: skip


def _odd(session: Session, span: Span) -> tuple[Any, ...]:
    return tuple(session.execute(_ODD, moments(span)).all())


def _changes(session: Session, span: Span) -> tuple[tuple[bool, Any], ...]:
    found = [(back, row) for back, asked in ((False, _LATE), (True, _TAKEN_BACK))
             for row in session.execute(asked, moments(span))]  # fmt: skip
    return tuple(sorted(found, key=lambda each: (each[1].recorded_at, each[1].id)))


def _looked_up(session: Session, column: Any, ids: set[int]) -> dict[int, str]:
    known = column.table.c.id
    return {row[0]: row[1] for some in _portions(ids)
            for row in session.execute(select(known, column).where(known.in_(some)))}  # fmt: skip


def _portions(ids: set[int]) -> Iterable[list[int]]:
    every = sorted(ids)
    return (every[start : start + AT_ONCE] for start in range(0, len(every), AT_ONCE))


def _deed(step: str) -> str:
    return say(STEP_WORDS[Step(step)][1])


def _new_number(row: Any, names: _Names) -> str:
    old, new = (shown(row.facts[name], names.patterns) for name in ("old_number", "new_number"))
    return say("{old} became {new}", old=old, new=new)


# Which kinds of exception a standing entry is.
KINDS: dict[str, Callable[[Any], bool]] = {
    "early-release": lambda row: row.early_by_s is not None,
    "out-early": lambda row: row.step == Step.FOUND_OUT,
    "correction": lambda row: row.step == Step.CORRECT,
    "late": lambda row: row.is_late and row.step != Step.CORRECT,
    "after-the-fact": lambda row: row.after_the_fact,
    "new-number": lambda row: row.step == Step.RENUMBER,
}
SAID: dict[str, Callable[[Any, _Names], str]] = {
    "early-release": lambda row, names: say("taken out {early_by_s} early", early_by_s=duration(row.early_by_s)),
    "called-in-question": lambda row, names: say("came out {short_s} short of its time", short_s=duration(row.short_s)),
    "correction": lambda row, names: _deed(row.taken) if row.taken else _deed(row.step),
    "new-number": _new_number,
}
