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

# The migrations import their guards from beside this file.
sys.path.insert(0, str(Path(__file__).parent))


def run() -> None:
    """Migrate the database named by the caller, or by BLOTTER_DATABASE_URL."""
    url = context.config.get_main_option("sqlalchemy.url") or os.environ["BLOTTER_DATABASE_URL"]
    engine = create_engine(url)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _settle)
        event.listen(engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN IMMEDIATE"))
    with engine.connect() as connection:
        context.configure(
            connection=connection, target_metadata=Base.metadata, render_as_batch=True, render_item=_plain,
            transaction_per_migration=False,
        )  # fmt: skip
        with connection.begin():
            context.run_migrations()
            _check_keys(connection)
    engine.dispose()


def _settle(connection: Any, _record: object) -> None:
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys = OFF")


def _check_keys(connection: Any) -> None:
    if connection.dialect.name == "sqlite":
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
        if broken:
            raise RuntimeError(f"The migration left rows that point nowhere: {broken[:5]}")


def _plain(kind: str, item: Any, _context: object) -> str | bool:
    if kind == "type" and isinstance(item, TypeDecorator) and isinstance(item.impl, DateTime):
        return "sa.DateTime(timezone=True)"
    return False


run()
