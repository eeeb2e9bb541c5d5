"""What came together: how what was said differs from what is here, what became of a sheet, and which are duplicates."""

from __future__ import annotations

import pytest

from app.domain.consigned import Fate, Gathered, difference, fate, gatherings
from app.domain.stages import Stage


@pytest.mark.parametrize(
    ("told", "here", "words"),
    [
        (12, 11, "12 said, 11 here: one missing or miscounted."),
        (12, 14, "12 said, 14 here: 2 more or miscounted."),
        (12, 13, "12 said, 13 here: one more or miscounted."),
        (1200, 900, "1,200 said, 900 here: 300 missing or miscounted."),
        (12, 12, "12 said, 12 here."),
        (0, 0, "0 said, 0 here."),
        (None, 7, ""),
    ],
)
def test_a_difference_is_said_plainly(told: int | None, here: int, words: str) -> None:
    assert difference(told, here) == words


def test_a_count_by_hand_is_said_as_counted() -> None:
    assert difference(3, 2, by="counted") == "3 counted, 2 here: one missing or miscounted."


@pytest.mark.parametrize(
    ("stage", "closed_as", "holds", "on_table", "became"),
    [
        (None, None, (), False, Fate.EXPECTED),
        (Stage.INTAKE, None, (), False, Fate.WAITING),
        (Stage.DRYING, None, ("name-query",), False, Fate.WAITING),
        (Stage.READY, None, (), False, Fate.WAITING),
        (Stage.READY, None, (), True, Fate.AT_WORK),
        (Stage.MOUNTED, None, (), False, Fate.AT_WORK),
        (Stage.UNDER_PRESS, None, (), False, Fate.AT_WORK),
        (Stage.DRY, None, (), False, Fate.AT_WORK),
        (Stage.FILED, None, (), False, Fate.FILED),
        (Stage.READY, None, ("not-found",), False, Fate.LOOKED_FOR),
        (Stage.READY, "sent in exchange to Brannholt", (), False, Fate.SENT),
        (Stage.READY, "Exchange with Brannholt", (), False, Fate.SENT),
        (Stage.DRY, "Destroyed: beetle", (), False, Fate.DESTROYED),
        (Stage.INTAKE, "no label, no use even in exchange", (), False, Fate.NOT_KEPT),
        (Stage.FILED, "not to be kept; H. Brackwater", ("not-found",), False, Fate.NOT_KEPT),
    ],
)
def test_what_became_of_a_sheet(
    stage: Stage | None, closed_as: str | None, holds: tuple[str, ...], on_table: bool, became: Fate
) -> None:
    assert fate(stage, closed_as, holds, on_table=on_table) is became


def test_every_stage_has_its_words() -> None:
    assert all(fate(stage, None, ()) in Fate for stage in Stage)


def ids(found: list[list[Gathered]]) -> list[list[int]]:
    return [[sheet.sheet_id for sheet in mine] for mine in found]


def test_two_specimens_of_one_number_are_duplicates_and_two_sheets_of_one_specimen_are_not() -> None:
    assert ids(gatherings([Gathered(1, "a", "2024-07-01"), Gathered(2, "b", "2024-07-01")])) == [[1, 2]]
    assert gatherings([Gathered(1, 7, "2024-07-01"), Gathered(2, 7, "2024-07-01")]) == []
    assert gatherings([]) == []


def test_a_number_used_on_two_dates_is_two_gatherings() -> None:
    told = [Gathered(1, "a", "2024-07-01"), Gathered(2, "b", "2024-07-02"), Gathered(3, "c", "2024-07-02")]
    assert ids(gatherings(told)) == [[2, 3]]


def test_a_sheet_without_a_date_goes_with_the_only_date_and_alone_with_two() -> None:
    assert ids(gatherings([Gathered(1, "a", ""), Gathered(2, "b", "2024-07-02")])) == [[1, 2]]
    told = [Gathered(1, "a", ""), Gathered(2, "b", "2024-07-02"), Gathered(3, "c", "2024-07-03")]
    assert gatherings(told) == []
