"""The session of one transaction, and the statements of the scan path: compiled once, run on the driver itself."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from sqlalchemy import BindParameter, Connection, Dialect, Executable, IteratorResult, event
from sqlalchemy.engine.result import SimpleResultMetaData
from sqlalchemy.orm import Session, SessionTransaction
from sqlalchemy.sql import visitors
from sqlalchemy.sql.compiler import SQLCompiler

from app.db.postgres import in_our_words, send, talk_of
from app.db.talking import Talk

Statement = TypeVar("Statement", bound=Executable)
Convert = Callable[[Any], Any] | None
Key = tuple[object, ...]
# A prepared statement and its values.
Question = tuple[Any, Mapping[str, Any]]

# What PostgreSQL calls a double precision number; a number with a point is nothing else here.
_DOUBLE = 701
_KEPT: dict[Any, _Kept] = {}


def prepared(statement: Statement) -> Statement:
    """Mark a statement that is built once, at import, and run with every scan. It names columns, not whole models."""
    whole: Any = statement
    binds = (each for each in visitors.iterate(whole) if isinstance(each, BindParameter))
    _KEPT[statement] = _Kept(tuple(sorted({each.key for each in binds if each.expanding and each.required})))
    return statement


def ask_ahead(session: Session, questions: Iterable[Question]) -> None:
    """Say now what will be asked soon, where it is far to the database: on a server these go there and come back together
    with whatever is asked next. They are prepared questions; who reads them from here needs no other words than who does not.

    Once anything is written their answers may be old: then they are thrown away, and each is asked when it is its turn.
    """
    if isinstance(session, Lean):
        session.ask_ahead(questions)


class Lean(Session):
    """A session for one transaction. A statement that names tables, not models, goes straight to the connection."""

    _line: Connection | None = None
    _driver: Any = None
    # Only a server is far away.
    _talk: Talk | None = None

    def execute(self, statement: Any, params: Any = None, **more: Any) -> Any:
        """Run a statement: on the driver if it is prepared, else as SQLAlchemy does."""
        kept = _KEPT.get(statement)
        if more or (kept is None and statement._propagate_attrs):
            return super().execute(statement, params, **more)
        if self._line is None:
            self._open_line()
        given = params[0] if isinstance(params, list) and len(params) == 1 else params
        if isinstance(given, list) and given and kept is not None and self._talk is not None:
            return [self.execute(statement, each) for each in given][-1]
        ready = self._ready(statement, kept, given) if kept is not None else None
        if ready is not None:
            return self._run(ready, statement, given or {}) if self._talk is None else self._said(ready, given or {})
        return super().execute(statement, params) if statement._propagate_attrs else self._plainly(statement, params)

    def begin_nested(self) -> SessionTransaction:
        """Begin a part that may be undone alone: at once, since what goes straight to the connection would not begin it."""
        part = super().begin_nested()
        self.connection()
        return part

    def send_part(self) -> None:
        """At the end of a part: what it wrote has to fail in it, while it may still be undone alone."""
        if self._line is not None and self._talk is not None and self.in_nested_transaction():
            send(self._line)

    def ask_ahead(self, questions: Iterable[Question]) -> None:
        """See `ask_ahead`."""
        if self._line is None:
            self._open_line()
        if self._talk is None:
            return
        for statement, params in questions:
            ready = self._ready(statement, _KEPT[statement], params)
            if ready is not None:
                self._talk.ask_ahead(ready.text, ready.values(params))

    def _open_line(self) -> None:
        self._line = self.connection()
        self._driver = self._line.connection.driver_connection
        if self._line.dialect.name == "postgresql":
            self._talk = talk_of(self._line)

    def _plainly(self, statement: Any, params: Any) -> Any:
        assert self._line is not None
        return self._line.execute(statement, params or {})

    def _ready(self, statement: Any, kept: _Kept, params: Any) -> _Ready | None:
        if isinstance(params, list):
            return None
        assert self._line is not None
        given: Mapping[str, Any] = params or {}
        # A room of PostgreSQL has its practice room in a file beside it, in the same process.
        key: Key = (self._line.dialect.name, *given, *(len(given[name]) for name in kept.lists))
        if key not in kept.ready:
            kept.ready[key] = _ready(statement, given, self._line.dialect)
        return kept.ready[key]

    def _run(self, ready: _Ready, statement: Any, params: Mapping[str, Any]) -> IteratorResult[Any]:
        assert self._line is not None
        try:
            done = self._driver.execute(ready.text, ready.values(params))
            found = done.fetchall() if ready.columns is not _NOTHING else ()
        except sqlite3.Error:
            # Once more through SQLAlchemy, which fails in the same way and says it in its own words.
            return super().execute(statement, params)  # type: ignore[return-value]
        return IteratorResult(ready.columns, ready.rows(found))

    def _said(self, ready: _Ready, params: Mapping[str, Any]) -> IteratorResult[Any]:
        """On a server: what only writes waits for the next question, or for the end."""
        assert self._line is not None and self._talk is not None
        try:
            said = (self._talk.write if ready.writes else self._talk.ask)(ready.text, ready.values(params))
            found = self._talk.hear(said) if ready.columns is not _NOTHING else ()
        except self._line.dialect.loaded_dbapi.Error as error:
            raise in_our_words(self._line, ready.text, error) from error
        return IteratorResult(ready.columns, ready.rows(found))


event.listen(Lean, "before_commit", Lean.send_part)


@dataclass(slots=True)
class _Kept:
    """What is kept for a marked statement: which of its parameters are lists, and the compiled forms by what is given."""

    lists: tuple[str, ...]
    ready: dict[Key, _Ready | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Bind:
    """Where a value comes from: a parameter, one place of a parameter that is a list, or the statement itself."""

    name: str
    place: int | None
    fixed: Any
    convert: Convert


@dataclass(frozen=True, slots=True)
class _Ready:
    """A compiled statement: its text, where each value comes from, and how values are written and read."""

    text: str
    writes: bool
    binds: tuple[_Bind, ...]
    columns: SimpleResultMetaData
    reads: tuple[tuple[int, Callable[[Any], Any]], ...]

    def values(self, params: Mapping[str, Any]) -> list[Any]:
        found = []
        for bind in self.binds:
            value = params.get(bind.name, bind.fixed)
            if bind.place is not None:
                value = value[bind.place]
            found.append(bind.convert(value) if bind.convert is not None else value)
        return found

    def rows(self, found: Sequence[tuple[Any, ...]]) -> Iterator[Any]:
        return map(self._read, found) if self.reads else iter(found)

    def _read(self, row: tuple[Any, ...]) -> tuple[Any, ...]:
        values = list(row)
        for place, convert in self.reads:
            values[place] = convert(values[place])
        return tuple(values)


def _ready(statement: Any, params: Mapping[str, Any], dialect: Dialect) -> _Ready | None:
    """Compile; None for one that SQLAlchemy has to run itself, because a column has a default of its own."""
    compiled: SQLCompiler = statement.compile(dialect=dialect, column_keys=list(params) if statement.is_dml else None)
    if compiled.insert_prefetch or compiled.update_prefetch:
        return None
    state = compiled.construct_expanded_state(dict(params))
    places = {
        each: (name, place) for name, many in state.parameter_expansion.items() for place, each in enumerate(many)
    }
    text, marks = state.statement, state.positiontup
    if marks is None:
        # Values that have names are called by their places on the line.
        marks = list(state.parameters)
        text %= {mark: f"${place}" for place, mark in enumerate(marks, 1)}
    binds = tuple(_bind(compiled, dialect, *places.get(each, (each, None))) for each in marks)
    columns = list(statement.exported_columns) if not statement.is_dml or statement._returning else []
    converts = [column.type.dialect_impl(dialect).result_processor(dialect, _DOUBLE) for column in columns]
    reads = tuple((place, convert) for place, convert in enumerate(converts) if convert is not None)
    meta = SimpleResultMetaData([column.key for column in columns]) if columns else _NOTHING
    return _Ready(text, statement.is_dml, binds, meta, reads)


def _bind(compiled: SQLCompiler, dialect: Dialect, name: str, place: int | None) -> _Bind:
    bind = compiled.binds[name]
    return _Bind(bind.key, place, bind.effective_value, bind.type.dialect_impl(dialect).bind_processor(dialect))


_NOTHING = SimpleResultMetaData([])
