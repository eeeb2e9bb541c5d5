"""Which pot a sheet was glued from: by place, time and adhesive, and never guessed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.lots import Gluing, Line, Opening, Span, gluings_of, lot_of, spans_of

DAY0 = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
PVA, PASTE = 1, 2


def day(number: float) -> datetime:
    return DAY0 + timedelta(days=number)


def opening(number: int, station: int, adhesive: int, lot: int | None, on: float) -> Opening:
    return Opening(number, station, adhesive, lot, day(on))


def line(number: int, step: str, on: float, station: int | None = 7, **facts: Any) -> Line:
    return Line(number, 1, step, day(on), station, facts)


def glued(adhesive: int | None = PVA, station: int | None = 7, on: float = 1.5, deed: str = "mounted") -> Gluing:
    return Gluing(1, 1, deed, station, day(on), adhesive, adhesive)


def test_a_pot_is_open_until_another_of_its_adhesive_takes_its_place_there() -> None:
    openings = [opening(1, 7, PVA, 10, 0), opening(2, 7, PASTE, 20, 1), opening(3, 7, PVA, 11, 2), opening(4, 8, PVA, 10, 3),
                opening(5, 7, PVA, None, 4)]  # fmt: skip
    assert set(spans_of(openings)) == {
        Span(7, PVA, 10, day(0), day(2)), Span(7, PVA, 11, day(2), day(4)), Span(7, PASTE, 20, day(1), None),
        Span(8, PVA, 10, day(3), None),
    }  # fmt: skip


def test_of_two_scanned_at_one_moment_the_later_scan_holds() -> None:
    assert spans_of([opening(2, 7, PVA, 11, 0), opening(1, 7, PVA, 10, 0)]) == (Span(7, PVA, 11, day(0), None),)


@pytest.mark.parametrize(
    ("gluing", "lot"),
    [
        (glued(), 10),
        (glued(on=2), 11),  # at the very moment at which the next was opened
        (glued(on=-1), None),  # before any was
        (glued(PASTE), 20),
        (glued(PASTE, on=0.5), None),
        (glued(None), None),  # nobody said with what
        (glued(3), None),
        (glued(station=8), None),
        (glued(station=None), None),
        (glued(deed="re-glued"), 10),
        (glued(None, deed="mended"), None),  # two pots stand open there
        (glued(None, deed="mended", on=0.5), 10),
    ],
)
def test_the_lot_is_that_of_the_pot_that_was_open_there_and_then(gluing: Gluing, lot: int | None) -> None:
    spans = spans_of([opening(1, 7, PVA, 10, 0), opening(2, 7, PASTE, 20, 1), opening(3, 7, PVA, 11, 2)])
    assert lot_of(gluing, spans) == lot


@given(st.permutations([(1, 7, PVA, 10, 0), (2, 7, PVA, 11, 2), (3, 7, PVA, None, 4), (4, 7, PASTE, 20, 1)]))
def test_spans_do_not_depend_on_the_order_in_which_openings_were_written(rows: list[Any]) -> None:
    whole = spans_of([opening(*row) for row in rows])
    assert [lot_of(glued(on=on), whole) for on in (0, 1.9, 2, 3.9, 4)] == [10, 10, 11, 11, None]


def test_the_gluings_of_a_sheet_with_their_first_looks() -> None:
    lines = [
        line(1, "mount", 0, sets={"adhesive_id": PVA}),
        line(2, "inspect", 2, 9, looked="to-be-mended"),
        line(3, "inspect", 3, 9, looked="passed"),  # a second look says nothing of the gluing
        line(4, "re-glue", 4, 9, sets={"adhesive_id": PASTE}, looked="re-glued"),
        line(5, "inspect", 6, 9, sealed=True),  # the seal alone is no look
        line(6, "inspect", 7, 9, looked="mended-here"),
        line(7, "back-to-table", 8, 9, looked="back-to-table"),
        line(8, "mount", 9, sets={"adhesive_id": PVA}),
    ]
    told = [(each.entry_id, each.deed, each.looked, each.glued_again) for each in gluings_of(reversed(lines))]
    assert told == [(1, "mounted", "to-be-mended", True), (4, "re-glued", "mended-here", False), (6, "mended", "", False),
                    (8, "mounted", "", False)]  # fmt: skip


def test_an_adhesive_put_right_is_that_of_the_gluing_before() -> None:
    lines = [line(1, "mount", 0, sets={"adhesive_id": PVA}), line(2, "inspect", 1, looked="mended-here"),
             line(3, "restate", 2, sets={"adhesive_id": PASTE}), line(4, "restate", 3, sets={"bulk": "bulky"}),
             line(5, "re-glue", 4, sets={"adhesive_id": PVA}), line(6, "restate", 5, sets={"adhesive_id": None})]  # fmt: skip
    told = [(each.entry_id, each.named_id, each.adhesive_id) for each in gluings_of(lines)]
    assert told == [(1, PVA, PASTE), (2, None, None), (5, PVA, None)]
