"""What holds for every page: a title, one heading, ids that are there once, labels for fields, and no style or script inside."""

from __future__ import annotations

import re
from collections import Counter
from html.parser import HTMLParser

import pytest
from flask import Flask

from app.db.engine import transaction
from app.domain.stages import Step
from app.services.room import add_consignment
from tests.room import Room
from tests.web.conftest import ClientAs, send
from tests.web.test_roles import addresses

FIELDS = ("input", "select", "textarea")


class Reading(HTMLParser):
    """The marks of one page that these tests ask about."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.fields: list[str] = []
        self.labelled: set[str] = set()
        self.pointed_at: set[str] = set()
        self.headings: list[int] = []
        self.inline: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = {name: value or "" for name, value in attrs}
        self.ids += [has["id"]] if "id" in has else []
        if tag in FIELDS and has.get("type") != "hidden":
            self.fields.append(has.get("id", ""))
        if tag == "label":
            self.labelled.add(has.get("for", ""))
        for name in ("aria-labelledby", "aria-describedby"):
            self.pointed_at |= set(has.get(name, "").split())
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        self.inline += [f"<{tag} {name}>" for name in has if name == "style" or name.startswith("on")]
        if tag == "style" or (tag == "script" and "src" not in has):
            self.inline.append(f"<{tag}>")


@pytest.fixture
def pages(app: Flask, room: Room, client_as: ClientAs) -> dict[str, str]:
    """Every page that the manager can open, in a room where something of each kind is going on."""
    number = room.sheet_in("P1")
    expect_a_consignment(room)
    room.scans(number, step=Step.PUT_HOLD, who="hedda", reason="to look at", facts={"hold": "name-query"})
    room.weights("on", "P1")
    room.sheet_mounted("table-2")
    room.wait(hours=30)
    browser = client_as("manager")
    found = {}
    for _, method, address in addresses(app, room, number):
        answer = browser.get(address) if method == "GET" else None
        if answer is not None and answer.status_code == 200 and answer.data.lstrip().startswith(b"<!doctype html>"):
            found[address] = answer.text
        if answer is not None:
            answer.close()
    assert len(found) >= 14, sorted(found)
    return found


def test_every_page_has_a_title_of_its_own_and_one_main_heading(pages: dict[str, str]) -> None:
    titles = {address: re.findall(r"<title>(.*?) · Blotter</title>", text) for address, text in pages.items()}
    assert all(len(title) == 1 and title[0].strip() for title in titles.values()), titles
    for address, text in pages.items():
        assert Reading(text).headings.count(1) == 1, address


def test_headings_never_skip_a_level(pages: dict[str, str]) -> None:
    for address, text in pages.items():
        levels = Reading(text).headings
        assert all(after <= before + 1 for before, after in zip(levels, levels[1:], strict=False)), (address, levels)


# HTML (WHATWG), 3.2.6: an id is unique in its tree; WCAG 2.2, 1.3.1 and 4.1.2: fields have names.
def test_every_id_is_there_once_and_whatever_is_pointed_at_is_there(pages: dict[str, str]) -> None:
    for address, text in pages.items():
        page = Reading(text)
        assert not [each for each, times in Counter(page.ids).items() if times > 1], address
        assert page.pointed_at <= set(page.ids), (address, page.pointed_at - set(page.ids))


def test_every_field_has_a_label(pages: dict[str, str]) -> None:
    for address, text in pages.items():
        page = Reading(text)
        assert not [each for each in page.fields if each not in page.labelled], address


def test_no_page_carries_a_style_or_a_script_of_its_own(pages: dict[str, str]) -> None:
    for address, text in pages.items():
        assert not Reading(text).inline, address


def test_every_form_that_writes_carries_the_token(pages: dict[str, str]) -> None:
    forms = [(address, form) for address, text in pages.items()
             for form in re.findall(r'<form[^>]*method="post".*?</form>', text, re.S | re.I)]  # fmt: skip
    assert len({address for address, _ in forms}) >= 10
    for address, form in forms:
        assert 'name="csrf_token"' in form, (address, form[:120])


def test_a_mistake_leaves_the_page_whole(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("manager")
    expect_a_consignment(room)
    for path, form in ((f"/sheets/{number}/hold", {"hold": ""}), (f"/sheets/{number}/late", {}), ("/people", {}), ("/intake", {}),
                       ("/room", {"what": "cabinet"}), ("/room/rules/run_sheets", {}), ("/people/tokens", {})):  # fmt: skip
        answer = send(browser, path, **form)
        page = Reading(answer.text)
        assert answer.status_code == 422 and "field-error" in answer.text, path
        assert max(Counter(page.ids).values()) == 1 and page.pointed_at <= set(page.ids), path


def expect_a_consignment(room: Room) -> None:
    with transaction(room.database) as session:
        add_consignment(session, "QF", "Quillmoor Fells survey", kind="exchange")
