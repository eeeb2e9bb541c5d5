"""Stays in places and who shared them, at the moments where one begins and another ends."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from app.domain.neighbours import Bag, Shared, Site, Stay, by_site, clipped, shared, stays_of
from app.domain.sheet import NOWHERE, Place

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
SHELF, OTHER, STACK, TRAY = Place(1, 2), Place(1, 3), Place(stack_id=4), Place(bundle_id=5)


def at(hours: float) -> datetime:
    return NOON + timedelta(hours=hours)


def kinds(stays: list[Stay]) -> list[tuple[str, int]]:
    return [(stay.site.kind, stay.site.id) for stay in stays if stay.site.kind != "inside"]


def test_each_place_is_a_stay_until_the_next_entry_and_the_last_goes_on() -> None:
    found = stays_of([(at(0), SHELF), (at(1), Place(table_id=9)), (at(2), STACK), (at(3), NOWHERE)])
    assert kinds(found) == [("shelf", 2), ("stack", 4)]
    assert (found[0].begins, found[0].ends) == (at(0), at(1)) and found[-1].ends == at(3)
    assert stays_of([(at(0), SHELF)])[0].ends is None


def test_an_entry_that_moves_nothing_goes_on_with_the_stay() -> None:
    found = [
        stay for stay in stays_of([(at(0), SHELF), (at(1), SHELF), (at(2), OTHER)]) if stay.site == Site("shelf", 2)
    ]
    assert found == [Stay(Site("shelf", 2), at(0), at(2))]


def test_in_a_cabinet_on_no_shelf_is_a_place_of_its_own() -> None:
    assert kinds(stays_of([(at(0), Place(7))])) == [("loose", 7)]
    assert Site("inside", 1) in by_site(stays_of([(at(0), SHELF)]))


def test_one_that_comes_as_the_other_goes_has_shared_nothing() -> None:
    mine = by_site([Stay(Site("shelf", 2), at(0), at(2))])
    for begins, ends, met in ((-2, 0, False), (-2, 0.01, True), (1.99, None, True), (2, None, False), (-1, None, True)):
        other = Stay(Site("shelf", 2), at(begins), None if ends is None else at(ends))
        assert bool(shared(mine, [other])) is met, (begins, ends)
    assert shared(mine, [Stay(Site("shelf", 3), at(0), None)]) == []


def test_what_was_shared_is_told_from_when_until_when() -> None:
    mine = by_site([Stay(Site("stack", 4), at(0), None)])
    assert shared(mine, [Stay(Site("stack", 4), at(-3), None)]) == [Shared(Site("stack", 4), at(0), None)]
    assert shared(mine, [Stay(Site("stack", 4), at(1), at(2))]) == [Shared(Site("stack", 4), at(1), at(2))]


def test_only_what_lies_between_the_two_moments_counts() -> None:
    stays = [Stay(Site("shelf", 2), at(0), at(2)), Stay(Site("shelf", 3), at(2), None)]
    assert clipped(stays, at(2)) == [Stay(Site("shelf", 3), at(2), None)]
    assert clipped(stays, at(1), at(2)) == [Stay(Site("shelf", 2), at(1), at(2))]
    assert clipped(stays, at(3), at(5)) == [Stay(Site("shelf", 3), at(3), at(5))]


def test_two_tied_bundles_in_one_bag_share_it_while_it_is_closed() -> None:
    bag = Bag(8, frozenset({5, 6}), at(1), at(3))
    one = stays_of([(at(0), TRAY)], [bag])
    assert Stay(Site("load", 8), at(1), at(3)) in one
    other = stays_of([(at(0), Place(bundle_id=6)), (at(2), NOWHERE)], [bag])
    assert [(each.site.kind, each.ends) for each in shared(by_site(one), other)] == [("load", at(2))]
    assert not shared(by_site(one), stays_of([(at(4), Place(bundle_id=6))], [bag]))


def test_stays_of_many_in_one_place_are_told_as_one_where_they_overlap() -> None:
    site = Site("shelf", 2)
    given = [Stay(site, at(5), at(6)), Stay(site, at(0), at(2)), Stay(site, at(1), at(3)), Stay(site, at(3), at(4)), Stay(site, at(8), None),
             Stay(site, at(9), at(10))]  # fmt: skip
    assert by_site(given) == {site: [Stay(site, at(0), at(4)), Stay(site, at(5), at(6)), Stay(site, at(8), None)]}
