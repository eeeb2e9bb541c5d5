"""How the board and the stacks are drawn: lengths that add up, and the same facts in words."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import update

from app.db.engine import transaction
from app.db.models import Stack
from app.queries.board import CabinetLine, StackLine
from app.queries.board_stages import Ages
from app.services.room import add_stack
from app.web.drawing import age_segments, age_words, place, small_stack
from tests.room import Room
from tests.web.conftest import ClientAs

counts = st.integers(0, 5000)


@given(counts, counts, counts, counts)
def test_the_parts_of_a_bar_of_ages_fill_it_exactly(fresh: int, fair: int, old: int, stalled: int) -> None:
    segments = age_segments(Ages(fresh, fair, old, stalled))
    total = fresh + fair + old + stalled
    assert sum(share for share, _ in segments) == pytest.approx(1 if total else 0)
    assert [kind for _, kind in segments] == [
        kind
        for count, kind in zip((fresh, fair, old, stalled), ("fresh", "fair", "old", "stalled"), strict=True)
        if count
    ]


def test_a_bar_of_ages_says_the_same_in_words() -> None:
    words = age_words(Ages(1200, 0, 3, 41), "60 open days")
    assert words == "Age: 1,200 in their first third, 3 in their last third, 41 over the limit. Limit: 60 open days."
    assert age_words(None, "") == age_words(Ages(0, 0, 0, 0), "1 hour") == "Nothing waits."


def cabinet(count: int, stalled: int, capacity: int | None = 480) -> CabinetLine:
    return CabinetLine(
        1, "M1", "ready-for-mounting", "Ready for mounting", count, None, "", capacity, stalled, 0, False
    )


@pytest.mark.parametrize(
    ("count", "stalled", "shown", "segments"),
    [
        (0, 0, "0 of 480", ()),
        (4, 0, "4 of 480", ((1.0, "fresh"),)),
        (4, 1, "4 of 480", ((0.75, "fresh"), (0.25, "stalled"))),
        (4, 4, "4 of 480", ((1.0, "stalled"),)),
    ],
)
def test_a_place_draws_apart_what_waits_too_long(
    count: int, stalled: int, shown: str, segments: tuple[object, ...]
) -> None:
    drawn = place(cabinet(count, stalled), "/cabinets/M1")
    assert (drawn.count_shown, drawn.segments) == (shown, segments)
    assert (("1 stalled", "stalled") in drawn.lines) is (stalled == 1)


def test_a_place_without_a_limit_shows_only_its_count() -> None:
    assert place(cabinet(1104, 0, None), "/cabinets/M1").count_shown == "1,104"


def stack(states: tuple[str, ...], words: str, bad: bool = False) -> StackLine:
    return StackLine("P1", len(states), 20, not bad, None, 0, None, words, bad, states)


def test_a_stack_is_drawn_from_the_bottom_with_its_count_and_words() -> None:
    drawn = small_stack(stack(("ready", "not-yet"), "1 now, last Friday 10:30"), "/press/P1", "")
    assert [(layer.layer, layer.state) for layer in drawn.layers] == [(1, "ready"), (2, "not-yet")]
    assert (drawn.summary, drawn.tone) == ("2 sheets. 1 now, last Friday 10:30.", "")


def test_a_stack_with_a_warning_says_it_once() -> None:
    drawn = small_stack(
        stack(("waiting",), "Weights are not on yet", bad=True), "/press/P1", "The weights are not on yet"
    )
    assert (drawn.summary, drawn.warning, drawn.tone) == ("1 sheet.", "The weights are not on yet", "stalled")


def test_an_empty_stack_is_said_to_be_empty() -> None:
    assert small_stack(stack((), ""), "/press/P1", "").summary == "Empty."


def test_a_stack_in_small_carries_as_many_weights_as_it_has(room: Room, client_as: ClientAs) -> None:
    with transaction(room.database) as session:
        stack_id = add_stack(session, "P9", room.now, mass_kg=6.0, pieces=2)
        session.execute(update(Stack).where(Stack.id == stack_id).values(weights_on=True))
    found = re.search(
        r"<title>P9, weights on</title>.*?</svg>\s*</figure>", client_as("manager").get("/board").text, re.S
    )
    assert found and found[0].count('class="weight"') == 2
