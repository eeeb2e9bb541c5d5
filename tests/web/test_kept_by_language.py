"""What is drawn once and kept for all viewers is kept for each language: nobody reads what was said to somebody else."""

from __future__ import annotations

import pytest
from flask import Flask

from app.domain.language import ENGLISH
from app.web import languages
from tests.room import Room
from tests.web.conftest import ClientAs
from tests.web.left_unsaid import MARKED


@pytest.fixture
def two_languages(app: Flask, monkeypatch: pytest.MonkeyPatch) -> Flask:
    """A room that speaks English, and to who prefers Dutch the marked language."""
    monkeypatch.setattr(languages, "available", lambda: {"en": "English", "nl": "Marked"})
    monkeypatch.setattr(languages, "language_of", {"nl": MARKED, "en": ENGLISH}.get)
    return app


@pytest.mark.parametrize("path", ["/board", "/wall", "/press"])
def test_each_reads_their_own_language_however_they_take_turns(
    two_languages: Flask, client_as: ClientAs, room: Room, path: str
) -> None:
    room.sheet_in("P3")
    room.weights("off", "P3")
    room.wait(days=90)
    manager = client_as("manager")
    for _ in range(2):
        english = manager.get(path, headers={"Accept-Language": "en"}).get_data(as_text=True)
        marked = manager.get(path, headers={"Accept-Language": "nl"}).get_data(as_text=True)
        assert ">Press room<" in english and "⟦" not in english
        assert ">⟦Press room⟧<" in marked and ">Press room<" not in marked


def test_what_waits_too_long_is_read_once_for_each_language(
    two_languages: Flask, client_as: ClientAs, room: Room
) -> None:
    for _ in range(5):
        room.sheet_ready()
    room.wait(days=200)
    manager = client_as("manager")
    english = manager.get("/board", headers={"Accept-Language": "en"}).get_data(as_text=True)
    marked = manager.get("/board", headers={"Accept-Language": "nl"}).get_data(as_text=True)
    again = manager.get("/board", headers={"Accept-Language": "en"}).get_data(as_text=True)
    told = "5 sheets wait for mounting too long"
    assert told in english and told not in marked and told in again
    assert "⟦wait for mounting too long⟧" in marked


def test_a_part_that_is_asked_for_again_comes_in_the_language_of_who_asks(
    two_languages: Flask, client_as: ClientAs, room: Room
) -> None:
    room.sheet_in("P3")
    manager = client_as("manager")
    english = manager.get("/press?shown=", headers={"Accept-Language": "en"}).get_data(as_text=True)
    marked = manager.get("/press?shown=", headers={"Accept-Language": "nl"}).get_data(as_text=True)
    assert "Where to lay the next sheet" in english and "⟦" not in english
    assert "⟦Where to lay the next sheet⟧" in marked
