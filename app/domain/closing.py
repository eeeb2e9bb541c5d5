"""What counts as left when the room is closed, and as waiting when it opens: one rule for the cards and for the pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.domain.day import (
    Contact,
    Day,
    Drying,
    Item,
    Load,
    Ready,
    contacts_left,
    first_in_order,
    loads_due,
    may_be_felt,
    papers_due,
)
from app.domain.house import House


@dataclass(frozen=True, slots=True)
class Found:
    """The room as it was found: what is glued, stacks without weights, tables, what dries, and so on; what a card or a
    page does not ask about stays empty.
    """

    glued: Sequence[Item] = ()
    bare: Sequence[Item] = ()
    tables: Sequence[Item] = ()
    drying: Sequence[Drying] = ()
    loads: Sequence[Load] = ()
    contacts: Sequence[Contact] = ()
    signed_in: Sequence[Item] = ()
    pressing: Sequence[Item] = ()
    wanted: Sequence[Item] = ()
    ready: Sequence[Ready] = ()


def left_at_closing(found: Found, house: House, day: Day) -> list[Item]:
    """What is not safe now, or falls due before the room opens again, closed days included."""
    papers, loads = papers_due(found.drying, house, day.opens_at), loads_due(found.loads, house, day.opens_at)
    return [
        *found.glued,
        *found.bare,
        *found.tables,
        *papers,
        *loads,
        *contacts_left(found.contacts, day),
        *found.signed_in,
    ]


def waits_in_the_morning(found: Found, house: House, day: Day) -> list[Item]:
    """What was left from before today, and what falls due before today ends."""
    overnight = [item for item in (*found.bare, *found.glued) if item.at is not None and item.at < day.begins]
    papers, felt = papers_due(found.drying, house, day.ends), may_be_felt(found.drying, house, day.ends)
    loads, order = loads_due(found.loads, house, day.ends), first_in_order(found.ready)
    return [*overnight, *found.pressing, *papers, *felt, *loads, *found.wanted, *order]
