"""Blotter: the day-book of a herbarium preparation room."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING

from app.clock import Watch, utc_now
from app.config import Config

if TYPE_CHECKING:
    from flask import Flask

    from app.db.engine import Database


def create_app(
    config: Config,
    *,
    clock: Callable[[], datetime] = utc_now,
    database: Database | None = None,
    watch: Watch | None = None,
) -> Flask:
    """Make the web application of one room."""
    # Here and not above, so that the rules and the command line do not wait for the web to be imported.
    from app.db.engine import open_database
    from app.web.assembly import put_together
    from app.web.render import House

    return put_together(House(config, database or open_database(config.database_url), clock, watch or Watch()))
