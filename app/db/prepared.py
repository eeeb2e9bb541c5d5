"""The session of one transaction, and the statements of the scan path: compiled once, run on SQLite's driver itself."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import Connection, Dialect, Executable, IteratorResult
from sqlalchemy.engine.result import SimpleResultMetaData
from sqlalchemy.orm import Session
from sqlalchemy.sql.compiler import SQLCompiler

Statement = TypeVar("Statement", bound=Executable)
Convert = Callable[[Any], Any] | None

_READY: dict[Any, dict[tuple[str, ...], _Ready | None]] = {}


def prepared(statement: Statement) -> Statement:
    """Mark a statement that is built once and run with every scan. Its parameters come as one mapping."""
    _READY[statement] = {}
    return statement


class Lean(Session):
    """A session for one transaction. A statement that names tables, not models, goes straight to the connection."""

    _line: Connection | None = None
    _driver: sqlite3.Connection | None = None

    def execute(self, statement: Any, params: Any = None, **more: Any) -> Any:
        """Run a statement: on the driver if it is prepared and this is SQLite, else as SQLAlchemy does."""
        if more or statement._propagate_attrs:
            return super().execute(statement, params, **more)
        if self._line is None:
            self._open_line()
        given = params[0] if isinstance(params, list) and len(params) == 1 else params
        ready = self._ready(statement, given)
        if ready is None:
            assert self._line is not None
            return self._line.execute(statement, params or {})
        return self._run(ready, statement, given or {})

    def _open_line(self) -> None:
        self._line = self.connection()
        found = self._line.connection.driver_connection
        self._driver = found if isinstance(found, sqlite3.Connection) else None

    def _ready(self, statement: Any, params: Any) -> _Ready | None:
        kept = _READY.get(statement)
        if kept is None or self._driver is None or isinstance(params, list):
            return None
        keys = tuple(params) if params else ()
        if keys not in kept:
            assert self._line is not None
            kept[keys] = _ready(statement, keys, self._line.dialect)
        return kept[keys]

    def _run(self, ready: _Ready, statement: Any, params: Mapping[str, Any]) -> IteratorResult[Any]:
        assert self._driver is not None and self._line is not None
        try:
            found = self._driver.execute(ready.text, ready.values(params)).fetchall()
        except sqlite3.Error:
            # Once more through SQLAlchemy, which fails in the same way and says it in its own words.
            return self._line.execute(statement, params)  # type: ignore[return-value]
        return IteratorResult(ready.columns, ready.rows(found))


@dataclass(frozen=True, slots=True)
class _Ready:
    """A compiled statement: its text, where each value comes from, and how values are written and read."""

    text: str
    binds: tuple[tuple[str, Any, Convert], ...]
    columns: SimpleResultMetaData
    reads: tuple[tuple[int, Callable[[Any], Any]], ...]

    def values(self, params: Mapping[str, Any]) -> list[Any]:
        found = []
        for key, fixed, convert in self.binds:
            value = params.get(key, fixed)
            found.append(convert(value) if convert is not None else value)
        return found

    def rows(self, found: Sequence[tuple[Any, ...]]) -> Iterator[Any]:
        if not self.reads:
            return iter(found)
        return map(self._read, found)

    def _read(self, row: tuple[Any, ...]) -> tuple[Any, ...]:
        values = list(row)
        for place, convert in self.reads:
            values[place] = convert(values[place])
        return tuple(values)


def _ready(statement: Any, keys: Sequence[str], dialect: Dialect) -> _Ready | None:
    """Compile; None for one that SQLAlchemy has to run itself, because of a default or a list among its values."""
    writes = list(keys) if statement.is_dml else None
    compiled: SQLCompiler = statement.compile(dialect=dialect, column_keys=writes)
    if compiled.insert_prefetch or compiled.update_prefetch or compiled.post_compile_params:
        return None
    names = compiled.positiontup or []
    binds = tuple(_bind(compiled.binds[name], dialect) for name in names)
    columns = list(statement.exported_columns) if _gives_rows(statement) else []
    converts = [column.type.dialect_impl(dialect).result_processor(dialect, None) for column in columns]
    reads = tuple((place, convert) for place, convert in enumerate(converts) if convert is not None)
    return _Ready(str(compiled), binds, SimpleResultMetaData([column.key for column in columns]), reads)


def _bind(bind: Any, dialect: Dialect) -> tuple[str, Any, Convert]:
    return bind.key, bind.effective_value, bind.type.dialect_impl(dialect).bind_processor(dialect)


def _gives_rows(statement: Any) -> bool:
    return not statement.is_dml or bool(statement._returning)
