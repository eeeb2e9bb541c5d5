"""What a cabinet is for, in a word."""

from __future__ import annotations

from app.db.models import Cabinet
from app.domain.language import say
from app.domain.stages import STAGES, Stage


def is_for(cabinet: Cabinet) -> str:
    """The stage that a cabinet belongs to, in words, or that it is a freezer or a dryer; nothing where any sheet may lie in it."""
    if cabinet.freezes_to_c is not None:
        return say("Freezer")
    if cabinet.is_dryer:
        return say("Dryer")
    return say(STAGES[Stage(cabinet.stage)].words) if cabinet.stage else ""
