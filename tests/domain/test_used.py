"""What a sheet is mounted with: what was said, else what the table takes, and nothing that nobody knows."""

from __future__ import annotations

import pytest

from app.domain.used import TAKES, USES, checked_uses, used_of, used_words


def test_what_is_said_of_a_sheet_comes_before_what_its_table_takes() -> None:
    table = {"packet": "small", "straps": "none"}
    assert used_of({}, table) == table
    assert used_of({"packet": "large", "adhesive": "pva"}, table) == {"packet": "large", "straps": "none"}
    assert used_of({"packet": "enormous"}, table) == table
    assert used_of({"straps": "thread"}, {}) == {"straps": "thread"} and used_of({}, {}) == {}


def test_it_is_said_in_words() -> None:
    assert used_words({"packet": "none", "straps": "both"}) == "no packet, straps and thread"
    assert used_words({"straps": "thread"}) == "thread" and used_words({}) == ""


def test_a_table_takes_only_what_there_is() -> None:
    assert checked_uses({"packet": "none"}) == {"packet": "none"}
    for wrong in ({"packet": "huge"}, {"cutlery": "small"}):
        with pytest.raises(ValueError, match="Load the page again"):
            checked_uses(wrong)


def test_straps_and_thread_take_one_of_each_and_none_takes_nothing() -> None:
    assert TAKES["straps"]["both"] == ("straps", "thread")
    for kind, known in USES.items():
        assert set(known) - set(TAKES[kind]) == {"none"}
        assert {what for takes in TAKES[kind].values() for what in takes} <= set(known)
