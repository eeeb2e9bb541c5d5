"""Entries of the log as sentences: each kind of deed said the way one colleague tells another."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from app.domain.stages import Step
from app.domain.words import dated
from app.queries.sentences import sentence
from app.queries.telling import Hands, Telling
from tests.room import TQX

LONDON = ZoneInfo("Europe/London")
NOW = datetime(2026, 11, 25, 14, 6, tzinfo=UTC)
TELLING = Telling(LONDON, NOW, (TQX,))
OLWEN = Hands(("Olwen Tarrant",))


def _entry(step: Step, **more: Any) -> Any:
    plain = {"happened_at": NOW, "recorded_at": NOW, "is_late": False, "after_the_fact": False, "reason": None, "facts": {},
             "station": None, "cabinet": None, "shelf": None, "bundle": None, "stack": None, "from_stack": None,
             "early_by_s": None, "minimum_s": None}  # fmt: skip
    return SimpleNamespace(**{**plain, "step": step.value, **more})


def _said(step: Step, hands: Hands = OLWEN, **more: Any) -> str:
    return sentence(_entry(step, **more), hands, TELLING).removeprefix("Wed 25 Nov 14:06 — ")


@pytest.mark.parametrize(
    ("step", "more", "words"),
    [
        (Step.FILE, {"cabinet": "F1", "shelf": "3", "station": "Filing"}, "filed by Olwen Tarrant at Filing, in F1, shelf 3."),
        (Step.PUT_BACK, {"cabinet": "M1", "shelf": "2"}, "put back in M1, shelf 2 by Olwen Tarrant."),
        (Step.SHELVE, {"cabinet": "M1"}, "put in M1 by Olwen Tarrant."),
        (Step.LAY_TO_DRY, {"bundle": "Press 7"}, "laid to dry by Olwen Tarrant, to Press 7."),
        (Step.PAPERS_CHANGED, {"bundle": "Press 7"}, "papers changed by Olwen Tarrant."),
        (Step.INSPECT, {"facts": {"sets": {"outcome": "to-be-mended"}}}, "inspected: to be mended, by Olwen Tarrant."),
        (Step.FOUND_OUT, {"from_stack": "P1"}, "found out of P1 without a release by Olwen Tarrant."),
        (Step.ANOTHER_SHEET, {"facts": {"of": "TQX000001N"}}, "made as another sheet of TQX 000001·N by Olwen Tarrant."),
        (Step.GOES_UNMOUNTED, {"facts": {"sets": {"unmounted": "box"}}}, "kept unmounted as a box by Olwen Tarrant."),
        (Step.LIFT_HOLD, {"facts": {"lifts": ["label-query"]}}, "hold lifted, label query, by Olwen Tarrant."),
        (Step.PUT_HOLD, {"facts": {"holds": ["name-query"]}, "reason": "which mint?"},
         "held for name query by Olwen Tarrant: which mint?"),
        (Step.WITHDRAW, {"reason": "sent in exchange"}, "withdrawn by Olwen Tarrant: sent in exchange."),
        (Step.RE_GLUE, {}, "re-glued by Olwen Tarrant."),
        (Step.PASS_AS_DRY, {"facts": {"early_to_feel": True}},
         "passed as dry by Olwen Tarrant. Earlier than is usual for the way it was dried."),
        (Step.TAKE_UP, {"facts": {"read_with_help": True}}, "taken up by Olwen Tarrant. Read with help."),
    ],
)  # fmt: skip
def test_each_deed_has_its_own_words(step: Step, more: dict[str, Any], words: str) -> None:
    assert _said(step, **more) == words


def test_two_who_worked_together_are_both_named_and_so_is_whoever_taught() -> None:
    assert (
        _said(Step.MOUNT, Hands(("Olwen Tarrant", "Piet Lindqvist"))) == "mounted by Olwen Tarrant and Piet Lindqvist."
    )
    taught = Hands(("Piet Lindqvist",), ("Rosamund Ashgill",))
    assert _said(Step.MOUNT, taught) == "mounted by Piet Lindqvist, with Rosamund Ashgill beside."


def test_without_names_the_sentence_is_still_one() -> None:
    assert _said(Step.INSPECT, Hands(), facts={"sets": {"outcome": "passed"}}) == "inspected: passed."
    assert _said(Step.TAKE_UP, Hands(), station="Mounting table 1") == "taken up at Mounting table 1."


def test_what_a_station_sent_later_says_when_it_was_recorded() -> None:
    assert _said(Step.MOUNT, recorded_at=NOW + timedelta(minutes=2)) == "mounted by Olwen Tarrant."
    late = _said(Step.MOUNT, recorded_at=NOW + timedelta(minutes=2, seconds=1))
    assert late == "mounted by Olwen Tarrant. Recorded Wed 25 Nov 14:08."


def test_credit_that_was_put_right_says_so() -> None:
    assert _said(Step.MOUNT, facts={"credits": 7}).endswith("Credited anew; it had been written for somebody else.")


def test_the_hour_that_comes_twice_says_which_it_was() -> None:
    # Europe/London, 25 October 2026: the clocks go back from 2:00 to 1:00 at 1:00 UTC.
    first, second = datetime(2026, 10, 25, 0, 30, tzinfo=UTC), datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
    assert [dated(each, LONDON, NOW) for each in (first, second)] == ["Sun 25 Oct 01:30 BST", "Sun 25 Oct 01:30 GMT"]


def test_another_year_is_said() -> None:
    assert dated(datetime(2025, 11, 25, 14, 6, tzinfo=UTC), LONDON, NOW) == "Tue 25 Nov 2025 14:06"
