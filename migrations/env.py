"""How migrations are run: one transaction, begun explicitly, with foreign keys off and checked at the end."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

from alembic import context
from sqlalchemy import DateTime, create_engine, event
from sqlalchemy.types import TypeDecorator

from app.db.models import Base
from app.db.postgres import WRITING, with_driver

# The migrations import their guards from beside this file.
sys.path.insert(0, str(Path(__file__).parent))


def run() -> None:
    """Migrate the database named by the caller, or by BLOTTER_DATABASE_URL; or the one to which the caller has a line."""
    line = context.config.attributes.get("connection")
    if line is not None:
        _migrate(line)
        return
    url = context.config.get_main_option("sqlalchemy.url") or os.environ["BLOTTER_DATABASE_URL"]
    engine = create_engine(with_driver(url))
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _settle)
        event.listen(engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN IMMEDIATE"))
    try:
        # Begun before Alembic looks: else it takes the transaction for its own, and commits it after each migration.
        with engine.connect() as connection, connection.begin():
            _one_at_a_time(connection)
            _migrate(connection)
    finally:
        engine.dispose()


def _migrate(connection: Any) -> None:
    context.configure(
        connection=connection, target_metadata=Base.metadata, render_as_batch=True, render_item=_plain,
        transaction_per_migration=False,
    )  # fmt: skip
    context.run_migrations()
    _check_keys(connection)
    _sort_by_letters(connection)


def _settle(connection: Any, _record: object) -> None:
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys = OFF")


def _check_keys(connection: Any) -> None:
    if connection.dialect.name == "sqlite":
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
        if broken:
            raise RuntimeError(f"The migration left rows that point nowhere: {broken[:5]}")


def _one_at_a_time(connection: Any) -> None:
    """Two programs may start on one empty database of PostgreSQL, or one that is served; SQLite has its own turn."""
    if connection.dialect.name != "sqlite":
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITING})")


def _sort_by_letters(connection: Any) -> None:
    """Texts are compared by their code points, as SQLite does, whatever the language of PostgreSQL's database."""
    if connection.dialect.name == "sqlite":
        return
    texts = (
        "SELECT table_name, column_name FROM information_schema.columns"
        " WHERE table_schema = current_schema() AND data_type = 'text' AND collation_name IS NULL"
        " AND table_name <> 'alembic_version'"
    )
    for table, column in connection.exec_driver_sql(texts).fetchall():
        connection.exec_driver_sql(f'ALTER TABLE "{table}" ALTER COLUMN "{column}" TYPE text COLLATE "C"')


def _plain(kind: str, item: Any, _context: object) -> str | bool:
    if kind == "type" and isinstance(item, TypeDecorator) and isinstance(item.impl, DateTime):
        return "sa.DateTime(timezone=True)"
    return False


run()
