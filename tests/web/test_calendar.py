"""The pages of the room's calendar: a year to look at, and every form that changes it."""

from __future__ import annotations

import re
from datetime import date

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db.engine import reading
from app.domain.calendar import Calendar
from app.queries.calendar import Effect, calendar_in_force
from app.web.calendar import effect_words
from tests.queries.looking import brought_dry, own_limit
from tests.room import LONDON, Room
from tests.web.conftest import ClientAs, send, words

UP = "/room/calendar"


def calendar_of(room: Room) -> Calendar:
    with reading(room.database) as session:
        return calendar_in_force(session, LONDON)


def followed(browser: FlaskClient, answer: TestResponse) -> str:
    """What the page says to which an answer leads."""
    assert answer.status_code == 302, words(answer)
    return words(browser.get(answer.location))


def ticked(answer: TestResponse) -> list[str]:
    return re.findall(r'name="day" value="([^"]+)" checked', answer.text)


def test_the_year_shows_every_kind_of_day_with_its_reason(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    send(browser, f"{UP}/dates?year=2026", dates="24 Dec – 2 Jan", kind="closed", reason="winter closing")
    send(browser, f"{UP}/dates?year=2026", dates="28 Nov", kind="open", reason="stocktaking")
    answer = browser.get(UP)
    assert re.search(r'<td class="day day-shut" title="winter closing">24<', answer.text)
    assert re.search(r'<td class="day day-opened" title="stocktaking">28<', answer.text)
    assert re.search(r'<td class="day day-closed">29<', answer.text)
    assert re.search(r'<td class="day day-open day-today" aria-current="date">25<', answer.text)
    said = words(answer)
    assert "24 Dec 2026 – 2 Jan 2027 closed: winter closing 10 days" in said and "28 Nov 2026 open: stocktaking" in said
    # 261 weekdays in 2026, six of them closed, one Saturday opened.
    assert "Calendar 2026" in said and "256 open days" in said and "December 17 open days" in said
    assert "260 open days" in words(browser.get(f"{UP}?year=2027"))  # 261 less 1 January


def test_the_page_says_what_waits_for_the_calendar_and_what_does_not(client_as: ClientAs) -> None:
    said = words(client_as("manager").get(UP))
    assert "dry plants at intake" in said
    assert "Fresh plants, papers to be changed and wet glue do not wait for it" in said


def test_the_room_has_a_way_to_it(client_as: ClientAs) -> None:
    assert f'href="{UP}"' in client_as("manager").get("/room").text


@pytest.mark.parametrize(
    ("year", "status"),
    [("2016", 200), ("2036", 200), ("2015", 404), ("2037", 404), ("", 404), ("next", 404), ("-1", 404), ("٢٠٢٦", 404), ("9" * 5000, 404)],
)  # fmt: skip
def test_a_year_out_of_reach_is_not_found(client_as: ClientAs, year: str, status: int) -> None:
    assert client_as("manager").get(UP, query_string={"year": year}).status_code == status


def test_what_is_closed_is_said_with_what_it_means_for_the_sheets(room: Room, client_as: ClientAs) -> None:
    for _ in range(2):
        brought_dry(room)
    browser = client_as("manager")
    room.wait(days=7, hours=1)  # five open days and an hour
    said = followed(browser, send(browser, f"{UP}/dates", dates="2026-11-26", kind="closed", reason="no heating"))
    assert "Closed: 26 Nov 2026 (1 day). With this, 2 fewer sheets are stalled: 0 instead of 2." in said
    said = followed(browser, send(browser, f"{UP}/dates", dates="26 Nov", kind="usual", reason="it was warm after all"))
    assert "As the weekday says: 26 Nov 2026 (1 day). With this, 2 more sheets are stalled: 2 instead of 0." in said
    said = followed(browser, send(browser, f"{UP}/dates", dates="28 Nov", kind="open", reason="stocktaking"))
    assert "Open: 28 Nov 2026 (1 day). Stalled sheets: 2, as before." in said


def test_a_closed_day_moves_what_a_cabinet_allows_too(room: Room, client_as: ClientAs) -> None:
    room.sheet_ready()
    own_limit(room, "M1", 1)
    room.wait(days=1, hours=1)
    browser = client_as("manager")
    said = followed(browser, send(browser, f"{UP}/dates", dates="26 Nov", kind="closed", reason="no heating"))
    assert "With this, 1 fewer sheet is stalled: 0 instead of 1." in said


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        (0, 0, "Stalled sheets: 0, as before."),
        (15, 3, "With this, 12 fewer sheets are stalled: 3 instead of 15."),
        (1, 0, "With this, 1 fewer sheet is stalled: 0 instead of 1."),
        (0, 1, "With this, 1 more sheet is stalled: 1 instead of 0."),
        (1000, 2400, "With this, 1,400 more sheets are stalled: 2,400 instead of 1,000."),
    ],
)
def test_the_effect_is_said_in_a_sentence(before: int, after: int, said: str) -> None:
    assert effect_words(Effect(before, after)) == said


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("25.12.2026", "Line 1, “25.12.2026”: that cannot be read as a date in one way only."),
        ("24 Dec 2026\n31 Feb 2026", "Line 2, “31 Feb 2026”: there is no 31 Feb 2026."),
        ("2 Jan 2027 – 24 Dec 2026", "before it begins"),
        ("1 Jan 2025 – 31 Dec 2026", "That is 730 days. At most 400"),
        ("24 Dec 2050", "The calendar goes from 2016 to 2036."),
        ("", "Type at least one date."),
        ("<b>soon</b>", "Line 1, “<b>soon</b>”"),
    ],
)
def test_dates_that_cannot_be_set_are_told_and_kept_as_typed(
    room: Room, client_as: ClientAs, typed: str, said: str
) -> None:
    answer = send(client_as("manager"), f"{UP}/dates?year=2027", dates=typed, kind="open", reason="because of <this>")
    assert answer.status_code == 422 and said.replace("<b>soon</b>", "soon") in words(answer).replace(
        "<b>soon</b>", "soon"
    )
    kept = re.search(r'<textarea[^>]*name="dates"[^>]*>\s*(.*?)</textarea>', answer.text, re.S)
    assert kept and kept.group(1).replace("\r", "") == typed.replace("<", "&lt;").replace(">", "&gt;")
    assert 'value="because of &lt;this&gt;"' in answer.text and 'checked id="dates-kind-1"' in answer.text
    assert "Calendar 2027" in words(answer) and "Nothing was changed." in words(answer)
    assert not calendar_of(room).opened


