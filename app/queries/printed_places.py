"""Cards of what comes and goes or stands in the room and is no furniture for sheets: bundles and stations."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Bundle, Station, table_of
from app.domain.language import say
from app.domain.natural_order import natural_order
from app.domain.numbers import shown
from app.queries.people import steps_words

BUNDLE = table_of(Bundle)
STATION = table_of(Station)


@dataclass(frozen=True, slots=True)
class BundleCard:
    """The card that is tied to a bundle: what it is called, and what it is (a tray, a plant press, a bag)."""

    code: str
    shown: str
    name: str
    kind: str


@dataclass(frozen=True, slots=True)
class StationCard:
    """The card of a station: what it is called, and what is done there."""

    code: str
    shown: str
    name: str
    steps_words: str


def bundle_cards(session: Session, bundle: str = "") -> tuple[BundleCard, ...]:
    """The cards of the bundles in use, by name, or of the one with this code; ValueError, in a sentence, where it is not there."""
    found = select(BUNDLE.c.code, BUNDLE.c.name, BUNDLE.c.kind).where(BUNDLE.c.closed_at.is_(None))
    rows = session.execute(found.where(BUNDLE.c.code == bundle) if bundle else found).all()
    if bundle and not rows:
        raise ValueError(say("There is no bundle with the code {bundle} in use.", bundle=bundle[:40]))
    ordered = sorted(rows, key=lambda row: (natural_order(row.name), row.code))
    return tuple(BundleCard(row.code, shown(row.code, ()), row.name, row.kind) for row in ordered)


def station_cards(session: Session, station: str = "") -> tuple[StationCard, ...]:
    """The cards of the stations in use, by name, or of one by its short name; ValueError, in a sentence, where it is not there."""
    found = select(STATION.c.code, STATION.c.name, STATION.c.steps).where(STATION.c.closed_at.is_(None))
    rows = session.execute(found.where(STATION.c.slug == station) if station else found).all()
    if station and not rows:
        raise ValueError(say("There is no station called {station}. Look at the stations page.", station=station[:40]))
    ordered = sorted(rows, key=lambda row: natural_order(row.name))
    return tuple(StationCard(row.code, shown(row.code, ()), row.name, steps_words(tuple(row.steps))) for row in ordered)
