"""The list of findings, and a mark as it is sent and kept."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.findings import (
    FINDINGS,
    MOST_MARKS,
    Mark,
    found_lines,
    kind_words,
    kinds_for,
    mark_of,
    marks_of,
    place_of,
)
from app.domain.house import House
from app.domain.sheet_drawing import size_of, zones


def test_every_finding_of_the_rooms_list_is_there() -> None:
    said = {row.words for row in FINDINGS.values()}
    assert {"loose part", "over the edge", "label wrong", "label missing", "label crooked", "packet missing", "packet upside down",
            "two packets folded as one", "seal corner covered", "flower or fruit hidden", "only one leaf face shown",
            "too much adhesive", "stuck to its release paper", "mould or pest", "number does not match"} <= said  # fmt: skip


def test_every_zone_that_a_kind_names_is_on_the_drawing_and_has_kinds() -> None:
    drawn = {zone.name for zone in zones(size_of(House()))} | {"edge"}
    assert {zone for row in FINDINGS.values() for zone in row.zones} == drawn


@pytest.mark.parametrize(
    ("text", "mark"),
    [
        ("loose-part", Mark("loose-part")),
        ("loose-part@512,430", Mark("loose-part", 512, 430)),
        ("loose-part@0,1000 the lowest  leaf ", Mark("loose-part", 0, 1000, "the lowest leaf")),
        (" other it smells@home ", Mark("other", note="it smells@home")),
    ],
)
def test_a_mark_is_read_off_its_text(text: str, mark: Mark) -> None:
    assert mark_of(text) == mark


@pytest.mark.parametrize(
    "text", ["", "loose", "loose-part@", "loose-part@1001,3", "loose-part@5", "Loose-part", "loose-part@-1,2"]
)
def test_what_is_no_mark_is_refused_with_a_sentence(text: str) -> None:
    with pytest.raises(ValueError, match="^There is no finding called |is no place on the sheet"):
        mark_of(text)


places = st.none() | st.tuples(st.integers(0, 1000), st.integers(0, 1000))


@given(st.sampled_from(sorted(FINDINGS)), places, st.text(st.characters(categories=["L", "N", "P"]), max_size=60))
def test_a_mark_kept_is_the_mark_read_again(kind: str, place: tuple[int, int] | None, note: str) -> None:
    mark = Mark(kind, *(place or (None, None)), note=note)
    assert mark_of(mark.text) == mark


def test_marks_come_once_each_and_no_more_than_a_look_may_have() -> None:
    assert marks_of(["other", " ", "other", "loose-part"]) == (Mark("other"), Mark("loose-part"))
    with pytest.raises(ValueError, match=f"^{MOST_MARKS + 1} findings are too many"):
        marks_of([f"other note {place}" for place in range(MOST_MARKS + 1)])


def test_the_kinds_of_a_zone_come_first_and_no_kind_is_lost() -> None:
    here, others = kinds_for("label")
    assert "label-crooked" in here and "packet-missing" not in here
    assert sorted((*here, *others)) == sorted(FINDINGS)
    assert kinds_for("") == ((), tuple(FINDINGS))


def test_what_an_entry_kept_is_one_sentence() -> None:
    assert found_lines(["loose-part@1,2 the lowest leaf", "label-crooked"]) == [
        "Found: loose part (the lowest leaf), label crooked."
    ]
    assert found_lines([]) == []
    assert kind_words("a-kind-of-old") == "a kind of old"
    assert place_of("12,34") == (12, 34) and place_of("1001,0") is None and place_of("a") is None
