"""What an upgrade of the schema leaves to be made from what the room keeps: the sums, and the pieces of plants' names."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.services.near_names import are_unlearned, learn_all
from app.services.recount import rebuild_if_asked, sums_are_old


def to_be_made(session: Session) -> str:
    """What is to be made anew, as a sentence for whoever opens the room; empty when nothing is."""
    if sums_are_old(session):
        return "The sums of the upgraded room are made anew from its log."
    return "The names of plants are made ready for the search." if are_unlearned(session) else ""


def make_anew(session: Session, zone: ZoneInfo) -> None:
    """Make what an upgrade left to be made."""
    rebuild_if_asked(session, zone)
    if are_unlearned(session):
        learn_all(session)
