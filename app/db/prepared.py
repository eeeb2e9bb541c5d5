"""The session of one transaction, and the statements of the scan path: compiled once, run on the driver itself."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from sqlalchemy import BindParameter, Connection, Dialect, Executable, IteratorResult
from sqlalchemy.engine.result import SimpleResultMetaData
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session
from sqlalchemy.sql import visitors
from sqlalchemy.sql.compiler import SQLCompiler

from app.db.postgres import only_what

Statement = TypeVar("Statement", bound=Executable)
Convert = Callable[[Any], Any] | None
Key = tuple[object, ...]

# What PostgreSQL calls a double precision number; a number with a point is nothing else here.
_DOUBLE = 701
_KEPT: dict[Any, _Kept] = {}


def prepared(statement: Statement) -> Statement:
    """Mark a statement that is built once, at import, and run with every scan. It names columns, not whole models."""
    whole: Any = statement
    binds = (each for each in visitors.iterate(whole) if isinstance(each, BindParameter))
    _KEPT[statement] = _Kept(tuple(sorted({each.key for each in binds if each.expanding and each.required})))
    return statement


class Lean(Session):
    """A session for one transaction. A statement that names tables, not models, goes straight to the connection."""

    _line: Connection | None = None
    _driver: Any = None

    def execute(self, statement: Any, params: Any = None, **more: Any) -> Any:
        """Run a statement: on the driver if it is prepared, else as SQLAlchemy does."""
        kept = _KEPT.get(statement)
        if more or (kept is None and statement._propagate_attrs):
            return super().execute(statement, params, **more)
        if self._line is None:
            self._open_line()
        given = params[0] if isinstance(params, list) and len(params) == 1 else params
        ready = self._ready(statement, kept, given) if kept is not None else None
        if ready is not None:
            return self._run(ready, statement, given or {})
        return super().execute(statement, params) if statement._propagate_attrs else self._plainly(statement, params)

    def _open_line(self) -> None:
        self._line = self.connection()
        self._driver = self._line.connection.driver_connection

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
        except self._line.dialect.loaded_dbapi.Error as error:
            raise in_our_words(self._line, ready.text, error) from error
        return IteratorResult(ready.columns, ready.rows(found))


def in_our_words(line: Connection, words: str, error: Exception) -> Exception:
    """The driver's error as SQLAlchemy would raise it; a connection that was cut is given up."""
    dialect, driver = line.dialect, line.connection
    only_what(error)
    is_cut = dialect.is_disconnect(error, driver.dbapi_connection, None)  # type: ignore[arg-type]
    if is_cut:
        line.invalidate(error)
    return DBAPIError.instance(
        words,
        {},
        error,
        dialect.loaded_dbapi.Error,
        hide_parameters=True,
        connection_invalidated=is_cut,
        dialect=dialect,
    )


@dataclass(slots=True)
class _Kept:
    """What is kept for a marked statement: which of its parameters are lists, and the compiled forms by what is given."""

    lists: tuple[str, ...]
    ready: dict[Key, _Ready | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Bind:
    """Where a value comes from: a parameter, one place of a parameter that is a list, or the statement itself.

    `mark` is what the compiled statement calls it, where it calls it anything.
    """

    mark: str
    name: str
    place: int | None
    fixed: Any
    convert: Convert


@dataclass(frozen=True, slots=True)
class _Ready:
    """A compiled statement: its text, where each value comes from, and how values are written and read."""

    text: str
    binds: tuple[_Bind, ...]
    is_by_place: bool
    columns: SimpleResultMetaData
    reads: tuple[tuple[int, Callable[[Any], Any]], ...]

    def values(self, params: Mapping[str, Any]) -> list[Any] | dict[str, Any]:
        found = self._in_order(params)
        return found if self.is_by_place else dict(zip((bind.mark for bind in self.binds), found, strict=True))

    def _in_order(self, params: Mapping[str, Any]) -> list[Any]:
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
    marks = state.parameters if state.positiontup is None else state.positiontup
    binds = tuple(_bind(compiled, dialect, each, *places.get(each, (each, None))) for each in marks)
    columns = list(statement.exported_columns) if not statement.is_dml or statement._returning else []
    converts = [column.type.dialect_impl(dialect).result_processor(dialect, _DOUBLE) for column in columns]
    reads = tuple((place, convert) for place, convert in enumerate(converts) if convert is not None)
    meta = SimpleResultMetaData([column.key for column in columns]) if columns else _NOTHING
    return _Ready(state.statement, binds, compiled.positional, meta, reads)


def _bind(compiled: SQLCompiler, dialect: Dialect, mark: str, name: str, place: int | None) -> _Bind:
    bind = compiled.binds[name]
    return _Bind(mark, bind.key, place, bind.effective_value, bind.type.dialect_impl(dialect).bind_processor(dialect))


_NOTHING = SimpleResultMetaData([])
