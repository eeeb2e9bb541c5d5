"""PostgreSQL: opened so that it sorts, compares and waits as the one-file database does.

What differs between the two is put alike here, in one place, so that no query and no service has to know where it runs.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from sqlalchemy import URL, Column, Connection, Engine, Join, Select, Table, event
from sqlalchemy.dialects.postgresql.base import PGCompiler
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import PoolProxiedConnection
from sqlalchemy.sql import operators
from sqlalchemy.sql.elements import ClauseList, UnaryExpression, _label_reference

from app.db.talking import TALK, Talk

# One writer at a time, in whichever process: PostgreSQL keeps such locks apart by database, and a room has its own.
WRITING = 0x_B107_7E4
# Each question sees what was written before it, so all of them see what the writer before this one has written.
BEGIN_WRITING = f"BEGIN ISOLATION LEVEL READ COMMITTED; SELECT pg_advisory_xact_lock({WRITING})"
# One state from the first question to the last, as in the one-file database.
BEGIN_READING = "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"
# For a writer, for a reader, and for who asks one question: it needs no beginning, and no end.
BEGINNINGS = (BEGIN_WRITING, BEGIN_READING, "")
# The last scan that was kept, whoever sent it.
LAST_SCAN = "SELECT coalesce(max(id), 0) FROM scan"
# A net only, as long as that: writers hold each other up for milliseconds.
PATIENCE = "30s"
_ORDERED = (operators.asc_op, operators.desc_op)
_SAID = (operators.nulls_first_op, operators.nulls_last_op)


def with_driver(url: str) -> URL:
    """The address with the driver that this program uses, where it names PostgreSQL and no driver; else as it is."""
    parsed = make_url(url)
    return parsed.set(drivername="postgresql+psycopg") if parsed.drivername in ("postgresql", "postgres") else parsed


def settle(engine: Engine) -> None:
    """Make an engine of PostgreSQL behave as the one-file database does."""
    dialect: Any = engine.dialect
    dialect.statement_compiler = type("Alike", (_Alike, dialect.statement_compiler), {})
    event.listen(engine, "connect", _settle_line)
    event.listen(engine, "handle_error", _name_no_values)
    event.listen(engine, "begin", _begin)
    event.listen(engine, "before_cursor_execute", _send_first)
    dialect.do_commit, dialect.do_rollback = _commit, _rollback


def talk_of(connection: Connection) -> Talk:
    """What is said on this connection besides what SQLAlchemy says there."""
    talk: Talk = connection.connection.record_info[TALK]  # type: ignore[index]
    return talk


def driver_of(connection: Connection) -> Any:
    """The driver of this connection, for what only it can do; what was said before has been sent."""
    send(connection)
    return connection.connection.driver_connection


def send(connection: Connection, before: str = "") -> None:
    """Send what was said on this connection, as it has to be before these words; SQLAlchemy's errors."""
    try:
        talk_of(connection).before(before)
    except connection.dialect.loaded_dbapi.Error as error:
        raise in_our_words(connection, before, error) from error


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


def _begin(connection: Connection) -> None:
    talk_of(connection).begin(connection.get_execution_options().get("begin", "BEGIN"))


def _send_first(connection: Connection, _cursor: Any, words: str, *_: Any) -> None:
    send(connection, words)


def _commit(line: PoolProxiedConnection) -> None:
    line.record_info[TALK].end()  # type: ignore[index]


def _rollback(line: PoolProxiedConnection) -> None:
    # Before the first one is settled there is none.
    (line.record_info or {}).get(TALK, line).rollback()


def _settle_line(connection: Any, record: Any) -> None:
    from psycopg.adapt import Loader
    from psycopg.types.numeric import IntDumper
    from psycopg.types.string import StrDumper, StrDumperUnknown

    # The driver begins nothing by itself: what it begins is said together with what a writer waits for, in one go.
    connection.autocommit = True
    connection.execute(f"SET lock_timeout = '{PATIENCE}'")
    for dumper in (StrDumper, StrDumperUnknown):
        connection.adapters.register_dumper(str, _without_nothing(dumper))
    connection.adapters.register_dumper(int, _of_one_size(IntDumper))
    # What it makes of a sum or a mean of whole numbers is a whole number, or one with a point, and never a decimal.
    connection.adapters.register_loader(
        "numeric", type("Number", (Loader,), {"load": lambda _, data: _number(bytes(data))})
    )
    record.record_info[TALK] = Talk(connection)


