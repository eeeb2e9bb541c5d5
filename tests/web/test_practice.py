"""Practice: the same rules and answers at a station, and nothing of it anywhere in the room."""

from __future__ import annotations

import re

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import MetaData, select
from werkzeug.test import TestResponse

from app.db.engine import reading, transaction
from app.db.models import Change, NumberPattern, Station
from app.domain.numbers import COMMANDS, shown
from app.domain.practice import PREFIXES, Start, practice_pattern, practice_sheets
from app.domain.stages import Step
from app.services.people import make_token
from app.services.practice import set_practising
from app.services.room import add_bundle, set_house_rule
from tests.room import TQX, Room
from tests.web.conftest import ClientAs, send, token, words

SHEETS = practice_sheets(practice_pattern(()))


def numbers(start: Start) -> list[str]:
    return [sheet.number for sheet in SHEETS if sheet.start is start]


def practises(room: Room, *slugs: str, on: bool = True) -> None:
    with transaction(room.database) as session:
        for slug in slugs:
            set_practising(session, room.station[slug], on, room.now, by=room.worker["hedda"])


def all_steps(room: Room, slug: str) -> None:
    """One station at which everything is done."""
    from app.domain.stations import KINDS

    with transaction(room.database) as session:
        session.query(Station).filter_by(slug=slug).update({"steps": [step.value for step in KINDS["roaming"][1]]})


class Screen:
    """A station's browser: it scans what its page sends, with the page's own token and mark."""

    def __init__(self, client: FlaskClient, room: Room) -> None:
        self.client, self.room = client, room
        self.load()

    def load(self) -> str:
        page = self.client.get("/station").text
        self.mark = re.findall(r'name="room" value="([^"]*)"', page)[0]
        self.csrf = token(self.client, "/station")
        return page

    def scan(self, code: str, **more: str) -> TestResponse:
        self.room.wait(seconds=30)
        data = {"csrf_token": self.csrf, "room": self.mark, "code": code, **more}
        return self.client.post("/station/scan", data=data, headers={"X-Station": "1"})

    def press(self, path: str) -> TestResponse:
        answer = self.client.post(path, data={"csrf_token": self.csrf}, follow_redirects=True)
        self.load()
        return answer


@pytest.fixture
def screen(room: Room, station_client: ClientAs) -> Screen:
    """A table that is set to practise and does every step, with somebody signed in at it."""
    all_steps(room, "table-1")
    practises(room, "table-1")
    screen = Screen(station_client("table-1"), room)
    assert "Hello, Olwen." in words(screen.scan(room.code("badge", "olwen")))
    return screen


