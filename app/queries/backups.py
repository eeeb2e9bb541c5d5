"""What the room has on record of its backups: the last one, how it was, and how their second place stands."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import cast

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.fitness import LAST_BACKUP
from app.db.models import Setting, table_of
from app.db.settings import BACKUP_FAILED, LAST_DIFFERENCES, SECOND_PLACE, SECOND_SINCE, SECOND_STATE
from app.domain.backups import PLACE_WORDS, PlaceState, moment_kept

SETTING = table_of(Setting)
_NAMES = (LAST_BACKUP, BACKUP_FAILED, LAST_DIFFERENCES, SECOND_PLACE, SECOND_SINCE, SECOND_STATE)
_KEPT = select(SETTING.c.name, SETTING.c.value).where(SETTING.c.name.in_(_NAMES))


@dataclass(frozen=True, slots=True)
class BackupsKept:
    """When the last backup was made, if ever; why the last that was tried was not; in how many places log and room differed
    in it; the second place as it was named (empty for none), how it stands, and since when.
    """

    last_at: datetime | None
    failed: str
    differences: int
    place: str
    state: PlaceState
    since: datetime | None

    @property
    def words(self) -> str:
        """How the second place stands, in words that follow "the backups"; empty while all is well."""
        return PLACE_WORDS[self.state]


def backups_kept(session: Session) -> BackupsKept:
    """What is on record. A moment or a number that is none counts as not there: then nobody knows."""
    found = {name: value for name, value in session.execute(_KEPT)}
    state = found.get(SECOND_STATE, "none")
    differences = found.get(LAST_DIFFERENCES, "")
    return BackupsKept(
        moment_kept(found.get(LAST_BACKUP)), found.get(BACKUP_FAILED, ""), int(differences) if differences.isdigit() else 0,
        found.get(SECOND_PLACE, ""), cast(PlaceState, state if state in PLACE_WORDS else "none"),
        moment_kept(found.get(SECOND_SINCE)),
    )  # fmt: skip
