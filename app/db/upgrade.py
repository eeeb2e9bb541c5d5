"""Bringing a room's database to the newest revision; Alembic is imported only here, when it is needed."""

from __future__ import annotations

import warnings
from pathlib import Path

from sqlalchemy import Connection, create_engine, inspect, text

from app.db.postgres import with_driver

HOME = Path(__file__).resolve().parent.parent.parent


def upgrade(url: str) -> str:
    """Migrate the database at this address to the newest revision and return that revision."""
    return _upgrade(url, None)


def upgrade_on(connection: Connection) -> str:
    """Migrate the database of this connection, as a part of its transaction."""
    return _upgrade("", connection)


def _upgrade(url: str, connection: Connection | None) -> str:
    from alembic import command
    from alembic.config import Config

    config = Config(attributes={"connection": connection})
    config.set_main_option("script_location", str(HOME / "migrations").replace("%", "%%"))
    config.set_main_option("sqlalchemy.url", url.replace("%", "%%"))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        command.upgrade(config, "head")
    return newest_revision()


def newest_revision() -> str:
    """The newest revision that this program knows, read off its own migrations."""
    names = sorted(path.name for path in (HOME / "migrations" / "versions").glob("[0-9]*.py"))
    return names[-1].split("_")[0]


def revision_of(url: str) -> str | None:
    """The revision of the database at this address; None while it is empty."""
    engine = create_engine(with_driver(url))
    try:
        with engine.connect() as connection:
            if not inspect(connection).has_table("alembic_version"):
                return None
            return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    finally:
        engine.dispose()
