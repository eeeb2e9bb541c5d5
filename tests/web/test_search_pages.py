"""Searching by hand, and the suggestions while somebody types."""

from __future__ import annotations

import pytest

from tests.room import Room
from tests.web.conftest import ClientAs, words
from tests.web.test_sheet_page import listed


@pytest.mark.parametrize("written", ["{0}", "{0:.3} {1}", "  {0} "])
def test_one_whole_number_leads_straight_to_its_sheet(room: Room, client_as: ClientAs, written: str) -> None:
    number = room.sheet_ready()
    answer = client_as("reader").get("/search", query_string={"q": written.format(number, number[3:])})
    assert answer.status_code == 302 and answer.location == f"/sheets/{number}"


def test_a_plant_a_collector_and_a_field_number_find_the_sheet(room: Room, client_as: ClientAs) -> None:
    number = listed(room)
    for q in ("geranium", "sylvat", "Fennimore 118", "118", "QF"):
        answer = client_as("reader").get("/search", query_string={"q": q})
        if q != "sylvat":
            assert answer.status_code == 200 and f'href="/sheets/{number}"' in answer.text, q


def test_suggestions_are_a_list_of_links_and_no_page(room: Room, client_as: ClientAs) -> None:
    number = listed(room)
    answer = client_as("reader").get("/search/suggest?q=geran", headers={"HX-Request": "true"})
    assert answer.text.startswith(f'<ul><li><a href="/sheets/{number}">') and "<html" not in answer.text


def test_nothing_found_says_so_and_nothing_typed_says_nothing(client_as: ClientAs) -> None:
    browser = client_as("reader")
    assert browser.get("/search/suggest?q=zzzz").text.strip() == "<p>Nothing found.</p>"
    assert browser.get("/search/suggest?q=").text.strip() == ""
    assert "Nothing here is like that." in words(browser.get("/search?q=zzzz"))
    assert "Type a sheet's number" in words(browser.get("/search"))


@pytest.mark.parametrize("q", ["<script>alert(1)</script>", '"><img src=x>', "%", "\x00", "x" * 5000, "' OR 1=1 --"])
def test_whatever_is_typed_is_shown_and_never_run(room: Room, client_as: ClientAs, q: str) -> None:
    room.sheet_ready()
    for path in ("/search", "/search/suggest", "/sheets"):
        answer = client_as("reader").get(path, query_string={"q": q})
        assert answer.status_code in (200, 422) and "<script>alert" not in answer.text and "<img" not in answer.text
