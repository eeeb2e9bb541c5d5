"""Random people do random things at all doors of a room, and a small model of the design says beforehand what each is answered.

Where the two differ, one of them is wrong; what the model says is written from the design, and calls nothing of the program.
`python -m tests.machine --histories 300 --deeds 200` looks for longer, and never the same way twice.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

from tests.databases import Rooms
from tests.machine.machine import IN_ALL, work
from tests.machine.plain import work_plainly

IS_LONG = settings().max_examples > 100
HISTORIES, DEEDS = (settings().max_examples // 20, 200) if IS_LONG else (8, 60)


def test_whatever_is_done_by_whomever_is_answered_as_the_model_says(
    rooms: Rooms, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BLOTTER_ZONE", "Europe/London")
    print(work(rooms, tmp_path, HISTORIES, DEEDS))
    # The comparison is worth nothing if nothing is ever written, or nothing ever refused.
    assert all(IN_ALL[kind] >= 2 * HISTORIES for kind in ("done", "not-yet", "stop", "which-one")), IN_ALL


def test_drawn_by_plain_chance_the_room_and_the_model_agree_too(
    rooms: Rooms, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BLOTTER_ZONE", "Europe/London")
    said = work_plainly(rooms, tmp_path, 3, 80, seed=1)
    assert "of which 0 differed" in said, said
