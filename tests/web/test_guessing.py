"""Guessing at the doors: passwords, old passwords, PINs, badges and keys; and what is told to whoever guesses."""

from __future__ import annotations

import threading
import time
from datetime import timedelta
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import func, select

from app.db.engine import reading, transaction
from app.db.models import LogIn
from app.domain.errors import Refused
from app.domain.stages import Stage
from app.services import people
from app.services.people import holder_of, revoke_token, set_password, set_pin
from app.services.room import set_house_rule
from app.services.tries import TRIES, TRIES_HERE, WAIT, name_lock, note_try
from app.web import proving
from tests.room import Room
from tests.web.api_client import Scripts, codes, problem
from tests.web.conftest import PASSWORD, ClientAs, send, token, words

WRONG = "The name and the password do not fit together."


class Door:
    """A browser at the door with a page that has been loaded once, as a guessing program would do it."""

    def __init__(self, app: Flask, room: Room) -> None:
        self.room, self.browser = room, app.test_client()
        with transaction(room.database) as session:
            set_password(session, room.worker["hedda"], PASSWORD, room.now)
        self.form = token(self.browser)

    def tries(self, name: str, password: str) -> tuple[int, str]:
        answer = self.browser.post("/sign-in", data={"name": name, "password": password, "csrf_token": self.form})
        return answer.status_code, words(answer)


@pytest.fixture
def door(app: Flask, room: Room) -> Door:
    return Door(app, room)


def rows(room: Room) -> int:
    with reading(room.database) as session:
        return int(session.execute(select(func.count()).select_from(LogIn)).scalar_one())


# -- passwords --------------------------------------------------------------------------------------------------
def test_of_ten_thousand_tries_five_are_let_through_in_five_minutes(room: Room) -> None:
    through, until, lock = 0, set(), name_lock("Hedda Brackwater")
    # A server is asked four times for each try, and answers the last of ten thousand as it does the thousandth.
    many = 10_000 if room.database.is_sqlite else 1_000
    began = time.process_time()
    for _ in range(many):
        try:
            with transaction(room.database) as session:
                note_try(session, lock, room.now)
            through += 1
        except Refused as refused:
            until.add(refused.refusals[0].facts["until"])
    # What it costs this program, and not how long others keep the machine.
    took = time.process_time() - began
    assert through == TRIES and until == {room.now + WAIT} and rows(room) == 1
    # A bound and no measure: two milliseconds for each, on a slow machine.
    assert took < 20


