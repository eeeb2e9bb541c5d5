"""Months counted back: the same day where the month has one, else its last."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from app.domain.calendar import months_before


@pytest.mark.parametrize(
    ("day", "months", "earlier"),
    [
        ((2026, 11, 25), 12, (2025, 11, 25)),
        ((2026, 3, 31), 1, (2026, 2, 28)),
        ((2024, 2, 29), 12, (2023, 2, 28)),
        ((2024, 3, 31), 1, (2024, 2, 29)),
        ((2026, 1, 15), 1, (2025, 12, 15)),
        ((2026, 12, 1), 12, (2025, 12, 1)),
        ((2026, 5, 31), 120, (2016, 5, 31)),
        ((2026, 5, 31), 0, (2026, 5, 31)),
    ],
)
def test_so_many_months_earlier(day: tuple[int, int, int], months: int, earlier: tuple[int, int, int]) -> None:
    assert months_before(datetime(*day, 9, 30, tzinfo=UTC), months) == datetime(*earlier, 9, 30, tzinfo=UTC)


def test_no_months_before_nought() -> None:
    with pytest.raises(ValueError, match="-1 months"):
        months_before(datetime(2026, 1, 1, tzinfo=UTC), -1)
