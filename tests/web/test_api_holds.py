"""One hold for many sheets, by script."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.room import Room
from tests.web.api_client import Scripts


@pytest.fixture
def scripts(room: Room, tmp_path: Path) -> Scripts:
    return Scripts(room, tmp_path)


def test_put_and_lifted_and_those_left_out_are_named(scripts: Scripts) -> None:
    room, key = scripts.room, scripts.key("manage")
    one, two = room.sheet_ready(), room.sheet_ready(label=False)
    asked = {"hold": "label-to-come", "numbers": [one, two, "nonsense"], "reason": "the printer is broken"}
    body = scripts.post("/holds", key, **asked).get_json()
    assert body["answer"] == "done" and body["moved"] == [one], body
    assert [each["number"] for each in body["left"]] == [two, "nonsense"]
    body = scripts.post("/holds", key, **{**asked, "numbers": [one, two], "lift": True}).get_json()
    assert set(body["moved"]) == {one, two} and room.row(one)["holds"] == ""


def test_a_key_that_only_scans_may_not(scripts: Scripts) -> None:
    asked = {"hold": "name-query", "numbers": [scripts.room.sheet_ready()], "reason": "which?"}
    assert scripts.post("/holds", scripts.key("scan", at="press"), **asked).status_code == 403
    assert scripts.post("/holds", scripts.key("manage"), hold="nonsense", numbers=["x"], reason="y").status_code == 400