def _of_one_size(dumper: Any) -> Any:
    def upgrade(self: Any, number: int, form: Any) -> Any:
        return dumper._int4_dumper if -(2**31) <= number < 2**31 else dumper.upgrade(self, number, form)

    # Numbers of four bytes, as the columns are, and larger ones where they must be; never of two, so that a statement stays
    # the same statement. Of ids beyond them nothing is found, and that is no fault.
    key = {"get_key": lambda self, number, form: self.upgrade(number, form).cls}
    return type(dumper.__name__, (dumper,), {"upgrade": upgrade, **key})


def _number(data: bytes) -> int | float:
    return int(data) if data.isdigit() or data[1:].isdigit() else float(data)


def _name_no_values(context: Any) -> None:
    """PostgreSQL tells in its details what was in the row."""
    error, said = context.original_exception, context.sqlalchemy_exception
    if only_what(error) and said is not None:
        said.args = (f"({type(error).__module__}.{type(error).__name__}) {error.args[0]}",)


def only_what(error: Any) -> bool:
    """Leave of an error that the server told what went wrong, and not with which values; whether it is one."""
    if getattr(error, "sqlstate", None) is None:
        return False
    error.args = (error.diag.message_primary or "",)
    return True


def _without_nothing(dumper: Any) -> Any:
    def dump(self: Any, text: str) -> Any:
        return dumper.dump(self, text.replace("\0", "\N{REPLACEMENT CHARACTER}") if "\0" in text else text)

    # A text with a NUL in it is no text for PostgreSQL; nobody writes one but to see what happens.
    return type(dumper.__name__, (dumper,), {"dump": dump})


class _Alike(PGCompiler):
    """Nothing comes before everything, a number may be larger than its column (then it is not found), and no row is locked."""

    def order_by_clause(self, select: Any, **more: Any) -> str:
        outer = frozenset(_outer(select.get_final_froms())) if isinstance(select, Select) else None
        clauses = [_nothing_first(each, outer) for each in select._order_by_clauses]
        found = self._generate_delimited_list(clauses, ", ", **more)  # type: ignore[no-untyped-call]
        return f" ORDER BY {found}" if found else ""

    def visit_over(self, over: Any, **more: Any) -> str:
        if over.order_by is not None:
            over = over._clone()
            over.order_by = ClauseList(*(_nothing_first(each, None) for each in over.order_by))
        return str(super().visit_over(over, **more))  # type: ignore[no-untyped-call]

    def for_update_clause(self, select: Any, **more: Any) -> str:
        # Nobody else writes meanwhile, and who only reads may not ask for it.
        return ""

    def render_bind_cast(self, type_: Any, dbapi_type: Any, sqltext: str) -> str:
        # The driver says of each number how large it is; said here, a larger one would be a fault.
        if dbapi_type.__visit_name__ in ("integer", "INTEGER") and sqltext.startswith("%("):
            return sqltext
        return str(super().render_bind_cast(type_, dbapi_type, sqltext))  # type: ignore[no-untyped-call]


def _outer(froms: Iterable[Any]) -> Iterator[Any]:
    """What is joined in such a way that its columns may be null whatever they are declared to be."""
    for each in froms:
        if isinstance(each, Join):
            yield from ([each.left] if each.full else []) + ([each.right] if each.isouter or each.full else [])
            yield from _outer((each.left, each.right))


def _nothing_first(clause: Any, outer: frozenset[Any] | None) -> Any:
    """The clause with nulls first, or last where it descends, as SQLite has them; a column that has none is left alone,
    so that an index may give its order.
    """
    said = clause.element if isinstance(clause, _label_reference) else clause
    how = said.modifier if isinstance(said, UnaryExpression) else None
    if how in _SAID or not _may_be_nothing(said.element if how in _ORDERED else said, outer):
        return clause
    return UnaryExpression(
        clause, modifier=operators.nulls_last_op if how is operators.desc_op else operators.nulls_first_op
    )


def _may_be_nothing(found: Any, outer: frozenset[Any] | None) -> bool:
    if outer is None or not isinstance(found, Column) or found.nullable:
        return True
    table: Any = found.table
    return table in outer or not isinstance(getattr(table, "element", table), Table)