def test_dates_are_not_set_without_a_reason(room: Room, client_as: ClientAs) -> None:
    answer = send(client_as("manager"), f"{UP}/dates", dates="24 Dec", kind="closed", reason=" ")
    assert answer.status_code == 422 and 'id="dates-reason-error"' in answer.text and not calendar_of(room).closed


def test_a_long_line_of_dates_leads_to_the_year_of_the_first(client_as: ClientAs) -> None:
    answer = send(
        client_as("manager"), f"{UP}/dates?year=2026", dates="24 Dec 2027", kind="closed", reason="winter closing"
    )
    assert answer.location == f"{UP}?year=2027"


def test_a_set_span_is_taken_back_whole(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    send(browser, f"{UP}/dates", dates="24 Dec – 2 Jan\n4 May", kind="closed", reason="closed")
    (value,) = re.findall(r'name="spans" value="(2026-12-24[^"]*)"', browser.get(UP).text)
    said = followed(browser, send(browser, f"{UP}/back?year=2026", spans=value, reason="open after all"))
    assert "Taken back: 24 Dec 2026 – 2 Jan 2027 (10 days)." in said
    assert calendar_of(room).closed == {date(2026, 5, 4)}


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"reason": "open after all"}, "Tick what is to be taken back."),
        ({"spans": "2026-12-24 to 2026-12-24"}, "Say why"),
        ({"spans": "2026-12-24 to 2026-12-24", "reason": "twice"}, "None of these dates was set."),
        ({"spans": "yesterday", "reason": "why not"}, "cannot be read"),
    ],
)
def test_what_cannot_be_taken_back_is_told(client_as: ClientAs, form: dict[str, str], said: str) -> None:
    browser = client_as("manager")
    send(browser, f"{UP}/dates", dates="4 May", kind="closed", reason="closed")
    answer = send(browser, f"{UP}/back", **form)
    assert answer.status_code == 422 and said in words(answer)


def test_the_weekdays_are_changed_with_a_reason(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    shown = browser.get(UP).text
    assert len(re.findall(r'<input checked[^>]*name="weekdays"', shown)) == 5
    said = followed(browser, send(browser, f"{UP}/weekdays", weekdays=["0", "1", "2", "3", "5"], reason="the building"))
    assert "The weekdays were changed. Stalled sheets: 0, as before." in said
    assert calendar_of(room).open_weekdays == {0, 1, 2, 3, 5}
    again = send(browser, f"{UP}/weekdays", weekdays=["0", "1", "2", "3", "5"], reason="the building")
    assert "The weekdays were like that already." in followed(browser, again)


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"reason": "summer"}, "At least one weekday must be open."),
        ({"weekdays": ["0"], "reason": ""}, "Say why"),
        ({"weekdays": ["7"], "reason": "an eighth"}, "is not a valid choice"),
        ({"weekdays": ["Monday"], "reason": "a name"}, "Invalid choice"),
    ],
)
def test_weekdays_that_cannot_be_are_told(room: Room, client_as: ClientAs, form: dict[str, object], said: str) -> None:
    answer = send(client_as("manager"), f"{UP}/weekdays", **form)
    assert answer.status_code == 422 and said.lower() in words(answer).lower()
    assert calendar_of(room).open_weekdays == set(range(5))


