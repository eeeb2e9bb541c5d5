"""Neighbours: sheets that lay in the same place at the same time. Pure reckoning over the stays that a log tells of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from app.domain.sheet import Place


@dataclass(frozen=True, slots=True)
class Site:
    """A place that is shared: a shelf, a cabinet on none of its shelves (`loose`), all of a cabinet (`inside`), a stack, a
    bundle, or the bag of a freezer load; `id` is its row's.
    """

    kind: str
    id: int


@dataclass(frozen=True, slots=True)
class Stay:
    """A sheet was in a place from one moment until another, which no longer belongs to it; None: it is there still."""

    site: Site
    begins: datetime
    ends: datetime | None


@dataclass(frozen=True, slots=True)
class Bag:
    """A freezer load: its bundles lie in one bag from when it was made until it is opened."""

    load_id: int
    bundles: frozenset[int]
    begins: datetime
    ends: datetime | None


@dataclass(frozen=True, slots=True)
class Shared:
    """Two sheets were in one place together, from when until when; None: they are still."""

    site: Site
    begins: datetime
    ends: datetime | None


def stays_of(places: Sequence[tuple[datetime, Place]], bags: Sequence[Bag] = ()) -> list[Stay]:
    """The stays that a sheet's standing entries make, given in the order in which they happened, each with its place.

    A sheet on a table, or nobody knows where, shares its place with none. Where it goes on lying is one stay.
    """
    found: list[Stay] = []
    for at, (begins, place) in enumerate(places):
        ends = places[at + 1][0] if at + 1 < len(places) else None
        for site in _sites(place):
            found = _grown(found, Stay(site, begins, ends))
    return [*found, *_in_bags(found, bags)]


def clipped(stays: Iterable[Stay], since: datetime, until: datetime | None = None) -> list[Stay]:
    """What of these stays lies after `since` and before `until`."""
    found = (
        Stay(stay.site, max(stay.begins, since), _earlier(stay.ends, until))
        for stay in stays
        if stay.ends is None or stay.ends > since
    )
    return [stay for stay in found if stay.ends is None or stay.begins < stay.ends]


def shared(mine: Mapping[Site, Sequence[Stay]], others: Iterable[Stay]) -> list[Shared]:
    """Where and when a sheet with the stays `others` was together with one whose stays are given by place."""
    found = []
    for other in others:
        for stay in mine.get(other.site, ()):
            begins, ends = max(stay.begins, other.begins), _earlier(stay.ends, other.ends)
            if ends is None or begins < ends:
                found.append(Shared(other.site, begins, ends))
    return sorted(found, key=lambda each: (each.begins, each.site.kind, each.site.id))


def by_site(stays: Iterable[Stay]) -> dict[Site, list[Stay]]:
    """When anything was in each place: stays that overlap, or follow without a gap, are told as one."""
    found: dict[Site, list[Stay]] = {}
    for stay in sorted(stays, key=lambda each: each.begins):
        there = found.setdefault(stay.site, [])
        last = there[-1] if there else None
        if last is not None and (last.ends is None or stay.begins <= last.ends):
            ends = None if last.ends is None or stay.ends is None else max(last.ends, stay.ends)
            there[-1] = Stay(stay.site, last.begins, ends)
        else:
            there.append(stay)
    return found


def _sites(place: Place) -> list[Site]:
    known = (("shelf", place.shelf_id), ("stack", place.stack_id), ("bundle", place.bundle_id), ("inside", place.cabinet_id),
             ("loose", place.cabinet_id if place.shelf_id is None else None))  # fmt: skip
    return [Site(kind, each) for kind, each in known if each is not None]


def _grown(found: list[Stay], stay: Stay) -> list[Stay]:
    """The stays with one more; one that goes on where the same place was left is one stay with it."""
    for at, before in enumerate(found):
        if before.site == stay.site and before.ends == stay.begins:
            return [*found[:at], Stay(stay.site, before.begins, stay.ends), *found[at + 1 :]]
    return [*found, stay]


def _in_bags(stays: Sequence[Stay], bags: Sequence[Bag]) -> list[Stay]:
    return [
        inside
        for bag in bags
        for stay in stays
        if stay.site.kind == "bundle" and stay.site.id in bag.bundles
        for inside in clipped([Stay(Site("load", bag.load_id), stay.begins, stay.ends)], bag.begins, bag.ends)
    ]


def _earlier(one: datetime | None, other: datetime | None) -> datetime | None:
    known = [each for each in (one, other) if each is not None]
    return min(known) if known else None
