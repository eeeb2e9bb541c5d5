"""The page that says when it will be done."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from sqlalchemy import insert

from app.db.engine import transaction
from app.db.models import TallyDay, table_of
from app.domain.stages import Step
from app.queries.forecast import Forecast, StageAhead, StageForecast
from app.web.ahead import time_line
from tests.room import Room
from tests.web.conftest import ClientAs, words

WEDNESDAY = date(2026, 11, 25)


@pytest.fixture
def busy(room: Room) -> Room:
    """Three weeks on, with three sheets that may be taken up, one that is held, and one mounted on every second day."""
    for _ in range(3):
        room.sheet_ready()
    room.sheet_ready(label=False)
    days = [WEDNESDAY + timedelta(days=number) for number in range(0, 20, 2)]
    rows = [
        {"day": day, "worker_id": room.worker["olwen"], "step": Step.MOUNT.value, "sheets": 1, "credit_60": 60}
        for day in days
    ]
    with transaction(room.database) as session:
        session.execute(insert(table_of(TallyDay)), rows)
    room.wait(weeks=3)
    return room


def test_whoever_reads_sees_the_dates_what_they_rest_on_and_what_is_assumed(busy: Room, client_as: ClientAs) -> None:
    answer = client_as("reader").get("/ahead")
    said = words(answer)
    assert answer.status_code == 200 and "When will it be done" in said
    assert "Ready for mounting holds the others back: its 3 sheets are done last, with an even chance by" in said
    assert "the last 15 open days, 25 Nov to 15 Dec" in said
    assert re.search(r"Ready for mounting done last 4 3 0\.7 \d+ Dec 2026 \d+ Dec 2026 \d+ Dec 2026", said)
    assert "Dry 0 0 0.0 nothing waits" in said
    assert (
        "It rests on the last 15 open days, 25 Nov to 15 Dec, 0.7 sheets a day on average, 6 days without any." in said
    )
    assert "first in, first out" in said


def test_the_dates_are_in_the_page_as_dates(busy: Room, client_as: ClientAs) -> None:
    # What was mounted on Saturdays and Sundays counts on Mondays: of fifteen open days six without any, eight with one
    # sheet, one with two. Three are done within three days with 1035/3375, within four with 27729/50625 (by hand), and
    # the fourth open day after Wednesday 16 December is the 22nd.
    shown = re.findall(r'<time datetime="(\d{4}-\d\d-\d\d)">', client_as("reader").get("/ahead").text)
    assert shown[0] == "2026-12-22" and shown[:3] == sorted(shown[:3])


def test_every_line_of_the_time_line_has_its_dates_in_words(busy: Room, client_as: ClientAs) -> None:
    text = client_as("reader").get("/ahead").text
    figure = re.search(r"<figure>.*?</figure>", text, re.S)
    assert figure is not None
    assert "even chance by" in figure.group() and 'aria-hidden="true"' in figure.group()


def test_one_more_worker_is_shown_for_the_stage_that_is_asked_for(busy: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    assert "One worker did 1.0 sheets a day here on average, on 10 days of single workers." in words(
        browser.get("/ahead")
    )
    answer = browser.get("/ahead?stage=ready-for-mounting")
    assert answer.status_code == 200 and "As it is With one more Even chance" in words(answer)
    assert "With one more" not in words(browser.get("/ahead?stage=dry"))


@pytest.mark.parametrize("stage", ["attic", "filed", "<b>"])
def test_a_stage_that_is_not_there_is_said_and_the_page_still_stands(
    busy: Room, client_as: ClientAs, stage: str
) -> None:
    answer = client_as("reader").get("/ahead", query_string={"stage": stage})
    assert answer.status_code == 422 and "There is no such stage to look ahead for." in words(answer)
    assert "holds the others back" in words(answer)


def test_a_new_room_says_how_many_days_it_still_needs(room: Room, client_as: ClientAs) -> None:
    assert "Too few days to say: 0 of 10 open days are on record." in words(client_as("reader").get("/ahead"))
    room.sheet_ready()
    room.wait(days=1)
    said = words(client_as("reader").get("/ahead"))
    assert "too few days to say: 1 of 10 open days are on record" in said and "one open day, 25 Nov" in said
    assert "On a time line" not in said


def test_the_page_names_nobody_to_whoever_sees_no_names(busy: Room, client_as: ClientAs) -> None:
    reader = client_as("reader")
    main = reader.get("/ahead").text.partition("<main")[2]
    assert "Olwen" not in main and "Hedda" not in main and "Who is away" not in main
    asked = reader.get("/ahead", query_string={"away": busy.worker["olwen"]})
    assert asked.status_code == 422 and "Olwen" not in asked.text and "Then" not in words(asked)


def test_the_manager_asks_what_it_would_be_without_somebody(busy: Room, client_as: ClientAs) -> None:
    asked = {"afternoons": "0", "share": "whole", "away": busy.worker["olwen"], "weeks": "2", "places": ""}
    said = words(client_as("manager").get("/ahead", query_string=asked))
    assert "What Olwen Tarrant did on those days is left out for 2 weeks, and nobody takes it over." in said
    # Nobody else ever mounted: nothing is done in the ten open days that they are away.
    then = re.search(r"Then Ready for mounting done last 3 (\d+ Dec 2026) .*? (\d+ Jan 2027)", said)
    assert then is not None and "Each stage is reckoned for itself" in said


@pytest.mark.parametrize(
    "wrong", [{"places": "many"}, {"places": "-1"}, {"afternoons": "9"}, {"weeks": "1000", "places": "3"}]
)
def test_what_cannot_be_asked_is_said_and_what_was_typed_stays(
    busy: Room, client_as: ClientAs, wrong: dict[str, str]
) -> None:
    answer = client_as("trainer").get("/ahead", query_string={"afternoons": "1", **wrong})
    assert answer.status_code == 422 and "field-error" in answer.text and "It rests on:" not in words(answer)


def drawn(today: date, *dates: date | None) -> Forecast:
    when = StageForecast("dry", 5, dates, "said")
    return Forecast(today, 40, "", "", (StageAhead(when, "Dry", 5, 1.0, 0, "", ""),), "dry", "", None)


def test_the_parts_of_a_line_end_at_their_dates() -> None:
    found = time_line(drawn(date(2026, 1, 1), date(2026, 1, 11), date(2026, 1, 16), date(2026, 1, 21)))
    assert found is not None
    assert found.lines[0].parts == ((0.0, 50.0, "even"), (50.0, 25.0, "likely"), (75.0, 25.0, "sure"))
    # 1 January 2026 is a Thursday.
    assert found.marks == ((20.0, "5 Jan"), (55.0, "12 Jan"), (90.0, "19 Jan"))


def test_a_date_beyond_ten_years_runs_to_the_end() -> None:
    found = time_line(drawn(date(2026, 1, 1), date(2030, 1, 1), None, None))
    assert found is not None
    assert found.lines[0].parts == ((0.0, 100.0, "even"), (100.0, 0.0, "likely"), (100.0, 0.0, "sure"))
    assert time_line(drawn(date(2026, 1, 1), None, None, None)) is None


@pytest.mark.parametrize(
    ("end", "marks"),
    [
        (date(2026, 5, 1), ["Feb 2026", "Mar 2026", "Apr 2026", "May 2026"]),
        (date(2027, 2, 1), ["Mar 2026", "May 2026", "Jul 2026", "Sep 2026", "Nov 2026", "Jan 2027"]),
        (date(2028, 12, 1), ["Jul 2026", "Jan 2027", "Jul 2027", "Jan 2028", "Jul 2028"]),
        (date(2035, 12, 31), ["Jan 2028", "Jan 2030", "Jan 2032", "Jan 2034"]),
    ],
)
def test_a_time_line_is_marked_by_months_as_far_apart_as_it_asks_for(end: date, marks: list[str]) -> None:
    found = time_line(drawn(date(2026, 1, 1), end, end, end))
    assert found is not None and [words for _, words in found.marks] == marks
