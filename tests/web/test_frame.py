"""The frame of every page: each room of the program leads to the pages that belong to it, and nobody is led to a closed door."""

from __future__ import annotations

import re

import pytest
from flask import Flask

from app.web.frame import ROOMS
from app.web.permissions import PERMISSIONS
from tests.web.conftest import ClientAs
from tests.web.test_roles import COUNTS_AS

LISTED = [endpoint for _, pages in ROOMS for _, endpoint in pages]
_NAV = re.compile(r'<nav[^>]*aria-label="([^"]+)"[^>]*>(.*?)</nav>', re.DOTALL)
_LINK = re.compile(r'<a href="([^"]+)"( aria-current="page")?>([^<]+)</a>')


def links(page: str) -> dict[str, list[tuple[str, bool, str]]]:
    """The links of each way on a page: where to, whether one is there, and what it is called."""
    return {
        name: [(href, bool(here), label) for href, here, label in _LINK.findall(body)]
        for name, body in _NAV.findall(page)
    }


def test_no_page_is_listed_twice_and_each_is_there(app: Flask) -> None:
    assert len(LISTED) == len(set(LISTED))
    assert set(LISTED) <= set(PERMISSIONS)
    endpoints = {
        rule.endpoint for rule in app.url_map.iter_rules() if "GET" in (rule.methods or ()) and not rule.arguments
    }
    assert set(LISTED) <= endpoints


@pytest.mark.parametrize("role", ["reader", "volunteer", "trainer", "manager"])
def test_everybody_is_led_to_what_they_may_open_and_to_nothing_else(app: Flask, client_as: ClientAs, role: str) -> None:
    browser = client_as(role)
    for label, pages in ROOMS:
        with app.test_request_context():
            may = [app.url_for(endpoint) for _, endpoint in pages if COUNTS_AS[role] & PERMISSIONS[endpoint]]
        for path in may[:1]:
            found = links(browser.get(path, follow_redirects=True).get_data(as_text=True))
            assert [text for _, here, text in found["Pages"] if here] == [label]
            around = found.get("Pages of this room", [])
            assert [href for href, _, _ in around] == (may if len(may) > 1 else [])
            for href, _, text in around:
                opened = links(browser.get(href).get_data(as_text=True)).get("Pages of this room")
                # The wall has no ways at all.
                assert opened is None or [each for _, here, each in opened if here] == [text]


def test_a_page_of_one_thing_belongs_to_the_room_of_its_kind(client_as: ClientAs) -> None:
    found = links(client_as("manager").get("/weeks/2026-W48").get_data(as_text=True))
    assert [text for _, here, text in found["Pages"] if here] == ["Week"]
    assert [text for _, here, text in found["Pages of this room"] if here] == ["Week"]
