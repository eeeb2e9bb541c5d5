"""Browsers that were signed out: a cookie that somebody copied before opens nothing afterwards."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import delete, func
from sqlalchemy.orm import Session

from app.db.models import Setting, table_of
from app.db.settings import SIGNED_OUT
from app.db.upsert import replacing

SETTING = table_of(Setting)
# Longer than any cookie lives.
KEPT = timedelta(days=30)


def sign_out_browser(session: Session, browser: str, now: datetime) -> None:
    """From now on nobody is signed in by this browser's mark; what no cookie can carry any more is forgotten."""
    dialect = session.get_bind().dialect.name
    mark = {"name": f"{SIGNED_OUT}{browser}", "value": now.isoformat()}
    session.execute(replacing(dialect, SETTING, ("value",)), mark)
    is_mark = func.substr(SETTING.c.name, 1, len(SIGNED_OUT)) == SIGNED_OUT
    session.execute(delete(SETTING).where(is_mark, SETTING.c.value < (now - KEPT).isoformat()))