NI = {"country": "GB", "part": "NIR", "offered": "GB", "first": "2027", "years": "1"}


def test_public_holidays_are_shown_first_and_what_is_closed_anyway_is_not_ticked(
    room: Room, client_as: ClientAs
) -> None:
    browser = client_as("manager")
    send(browser, f"{UP}/dates?year=2027", dates="17 Mar", kind="open", reason="the parade comes by")
    send(browser, f"{UP}/dates?year=2027", dates="29 Mar", kind="closed", reason="no heating")
    answer = browser.get(f"{UP}/holidays", query_string=NI)
    found = ticked(answer)
    assert "2027-03-26" in found and "2027-07-12" in found  # Good Friday; a Monday
    assert not {"2027-12-25", "2027-12-26", "2027-03-17", "2027-03-29"} & set(found)
    said = words(answer)
    assert "25 Dec 2027 Saturday Christmas Day (closed anyway)" in said
    assert "17 Mar 2027 Wednesday Saint Patrick's Day (opened by its date)" in said
    assert "29 Mar 2027 Monday Easter Monday (closed anyway)" in said
    assert not {date(2027, 3, 26)} & calendar_of(room).closed  # nothing is written by looking


def test_the_holidays_ticked_are_closed_and_the_others_are_not(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    answer = send(browser, f"{UP}/holidays", **NI, day=["2027-01-01", "2027-03-26"])
    assert answer.location == f"{UP}?year=2027"
    said = followed(browser, answer)
    assert "Closed: 1 Jan 2027, 26 Mar 2027 (2 days). Stalled sheets: 0, as before." in said
    assert "26 Mar 2027 closed: Good Friday" in said and calendar_of(room).closed == {
        date(2027, 1, 1),
        date(2027, 3, 26),
    }
    assert "(public holidays, Northern Ireland, United Kingdom)" in words(browser.get("/room"))


@pytest.mark.parametrize("days", [[], ["2027-02-02"], ["soon"]])
def test_only_days_of_the_list_are_closed(room: Room, client_as: ClientAs, days: list[str]) -> None:
    answer = send(client_as("manager"), f"{UP}/holidays", **NI, day=days)
    assert answer.status_code == 422 and "Tick the days on which the room is closed." in words(answer)
    assert ticked(answer) == [] and not calendar_of(room).closed
    boxes = re.findall(r'<input type="checkbox"[^>]*name="day"[^>]*>', answer.text)
    assert boxes and all('aria-describedby="day-error"' in box for box in boxes) and 'id="day-error"' in answer.text


def test_this_year_and_the_next_are_asked_for_unless_told_otherwise(client_as: ClientAs) -> None:
    answer = client_as("manager").get(f"{UP}/holidays", query_string={"country": "IS"})
    years = {day[:4] for day in re.findall(r'name="day" value="([^"]+)"', answer.text)}
    assert {"2026", "2027"} <= years <= {"2025", "2026", "2027"} and answer.status_code == 200


def test_a_part_of_the_country_before_is_let_go_with_it(client_as: ClientAs) -> None:
    answer = client_as("manager").get(f"{UP}/holidays", query_string={**NI, "country": "DE"})
    assert answer.status_code == 200 and "German Unity Day" in words(answer)
    assert '<option value="BY">Bayern</option>' in answer.text and "This is what the whole country keeps" in words(
        answer
    )


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"country": ""}, "Choose a country."),
        ({"country": "XX"}, "Not a valid choice."),
        ({"part": "XX"}, "Not a valid choice."),
        ({"first": "2050"}, "Not a valid choice."),
        ({"years": "4"}, "Not a valid choice."),
    ],
)
def test_holidays_that_nobody_knows_are_told(client_as: ClientAs, asked: dict[str, str], said: str) -> None:
    browser = client_as("manager")
    for answer in (
        browser.get(f"{UP}/holidays", query_string={**NI, **asked}),
        send(browser, f"{UP}/holidays", **{**NI, **asked}),
    ):
        assert answer.status_code == 422 and said in words(answer) and ticked(answer) == []


def test_what_was_changed_stands_in_the_history_of_the_room(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    send(browser, f"{UP}/dates", dates="24 Dec – 2 Jan", kind="closed", reason="winter closing")
    room.wait(minutes=5)
    send(browser, f"{UP}/dates", dates="28 Dec", kind="open", reason="a class comes")
    said = words(browser.get("/room"))
    assert "calendar: dates closed 24 Dec 2026 – 2 Jan 2027 (winter closing)" in said
    assert "calendar: dates closed 28 Dec 2026, winter closing → open 28 Dec 2026 (a class comes)" in said
    assert calendar_of(room).is_open(date(2026, 12, 28))