def test_whoever_goes_on_guessing_has_five_passwords_looked_at_each_five_minutes(
    door: Door, room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked = []
    matches = people._matches
    monkeypatch.setattr(people, "_matches", lambda stored, said: looked.append(said) or matches(stored, said))
    for turn in range(1, 5):
        said = [door.tries("Hedda Brackwater", f"guess number {n}") for n in range(50)]
        assert len(looked) == turn * TRIES and {status for status, _ in said} == {422}
        assert all(WRONG in text for _, text in said[:TRIES]) and not any(WRONG in text for _, text in said[TRIES:])
        # The room's moment stood still: 9:00, 9:05 and so on.
        assert all("It opens again" in text and f"9:{5 * turn:02}" in text for _, text in said[TRIES:])
        room.wait(minutes=5)


def test_the_right_password_opens_nothing_while_the_name_is_locked_and_does_so_afterwards(
    door: Door, room: Room
) -> None:
    for n in range(TRIES):
        door.tries("Hedda Brackwater", f"guess number {n}")
    assert door.tries("Hedda Brackwater", PASSWORD)[0] == 422
    assert door.browser.get("/board").status_code == 302
    room.wait(minutes=4, seconds=59)
    assert "It opens again" in door.tries("hedda  brackwater", PASSWORD)[1]
    # Asking at a shut door does not keep it shut for longer.
    room.wait(seconds=1)
    assert door.tries("Hedda Brackwater", PASSWORD)[0] == 302


def test_a_right_password_forgets_the_wrong_ones_before_it(door: Door, room: Room) -> None:
    for _ in range(3):
        for n in range(TRIES - 1):
            assert WRONG in door.tries("Hedda Brackwater", f"guess number {n}")[1]
        assert door.tries("Hedda Brackwater", PASSWORD)[0] == 302
        door.form = token(door.browser)
    assert rows(room) == 0


def test_one_locked_name_locks_no_other(app: Flask, door: Door, room: Room) -> None:
    with transaction(room.database) as session:
        set_password(session, room.worker["ines"], PASSWORD, room.now)
    for n in range(TRIES + 1):
        door.tries("Hedda Brackwater", f"guess number {n}")
    assert door.tries("Ines Caldwell", PASSWORD)[0] == 302


def test_nobody_learns_from_an_answer_whether_there_is_such_a_name(door: Door, room: Room) -> None:
    with transaction(room.database) as session:
        people.retire_worker(session, room.worker["rosamund"], room.now, by=None)
    # Known, known without a password, gone, and never there.
    names = ("Hedda Brackwater", "Piet Lindqvist", "Rosamund Ashgill", "Nobody Known")
    told = {name: [door.tries(name, f"guess number {n}") for n in range(TRIES + 2)] for name in names}
    plain = {name: [(status, text.replace(name, "NAME")) for status, text in answers] for name, answers in told.items()}
    assert all(answers == plain["Hedda Brackwater"] for answers in plain.values())
    assert "It opens again" in plain["Nobody Known"][-1][1]


def test_a_name_without_a_password_is_looked_at_for_as_long_as_one_with(
    door: Door, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Counting:
        def __init__(self) -> None:
            self.costly = 0

        def verify(self, stored: str, said: str) -> bool:
            self.costly += 1
            return False

        def hash(self, said: str) -> str:
            self.costly += 1
            return "a hash"

    counting = Counting()
    monkeypatch.setattr(people, "_hasher", counting)
    for times, name in enumerate(("Hedda Brackwater", "Piet Lindqvist", "Nobody Known"), 1):
        door.tries(name, "a guess")
        assert counting.costly == times


def test_ten_thousand_names_leave_no_more_behind_than_the_last_minutes(door: Door, room: Room) -> None:
    for n in range(300):
        door.tries(f"name number {n}", "a guess")
        room.wait(seconds=10)
    # Five minutes at one name in ten seconds.
    assert rows(room) <= WAIT / timedelta(seconds=10)


def test_a_clock_that_is_put_back_keeps_no_door_shut(door: Door, room: Room) -> None:
    for n in range(TRIES + 1):
        door.tries("Hedda Brackwater", f"guess number {n}")
    room.now -= timedelta(days=400)
    assert door.tries("Hedda Brackwater", PASSWORD)[0] == 302


def test_many_tries_at_one_moment_are_no_more_than_five(
    app: Flask, room: Room, door: Door, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked, all_there = [], threading.Barrier(12)
    monkeypatch.setattr(people, "_matches", lambda stored, said: looked.append(said) and None)
    monkeypatch.setattr(proving, "_looking", threading.BoundedSemaphore(100))

    def guesses(n: int) -> None:
        browser = app.test_client()
        form = token(browser)
        all_there.wait()
        browser.post("/sign-in", data={"name": "Hedda Brackwater", "password": f"guess {n}", "csrf_token": form})

    at_once = [threading.Thread(target=guesses, args=(n,)) for n in range(12)]
    for each in at_once:
        each.start()
    for each in at_once:
        each.join()
    assert len(looked) == TRIES


def test_while_passwords_are_looked_at_scans_are_written_and_one_too_many_is_sent_away(
    app: Flask, room: Room, door: Door, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, go_on = threading.Semaphore(0), threading.Event()

    def slow(_stored: str | None, _said: str) -> bool:
        begun.release()
        return not go_on.wait(30)

    monkeypatch.setattr(people, "_matches", slow)
    doors = [(app.test_client(), n) for n in range(proving.AT_ONCE)]
    forms = [token(browser) for browser, _ in doors]

    def guesses(browser: FlaskClient, n: int) -> None:
        browser.post("/sign-in", data={"name": f"name {n}", "password": "a guess", "csrf_token": forms[n]})

    looking = [threading.Thread(target=guesses, args=each) for each in doors]
    for each in looking:
        each.start()
    try:
        assert all(begun.acquire(timeout=30) for _ in looking)
        assert room.stage(room.sheet_ready()) == Stage.READY
        status, said = door.tries("Hedda Brackwater", PASSWORD)
    finally:
        go_on.set()
        for each in looking:
            each.join()
    assert status == 422 and "Too many are signing in at this moment." in said
    # Whoever was sent away has lost no try.
    assert rows(room) == proving.AT_ONCE


def test_the_old_password_is_not_guessed_at_an_open_browser(room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    for n in range(TRIES):
        assert send(browser, "/password", old=f"guess number {n}", password="another-long-one").status_code == 422
    answer = send(browser, "/password", old=PASSWORD, password="another-long-one")
    assert answer.status_code == 422 and "Too many tries" in words(answer) and "9:05" in words(answer)
    room.wait(minutes=5)
    assert send(browser, "/password", old=PASSWORD, password="another-long-one").status_code == 302


def test_the_code_on_the_console_is_asked_for_and_worth_nothing_once_there_is_a_manager(app: Flask, door: Door) -> None:
    answer = door.browser.post(
        "/first", data={"code": "guess", "name": "x", "password": PASSWORD, "csrf_token": door.form}
    )
    assert answer.status_code == 302 and answer.location == "/sign-in"


# -- PINs -------------------------------------------------------------------------------------------------------
class Table:
    """Stations at which a PIN is asked for."""

    def __init__(self, room: Room, station_client: ClientAs) -> None:
        self.room = room
        with transaction(room.database) as session:
            set_house_rule(session, "pin_at_stations", 1, "a shared room", room.now)
            for who, pin in (("piet", "4711"), ("olwen", "0815")):
                set_pin(session, room.worker[who], pin, room.now, by=None)
        self.browsers = {slug: station_client(slug) for slug in ("table-1", "table-2")}
        self.forms = {slug: token(browser, "/station") for slug, browser in self.browsers.items()}

    def tries(self, who: str, pin: str, at: str = "table-1") -> str:
        data = {"worker": str(self.room.worker.get(who, 999)), "pin": pin, "csrf_token": self.forms[at]}
        return words(self.browsers[at].post("/station/sign-in", data=data, follow_redirects=True))

    def opens(self, who: str, pin: str, at: str = "table-1") -> bool:
        return "You are signed in here" in self.tries(who, pin, at)


@pytest.fixture
def table(room: Room, station_client: ClientAs) -> Table:
    return Table(room, station_client)


def test_a_pin_is_tried_five_times_then_later_and_each_time_for_twice_as_long(table: Table, room: Room) -> None:
    for minutes in (5, 10, 20, 40, 80, 160, 160, 160):
        for n in range(TRIES):
            assert "does not fit the name" in table.tries("piet", f"{n:04}", at="table-1" if n % 2 else "table-2")
        # At whatever station, and with the right one.
        for at in ("table-1", "table-2"):
            assert "Too many tries with this PIN. It opens again" in table.tries("piet", "4711", at)
        room.wait(minutes=minutes, seconds=-1)
        assert not table.opens("piet", "4711")
        room.wait(seconds=1)
    assert "You are signed in here" in table.tries("piet", "4711") or table.opens("piet", "4711")
    # It was forgotten with the right one.
    for n in range(TRIES - 1):
        table.tries("piet", f"{n:04}")
    assert table.opens("piet", "4711") or "Hello" in table.tries("piet", "4711")


def test_one_pin_tried_with_every_name_shuts_the_station_but_not_the_next_one(table: Table, room: Room) -> None:
    with transaction(room.database) as session:
        crowd = [people.add_worker(session, f"Worker {n}", ("volunteer",), room.now)[0] for n in range(TRIES_HERE)]
    room.worker |= {f"crowd-{n}": worker_id for n, worker_id in enumerate(crowd)}
    for n in range(TRIES_HERE):
        assert "does not fit the name" in table.tries(f"crowd-{n}", "1234")
    said = table.tries("olwen", "0815")
    assert "Too many PINs were tried here." in said and "9:05" in said and "badge" in said
    assert table.opens("olwen", "0815", at="table-2")
    room.wait(minutes=5)
    assert table.opens("olwen", "0815")


def test_right_pins_never_shut_a_station(table: Table) -> None:
    for _ in range(TRIES_HERE + 5):
        assert "Too many" not in table.tries("olwen", "0815")


def test_wrong_pins_between_right_ones_of_one_s_own_are_counted(table: Table) -> None:
    for n in range(TRIES):
        table.tries("piet", f"{n:04}")
        table.tries("olwen", "0815")
    assert "Too many tries with this PIN." in table.tries("piet", "4711")


@pytest.mark.parametrize("pin", ["", " ", "47111", "４７１１", "4711\n", "0" * 5000])
def test_what_is_nearly_the_pin_is_not_it(table: Table, pin: str) -> None:
    assert not table.opens("piet", pin)
    assert "does not fit the name" in table.tries("nobody", "4711")


def test_a_name_that_is_typed_at_the_door_locks_no_pin(table: Table, door: Door, room: Room) -> None:
    piet = room.worker["piet"]
    for name in (f"pin {piet}", f"pins at {room.station['table-1']}", f"own {piet}"):
        for n in range(TRIES + 1):
            door.tries(name, f"guess {n}")
    assert table.opens("piet", "4711")


def test_a_badge_opens_while_the_pin_is_locked(table: Table, room: Room) -> None:
    for n in range(TRIES + 1):
        table.tries("piet", f"{n:04}")
    assert room.scans(room.code("badge", "piet"), "table-1").kind == "done"


# -- keys -------------------------------------------------------------------------------------------------------
@pytest.fixture
def scripts(room: Room, tmp_path: Path) -> Scripts:
    return Scripts(room, tmp_path)


def test_a_key_is_opened_by_no_part_of_it_and_by_no_other_spelling(scripts: Scripts, room: Room) -> None:
    key = scripts.key("read")
    swapped = "".join(each.swapcase() for each in key)
    near = [
        key[:-1],
        key + "=",
        f"{key} {key}",
        swapped,
        key[1:],
        "%",
        "' OR 1=1 --",
        "*",
    ]
    for guess in near:
        with reading(room.database) as session:
            assert holder_of(session, guess, room.now) is None, guess
    assert scripts.get("/sheets", key).status_code == 200
    # In the address it is no key: addresses are kept in histories.
    problem(scripts.client.get("/api/sheets", query_string={"key": key, "access_token": key}), 401)


def test_what_was_sent_with_a_key_is_not_sent_again_once_it_was_revoked(scripts: Scripts, room: Room) -> None:
    number, key = room.sheet_ready(), scripts.key(at="table-1")
    body = {"scan_id": "replayed", "code": number, "step": "take-up"}
    first = scripts.post("/scans", key, body)
    assert first.status_code == 200 and scripts.post("/scans", key, body).data == first.data
    with transaction(room.database) as session:
        found = holder_of(session, key, room.now)
        assert found is not None
        revoke_token(session, found.token_id, room.now, by=None)
    problem(scripts.post("/scans", key, body), 401)
    assert room.steps(number).count("take-up") == 1


def test_a_station_s_key_does_no_deed_in_the_name_of_somebody_who_is_not_signed_in_there(
    scripts: Scripts, room: Room
) -> None:
    key, number = scripts.key(at="press"), room.sheet_mounted()
    entry = room.log(number)[-1]["id"]
    before = room.steps(number)
    weights = {"on": True, "workers": ["W03"]}
    assert codes(scripts.post("/stacks/P1/weights", key, {"scan_id": "a", **weights})) == ["not-signed-in"]
    correction = {"scan_id": "b", "reason": "wrong sheet", "workers": ["W01"]}
    answer = scripts.post(f"/entries/{entry}/correction", key, correction)
    assert answer.status_code in (400, 422), answer.text
    assert room.steps(number) == before
    problem(scripts.post("/sheets", key, {"scan_id": "c", "sheets": []}), 403)