def everything(room: Room) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table of the room."""
    found = MetaData()
    with room.database.engine.connect() as connection:
        found.reflect(connection)
        return {name: [tuple(row) for row in connection.execute(select(table))] for name, table in found.tables.items()}


# -- nothing of it in the room ------------------------------------------------------------------------------------
def test_a_day_of_practice_leaves_every_table_of_the_room_as_it_was(
    screen: Screen, room: Room, client_as: ClientAs
) -> None:
    before = everything(room)
    ready, to_inspect, under = numbers(Start.READY)[0], numbers(Start.INSPECT)[0], numbers(Start.PRESS_NOT_YET)[0]
    assert "Taken up." in words(screen.scan(ready))
    assert "Mounted." in words(screen.scan(ready))
    assert "Inspected." in words(screen.scan(to_inspect, step="inspect", **{"facts.outcome": "passed"}))
    assert screen.scan(under).status_code == 422
    assert screen.scan("TQX 000000 0").status_code == 422
    assert "Undone." in words(screen.scan(COMMANDS["undo"]))
    # What the practice browser has looked at is not shown to anybody else.
    assert words(screen.client.get("/board")) and f"/sheets/{under}" in screen.client.get("/press/P2").text
    screen.press("/station/practice/day")
    screen.press("/station/practice/again")
    assert everything(room) == before
    manager = client_as("manager")
    assert f"/sheets/{under}" not in manager.get("/press/P2?shown=").text
    waiting = re.findall(r"([0-9,]+) (?:sheets? )?wait", words(manager.get("/board")))
    assert set(waiting) <= {"0"}
    for page in ("/board", "/week", "/search?q=Carex", f"/search?q={ready}", "/refusals", "/sheets", "/press"):
        said = words(manager.get(page, follow_redirects=True))
        assert shown(ready, [practice_pattern(())]) not in said and "Carex sylvatica" not in said, page


def test_hours_of_practice_are_nobodys_and_hours_worked_there_before_still_count(
    room: Room, station_client: ClientAs
) -> None:
    from app.queries.hours import hours_within, presences

    room.signs_in("olwen", "table-1")
    began = room.now
    room.wait(hours=2)
    practises(room, "table-1")
    ended = room.now
    screen = Screen(station_client("table-1"), room)
    screen.scan(room.code("badge", "olwen"))
    room.wait(hours=3)
    with reading(room.database) as session:
        found = hours_within(presences(session, began, room.now, room.now), began, room.now)
    mine = found[room.worker["olwen"], room.station["table-1"]]
    assert mine.total_s == (ended - began).total_seconds()


# -- the same rules -----------------------------------------------------------------------------------------------
def test_each_practice_sheet_begins_where_its_slip_says(screen: Screen) -> None:
    said = {Start.INTAKE: "Lay to dry", Start.READY: "Taken up.", Start.NO_LABEL: "Hold: label to come", Start.MOUNTED: "Which one?",
            Start.PRESS_READY: "Ready. The weights are on P1", Start.PRESS_NOT_YET: "more under weight", Start.INSPECT: "How is it?",
            Start.FILE: "Where to?", Start.FILED: "F1, shelf 1", Start.DRYING: "It is dry", Start.ANNOUNCED: "Taken in."}  # fmt: skip
    for start, sentence in said.items():
        assert sentence in words(screen.scan(numbers(start)[0])), start


def test_a_day_passes_and_what_was_not_yet_is_ready(screen: Screen) -> None:
    with transaction(screen.room.database) as session:
        set_house_rule(session, "idle_sign_out_min", 120, "as rooms have it", screen.room.now)
    number = numbers(Start.PRESS_NOT_YET)[0]
    assert "It needs 21 h" in words(screen.scan(number)) and "more under weight" in words(screen.scan(number))
    page = words(screen.press("/station/practice/day"))
    assert "A day has gone by" in page and "The practice clock is 1 day ahead" in screen.load()
    # Whoever practises is still signed in, though nothing was scanned for a day.
    assert "Ready. The weights are on P2" in words(screen.scan(number))
    assert "Weights off." in words(screen.scan(screen.room.code("off", "P2")))
    assert "Taken out." in words(screen.scan(number))


def test_begin_again_brings_every_sheet_back(screen: Screen) -> None:
    number = numbers(Start.READY)[0]
    assert "Taken up." in words(screen.scan(number))
    screen.press("/station/practice/again")
    assert "Nobody is signed in here" in words(screen.scan(number))
    screen.scan(screen.room.code("badge", "olwen"))
    assert "Taken up." in words(screen.scan(number))


def test_tomorrow_practice_begins_again_by_itself(screen: Screen) -> None:
    number, mark = numbers(Start.READY)[0], screen.mark
    screen.scan(number)
    screen.room.wait(hours=24)
    screen.load()
    assert screen.mark != mark
    screen.scan(screen.room.code("badge", "olwen"))
    assert "Taken up." in words(screen.scan(number))


def test_house_rules_and_people_follow_the_room_while_somebody_practises(screen: Screen, room: Room) -> None:
    number = numbers(Start.READY)[0]
    screen.scan(number)
    with transaction(room.database) as session:
        set_house_rule(session, "label_before_glue", 0, "labels come later", room.now)
        set_house_rule(session, "press_pva_h", 30, "lifted leaves", room.now)
    # What was begun goes on, by the new rules.
    assert "Mounted." in words(screen.scan(number, **{"facts.adhesive": "pva"}))
    screen.scan(room.code("off", "P3"))
    assert "It needs 30 h under weight" in words(screen.scan(number))


def test_neither_passwords_nor_pins_lie_in_the_practice_room_and_none_is_asked_there(
    app: Flask, room: Room, station_client: ClientAs
) -> None:
    from app.db.models import Worker
    from app.services.people import set_password, set_pin

    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], "a-long-enough-password", room.now)
        set_pin(session, room.worker["olwen"], "4711", room.now, by=room.worker["hedda"])
        set_house_rule(session, "pin_at_stations", 1, "wanted so", room.now)
    practises(room, "table-1")
    screen = Screen(station_client("table-1"), room)
    database = app.extensions["blotter-practice"].database
    with reading(database) as session:
        rows = session.execute(select(Worker.password_hash, Worker.pin_hash)).all()
        stations = session.execute(select(Station.secret_hash)).scalars().all()
    assert len(rows) >= 5 and set(rows) == {(None, None)} and set(stations) == {None}
    assert 'name="pin"' not in screen.load()
    data = {"csrf_token": screen.csrf, "worker": str(room.worker["olwen"]), "with": ""}
    assert "Hello, Olwen." in words(screen.client.post("/station/sign-in", data=data))


# -- the two are told apart ---------------------------------------------------------------------------------------
def test_the_band_and_the_word_stand_on_every_page_and_answer_of_practice_only(
    screen: Screen, room: Room, station_client: ClientAs
) -> None:
    number = numbers(Start.READY)[0]
    assert "band-practice" in screen.load()
    assert screen.scan(number).text.count("answer-practice") == 1
    for page in (f"/sheets/{number}", "/board", "/press", "/cabinets", "/search?q=TRY"):
        assert "band-practice" in screen.client.get(page).text, page
    real = Screen(station_client("table-2"), room)
    assert "band-practice" not in real.load() and "answer-practice" not in real.scan(room.sheet_ready()).text
    assert real.mark == "real"


def test_a_real_sheet_at_practice_and_a_practice_slip_at_work_are_stopped(
    screen: Screen, room: Room, station_client: ClientAs
) -> None:
    real_sheet, slip = room.sheet_ready(), numbers(Start.READY)[0]
    log, refused = room.steps(real_sheet), everything(room)["refusal"]
    answer = screen.scan(real_sheet)
    assert answer.status_code == 422 and answer.headers["X-Answer"] == "stop"
    assert "This is a practice screen; nothing was written. Take the sheet to a real station." in words(answer)
    assert room.steps(real_sheet) == log and everything(room)["refusal"] == refused
    real = Screen(station_client("table-2"), room)
    answer = real.scan(slip)
    assert answer.status_code == 422 and "This is a practice slip; nothing was written." in words(answer)
    # It is not even offered as a number that could have been meant.
    assert "TRY" not in words(real.scan(slip[3:]))
    assert "Taken up." in words(real.scan(real_sheet))


def test_a_scan_kept_from_before_the_switch_is_written_in_neither_room(room: Room, station_client: ClientAs) -> None:
    number = room.sheet_ready()
    kept = Screen(station_client("table-1"), room)
    practises(room, "table-1")
    before = everything(room)
    answer = kept.scan(number, scan_id="kept-1")
    assert answer.status_code == 422 and answer.headers["X-Answer"] == "stop"
    said = words(answer)
    assert f"Scanned: {number}." in said and "before this screen was set to practise; nothing was written" in said
    assert everything(room) == before
    # And back: a practice scan that was kept until the station works again.
    kept.load()
    kept.scan(room.code("badge", "olwen"))
    practises(room, "table-1", on=False)
    before = everything(room)
    answer = kept.scan(numbers(Start.READY)[0], scan_id="kept-2")
    assert answer.status_code == 422 and "in a practice that is over; nothing was written" in words(answer)
    assert kept.scan(number, scan_id="kept-3").status_code == 422, "also with a real number on it"
    assert everything(room) == before
    undo = kept.client.post(
        "/station/undo", data={"csrf_token": kept.csrf, "room": kept.mark, "entry": "1", "reason": "wrong-sheet"}
    )
    assert undo.status_code == 422 and everything(room) == before


def test_a_scan_of_a_practice_that_was_begun_again_since_is_not_written(screen: Screen) -> None:
    number, old = numbers(Start.READY)[0], screen.mark
    screen.press("/station/practice/again")
    screen.scan(screen.room.code("badge", "olwen"))
    answer = screen.scan(number, room=old)
    assert "in a practice that is over" in words(answer)
    assert "Taken up." in words(screen.scan(number)), "it was not taken up before"


def test_whatever_a_page_sends_says_in_which_room_it_was_made(screen: Screen) -> None:
    asked, done = screen.scan(numbers(Start.DRYING)[0]), screen.scan(numbers(Start.READY)[0])
    refused = screen.scan(numbers(Start.NO_LABEL)[0])
    counted = screen.scan(screen.room.code("on", "P3"))
    for text in (screen.load(), asked.text, done.text, refused.text, counted.text):
        forms = re.findall(r'<form[^>]*action="/station/(?:scan|undo)".*?</form>', text, re.S)
        assert forms and all(f'name="room" value="{screen.mark}"' in form for form in forms)


def test_a_page_that_says_nothing_of_its_room_is_a_real_one(screen: Screen) -> None:
    assert "before this screen was set to practise" in words(screen.scan(numbers(Start.READY)[0], room=""))


def test_a_script_does_not_write_from_a_station_that_practises(room: Room, app: Flask) -> None:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        key = make_token(session, "scan", "scanner", room.now, days=9, station_id=room.station["table-1"])
    practises(room, "table-1")
    sent = {"scan_id": "script-1", "code": number, "step": "take-up"}
    answer = app.test_client().post("/api/scans", json=sent, headers={"Authorization": f"Bearer {key}"})
    assert answer.status_code == 422 and "is set to practise; nothing was written" in answer.text
    assert room.steps(number)[-1] == "arrive-dry"


# -- setting it up ------------------------------------------------------------------------------------------------
def test_the_manager_sets_a_station_to_practise_and_back(room: Room, client_as: ClientAs) -> None:
    room.signs_in("olwen", "table-1")
    manager = client_as("manager")
    send(manager, "/stations/table-1/practice", practise="yes")
    row = room.station_row("table-1")
    assert (
        row["is_practice"]
        and everything(room)["attendance"][-1]
        and words(manager.get("/stations")).count("practice") >= 1
    )
    with reading(room.database) as session:
        open_there = [each for each in everything(room)["attendance"] if None in each[3:5] and each[2] == row["id"]]
        patterns = session.execute(select(NumberPattern.prefix).where(NumberPattern.is_practice)).scalars().all()
        what = session.execute(select(Change.what, Change.new).order_by(Change.id.desc()).limit(2)).all()
    assert not open_there and patterns == [PREFIXES[0]]
    assert ("practises", "practice") in [tuple(each) for each in what]
    send(manager, "/stations/table-1/practice", practise="no")
    assert not room.station_row("table-1")["is_practice"]
    send(manager, "/stations/table-1/practice", practise="perhaps")
    assert not room.station_row("table-1")["is_practice"]


def test_a_station_is_set_up_for_practice_from_the_first(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    send(manager, "/stations", name="Try-out table", kind="mounting", practises="y")
    with reading(room.database) as session:
        found = session.execute(select(Station).where(Station.name == "Try-out table")).scalars().one()
    assert found.is_practice
    send(manager, "/stations", name="Another table", kind="mounting")
    with reading(room.database) as session:
        assert not session.execute(select(Station.is_practice).where(Station.name == "Another table")).scalar_one()


def test_no_sheet_is_left_behind_at_a_table_that_begins_to_practise(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    manager = client_as("manager")
    answer = manager.post("/stations/table-1/practice", data={"csrf_token": token(manager, "/password"), "practise": "yes"},
                          follow_redirects=True)  # fmt: skip
    assert (
        "By the log 1 sheet is at Mounting table 1" in words(answer) and not room.station_row("table-1")["is_practice"]
    )


def test_no_scans_are_left_behind_in_a_browser_that_begins_to_practise(room: Room, client_as: ClientAs) -> None:
    room.scans(room.sheet_ready(), "table-2", step=Step.TAKE_UP, held=0)
    number = room.sheet_ready()
    room.wait(minutes=1)
    room.scans(number, "filing", held=2)
    manager = client_as("manager")
    answer = manager.post("/stations/filing/practice", data={"csrf_token": token(manager, "/password"), "practise": "yes"},
                          follow_redirects=True)  # fmt: skip
    assert "still keeps scans" in words(answer) and not room.station_row("filing")["is_practice"]


def test_a_practice_prefix_is_never_one_of_the_rooms_own() -> None:
    assert practice_pattern(["TQX"]).prefix == "TRY" and practice_pattern(["TRY", "TQX"]).prefix == "TRYOUT"
    with pytest.raises(ValueError, match="all in use"):
        practice_pattern(PREFIXES)


def test_a_manager_at_a_practice_screen_sees_the_real_room_but_for_the_screen_itself(
    screen: Screen, room: Room, client_as: ClientAs
) -> None:
    manager = client_as("manager")
    cookie = screen.client.get_cookie("blotter-station")
    assert cookie is not None
    manager.set_cookie("blotter-station", cookie.value)
    assert "band-practice" in manager.get("/station").text
    assert "band-practice" in manager.get(f"/sheets/{numbers(Start.READY)[0]}").text
    for page in ("/board", "/stations", "/people", f"/sheets/{room.sheet_ready()}"):
        answer = manager.get(page)
        assert answer.status_code == 200 and "band-practice" not in answer.text, page


# -- slips --------------------------------------------------------------------------------------------------------
def test_practice_slips_are_printed_with_the_word_and_where_each_begins(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    assert "No station practises yet" in words(manager.get("/stations/practice-slips", follow_redirects=True))
    practises(room, "table-1")
    page = manager.get("/stations/practice-slips").text
    assert page.count("PRACTICE</p>") == len(SHEETS) >= 20
    assert {start for start in Start if f"Practice: {start.value}" in page} == set(Start)
    real = room.sheet_ready()
    assert "PRACTICE" not in manager.get(f"/print/slips?numbers={real}").text


def test_the_numbers_on_practice_slips_never_change_and_are_told_from_the_rooms() -> None:
    assert [sheet.number for sheet in SHEETS] == [sheet.number for sheet in practice_sheets(practice_pattern(["TQX"]))]
    assert len({sheet.number for sheet in SHEETS}) == len(SHEETS)
    assert not any(TQX.holds(sheet.number) for sheet in SHEETS)


def test_plants_that_dry_lie_in_the_rooms_plant_press(room: Room, station_client: ClientAs) -> None:
    with transaction(room.database) as session:
        add_bundle(session, "Plant press 1", "press")
    practises(room, "drying")
    screen = Screen(station_client("drying"), room)
    screen.scan(room.code("badge", "rosamund"))
    assert "Plant press 1: 3 sheets. All of them?" in words(screen.scan(room.code("bundle", "Plant press 1")))


def test_a_name_that_goes_is_gone_from_the_practice_room_too(
    app: Flask, screen: Screen, room: Room, client_as: ClientAs
) -> None:
    manager = client_as("manager")
    send(manager, f"/people/{room.worker['piet']}/retire")
    send(manager, f"/people/{room.worker['piet']}/name")
    path = app.extensions["blotter-practice"].path
    kept = b"".join(each.read_bytes() for each in path.parent.glob(f"{path.name}*"))
    assert b"Hedda Brackwater" in kept and b"Piet Lindqvist" not in kept
