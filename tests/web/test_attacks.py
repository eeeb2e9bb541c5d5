"""Attacks on the pages: forged forms, stolen and stale cookies, tricks with addresses, hosts and paths, and bodies too large."""

from __future__ import annotations

import csv
import re
from datetime import timedelta
from io import BytesIO, StringIO
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import create_app
from app.config import LOOPBACK_NAMES, Config, load_config
from app.db.engine import transaction
from app.db.models import Base
from app.domain.cells import FORMULA_SIGNS
from app.services.people import enrol_station, retire_worker, set_password, set_rights
from app.services.room import add_cabinet
from app.web.assembly import LARGEST_BODY
from app.web.headers import HEADERS
from app.web.permissions import PERMISSIONS
from app.web.security import STATION_COOKIE
from tests.databases import as_in_a_file
from tests.room import LONDON, Room
from tests.web.conftest import PASSWORD, ClientAs, send, token, words
from tests.web.test_roles import TOKEN_FROM, addresses, closed

EVIL = "evil.example"


def copied(browser: FlaskClient) -> FlaskClient:
    """A second browser with a copy of the first one's cookies."""
    other = browser.application.test_client()
    other._cookies = dict(browser._cookies or {})
    return other


def is_signed_in(browser: FlaskClient) -> bool:
    return browser.get("/board").status_code == 200


def kept(room: Room) -> list[str]:
    """All that is written in the room, but for when a browser was last seen."""
    return [f"{table} {row}" for table in Base.metadata.tables for row in as_in_a_file(room.database, table)]


# -- forged forms -----------------------------------------------------------------------------------------------
@pytest.mark.parametrize("role", ["station", "manager"])
@pytest.mark.parametrize("forged", [None, "", "guessed", "another browser's"])
def test_no_deed_is_done_without_the_token_of_this_very_browser(
    app: Flask, room: Room, client_as: ClientAs, station_client: ClientAs, role: str, forged: str | None
) -> None:
    number = room.sheet_in("P1")
    browser = station_client("table-2") if role == "station" else client_as(role)
    theirs = token(client_as("trainer"), "/password")
    closed(browser.get(TOKEN_FROM[role]))
    before, asked = kept(room), 0
    for endpoint, method, address in addresses(app, room, number):
        if method == "POST":
            data = {
                "reason": "forged",
                "code": number,
                "csrf_token": theirs if forged == "another browser's" else forged,
            }
            answer = closed(copied(browser).post(address, data={k: v for k, v in data.items() if v is not None}))
            assert answer.status_code == 400, (endpoint, answer.status)
            asked += 1
    assert asked >= 40 and kept(room) == before


def test_a_token_in_the_address_is_none(room: Room, client_as: ClientAs) -> None:
    browser, number = client_as("manager"), room.sheet_ready()
    form = token(browser, "/password")
    answer = browser.post(f"/sheets/{number}/withdraw?csrf_token={form}&reason=forged", data={"reason": "forged"})
    assert answer.status_code == 400 and room.row(number)["closed_as"] is None


def test_no_address_that_is_only_looked_at_writes_anything(
    app: Flask, room: Room, client_as: ClientAs, station_client: ClientAs
) -> None:
    number = room.sheet_in("P1")
    manager, station = client_as("manager"), station_client("table-2")
    before = kept(room)
    for _, method, address in addresses(app, room, number):
        if method == "GET":
            closed(manager.get(address))
            closed(station.get(address))
    assert kept(room) == before


# -- cookies ----------------------------------------------------------------------------------------------------
def test_a_cookie_from_before_the_sign_in_is_nobody_s_afterwards(app: Flask, room: Room, client_as: ClientAs) -> None:
    planted = app.test_client()
    old = token(planted)
    thief = copied(planted)
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], PASSWORD, room.now)
    form = {"name": "Hedda Brackwater", "password": PASSWORD, "csrf_token": old}
    assert planted.post("/sign-in", data=form).status_code == 302 and is_signed_in(planted)
    assert not is_signed_in(thief)
    # The planted token, too, is worth nothing in the session that began with the sign-in.
    assert planted.post("/people", data={"name": "Tamsin", "rights": "reader", "csrf_token": old}).status_code == 400


def test_after_signing_out_no_copy_of_the_cookie_opens_anything(client_as: ClientAs) -> None:
    browser, elsewhere = client_as("manager"), client_as("manager")
    thief = copied(browser)
    assert is_signed_in(thief)
    assert send(browser, "/sign-out").status_code == 302
    assert not is_signed_in(browser) and not is_signed_in(thief)
    # Whoever is signed in in a second browser stays so.
    assert is_signed_in(elsewhere)


def test_a_cookie_that_was_signed_out_is_not_kept_alive_by_asking(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    thief = copied(browser)
    send(browser, "/sign-out")
    thief.get("/board")
    with thief.session_transaction() as session:
        assert not {"worker", "since", "browser"} & set(session)


def test_a_new_password_signs_every_other_browser_out_and_asks_for_the_old_one(room: Room, client_as: ClientAs) -> None:
    browser, elsewhere = client_as("manager"), client_as("manager")
    thief = copied(browser)
    room.wait(seconds=1)
    for old in ("", "not-the-old-one", "another-long-one"):
        answer = send(browser, "/password", old=old, password="another-long-one")
        assert answer.status_code == 422 and ("until now. Type it" if old else "Type the old password") in words(answer)
    assert is_signed_in(elsewhere)
    assert send(browser, "/password", old=PASSWORD, password="another-long-one").status_code == 302
    assert is_signed_in(browser) and not is_signed_in(elsewhere) and not is_signed_in(thief)


def test_whoever_sits_at_a_manager_s_browser_cannot_get_round_the_old_password(room: Room, client_as: ClientAs) -> None:
    browser, hedda = client_as("manager"), room.worker["hedda"]
    answer = send(browser, f"/people/{hedda}/password", password="another-long-one")
    assert answer.status_code == 422 and "asks for the old one" in words(answer)
    fresh = client_as("nobody")
    form = {"name": "Hedda Brackwater", "password": "another-long-one", "csrf_token": token(fresh)}
    assert fresh.post("/sign-in", data=form).status_code == 422


def test_a_cookie_that_somebody_made_up_opens_nothing(
    room: Room, client_as: ClientAs, app: Flask, tmp_path: Path
) -> None:
    elsewhere = create_app(Config(tmp_path, "", LONDON, "another key"), clock=lambda: room.now, database=room.database)
    other = elsewhere.test_client()
    with other.session_transaction() as session:
        session["worker"], session["since"], session["browser"] = room.worker["hedda"], "", "made-up"
    forger = app.test_client()
    cookie = other.get_cookie("blotter")
    assert cookie is not None
    for value in (cookie.value, cookie.value[:-1] + "x", "", "x" * 4000, "eyJ3b3JrZXIiOjF9.Zm9v.YmFy"):
        forger.set_cookie("blotter", value)
        assert not is_signed_in(forger)


@pytest.mark.parametrize("is_safe", [False, True])
def test_cookies_are_kept_from_scripts_and_other_sites_and_sent_over_https_only_where_there_is_https(
    room: Room, tmp_path: Path, is_safe: bool
) -> None:
    config = Config(tmp_path, "", LONDON, "k" * 40).at("127.0.0.1", is_safe=is_safe)
    browser = create_app(config, clock=lambda: room.now, database=room.database).test_client()
    base = "https://localhost" if is_safe else "http://localhost"
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], PASSWORD, room.now)

    def post(path: str, **data: str) -> list[str]:
        page = browser.get("/password" if path != "/sign-in" else path, base_url=base).text
        found = re.search(r'name="csrf_token" value="([^"]+)"', page)
        assert found
        sent = {"csrf_token": found[1], **data}
        answer = browser.post(path, data=sent, base_url=base, headers={"Referer": f"{base}/sign-in"})
        assert answer.status_code == 302, answer.text
        return answer.headers.getlist("Set-Cookie")

    cookies = post("/sign-in", name="Hedda Brackwater", password=PASSWORD)
    cookies += post("/stations/press/enrol")
    assert {each.split("=")[0] for each in cookies} == {"blotter", STATION_COOKIE}
    for each in cookies:
        marks = {mark.strip().lower() for mark in each.split(";")[1:]}
        assert {"httponly", "samesite=lax", "path=/"} <= marks and ("secure" in marks) is is_safe
        assert not any(mark.startswith("domain") for mark in marks)


def test_a_station_s_cookie_opens_nothing_once_another_browser_stands_there_or_it_was_left(
    room: Room, station_client: ClientAs, client_as: ClientAs
) -> None:
    first = station_client("press")
    assert first.get("/station").status_code == 200
    second = station_client("press")
    assert first.get("/station").status_code == 302 and second.get("/station").status_code == 200
    with transaction(room.database) as session:
        secret = enrol_station(session, room.station["press"], room.worker["hedda"], room.now)
    browser = client_as("manager")
    browser.set_cookie(STATION_COOKIE, secret)
    thief = copied(browser)
    assert send(browser, "/stations/leave").status_code == 302
    assert send(thief, "/sign-out").status_code == 302
    assert thief.get("/station").status_code == 302
    thief.set_cookie(STATION_COOKIE, "guessed")
    assert thief.get("/station").status_code == 302


# -- managers ---------------------------------------------------------------------------------------------------
def test_a_second_manager_manages_and_then_the_first_may_leave_but_never_both(room: Room, client_as: ClientAs) -> None:
    first = client_as("manager")
    with transaction(room.database) as session:
        set_rights(session, room.worker["rosamund"], ("manager", "trainer"), room.now, by=None)
    hedda, rosamund = room.worker["hedda"], room.worker["rosamund"]
    # She has no password yet, so she could not open the door: the first stays.
    send(first, f"/people/{hedda}/retire")
    assert is_signed_in(first)
    second = client_as("trainer")
    assert second.get("/people").status_code == 200
    assert send(second, f"/people/{hedda}/retire").status_code == 302 and not is_signed_in(first)
    send(second, f"/people/{rosamund}/retire")
    assert send(second, f"/people/{rosamund}/rights", rights=["reader"]).status_code == 422
    assert second.get("/people").status_code == 200
    with transaction(room.database) as session, pytest.raises(ValueError, match="needs a manager"):
        retire_worker(session, rosamund, room.now, by=None)


# -- addresses --------------------------------------------------------------------------------------------------
# Browsers leave out tab and line feeds and take \ for / (WHATWG URL, 4.4, "basic URL parser").
ELSEWHERE = [
    "http://evil.example/", "//evil.example", "///evil.example", "/\\evil.example", "\\\\evil.example", "/\t/evil.example",
    "/\n//evil.example", "\t//evil.example", " //evil.example", "https:evil.example", "javascript:alert(1)", "evil.example",
    "//[x", "/\r\nSet-Cookie: a=b", "/\u2028//evil.example", "", "board", "/\x00/evil.example", "http:/evil.example",
]  # fmt: skip


@pytest.mark.parametrize("target", ELSEWHERE, ids=repr)
def test_nobody_is_sent_elsewhere_after_signing_in(app: Flask, room: Room, target: str) -> None:
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], PASSWORD, room.now)
    browser = app.test_client()
    form = {"name": "Hedda Brackwater", "password": PASSWORD, "csrf_token": token(browser)}
    answer = browser.post("/sign-in", query_string={"next": target}, data=form)
    assert (answer.status_code, answer.location) == (302, "/board")
    again = send(browser, "/clock", next=target)
    assert (again.status_code, again.location) == (302, "/") and "a=b" not in str(again.headers)


def test_whoever_was_on_the_way_to_a_page_comes_to_it(app: Flask, room: Room) -> None:
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], PASSWORD, room.now)
    browser = app.test_client()
    door = browser.get("/sheets?stage=dry&q=Carex nigra").location
    form = {"name": "Hedda Brackwater", "password": PASSWORD, "csrf_token": token(browser)}
    assert browser.post(door, data=form).location == "/sheets?stage=dry&q=Carex%20nigra"


def test_an_address_that_looks_like_another_site_s_leads_nowhere_else(client_as: ClientAs) -> None:
    for path in (
        "//evil.example/board",
        "//evil.example",
        "/\\evil.example",
        "///evil.example/%2e%2e",
        "/\r\nSet-Cookie:a=b",
    ):
        for browser in (client_as("nobody"), client_as("manager")):
            # The path as a server hands it over; the tests' own browser would take it for a host.
            answer = closed(browser.get("/", environ_overrides={"PATH_INFO": path}))
            where = (answer.location or "/").removeprefix("http://localhost")
            assert answer.status_code in (302, 308, 404) and re.match("/(?![/\\\\])", where), (path, answer.location)
            assert "a=b" not in answer.headers.get("Set-Cookie", "")


HOSTS = [EVIL, f"localhost.{EVIL}", f"{EVIL}:8765", "localhost@evil.example", "", "a b", "localhost:0", "localhost:99999",
         "localhost:08", "[::1", "[::2]:8765", "localhost/evil.example", "\x00", "localhost, evil.example", "_"]  # fmt: skip


@pytest.mark.parametrize("path", ["/", "/sign-in", "/static/base.css", "/nowhere", "/api/health"])
def test_on_one_machine_only_its_own_names_are_answered(room: Room, tmp_path: Path, path: str) -> None:
    config = Config(tmp_path, "", LONDON, "k" * 40).at("127.0.0.1", is_safe=False)
    browser = create_app(config, clock=lambda: room.now, database=room.database).test_client()
    for host in HOSTS:
        answer = closed(browser.get(path, headers={"Host": host}))
        assert answer.status_code == 400 and answer.mimetype == "text/plain", (host, answer.status)
        assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS and EVIL not in answer.text
        assert "Set-Cookie" not in answer.headers
    for host in (*LOOPBACK_NAMES, "127.0.0.1:8765", "[::1]:8765", "LocalHost:80"):
        assert closed(browser.get(path, headers={"Host": host})).status_code in (200, 302, 404), host


def test_over_the_network_a_room_is_asked_by_the_names_it_was_given(
    room: Room, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BLOTTER_HOSTS", "day-book.example, .rooms.example")
    config = load_config(tmp_path / "room").at("0.0.0.0", is_safe=False)
    browser = create_app(config, clock=lambda: room.now, database=room.database).test_client()
    for host, is_ours in (("day-book.example", True), ("west.rooms.example:443", True), ("rooms.example", False), (EVIL, False),
                          ("day-book.example.evil.example", False), ("127.0.0.1", False)):  # fmt: skip
        assert (browser.get("/sign-in", headers={"Host": host}).status_code == 200) is is_ours, host
    monkeypatch.delenv("BLOTTER_HOSTS")
    assert load_config(tmp_path / "room").at("0.0.0.0", is_safe=False).trusted_hosts == ()


def test_a_malformed_host_never_makes_the_program_fall_over(client_as: ClientAs) -> None:
    for host in ("a b", "localhost:99999", "\x00", ""):
        assert closed(client_as("nobody").get("/sign-in", headers={"Host": host})).status_code == 400


# -- paths ------------------------------------------------------------------------------------------------------
UPWARDS = ["../app/config.py", "..%2fapp%2fconfig.py", "%2e%2e/app/config.py", "..\\app\\config.py", "/etc/passwd", "%2fetc%2fpasswd",
           "....//app/config.py", "base.css/../../app/config.py", "base.css%00.py", "C:\\windows\\win.ini", "", "."]  # fmt: skip


@pytest.mark.parametrize("path", UPWARDS, ids=repr)
def test_only_the_files_of_the_pages_are_handed_out(client_as: ClientAs, path: str) -> None:
    for address in (f"/static/{path}", f"/static//{path}"):
        answer = closed(client_as("nobody").get(address, follow_redirects=True))
        assert answer.status_code in (400, 404) or "<title>Sign in" in answer.text, answer.text[:80]


@pytest.mark.parametrize(
    "key", ["../blotter.sqlite3", "../secret-key", "/etc/passwd", "", "0" * 64, "0" * 64 + "\n", "A" * 64]
)
def test_a_held_file_is_asked_for_by_its_key_and_never_by_a_path(app: Flask, client_as: ClientAs, key: str) -> None:
    data = app.extensions["blotter"].config.data
    (data / "secret-key").write_text("kept")
    browser = client_as("manager")
    with browser.session_transaction() as session:
        session["upload"] = key
    answer = send(browser, "/intake", held=key, consignment="QF", write="y")
    assert answer.status_code in (302, 422) and "kept" not in browser.get("/intake").text
    assert (data / "secret-key").read_text() == "kept"


def test_the_name_of_a_file_that_is_sent_in_is_never_used(app: Flask, room: Room, client_as: ClientAs) -> None:
    from tests.web.test_every_page import expect_a_consignment

    expect_a_consignment(room)
    browser, data = client_as("manager"), app.extensions["blotter"].config.data
    for name in ("../../evil.csv", "/tmp/evil.csv", "evil\x00.csv", "..\\evil.csv", "a" * 300 + ".csv"):
        text = f"catalogNumber,scientificName\n{room.new_number()},Carex nigra\n".encode()
        form = {"file": (BytesIO(text), name), "consignment": "QF", "csrf_token": token(browser, "/intake")}
        assert browser.post("/intake", data=form, content_type="multipart/form-data").status_code == 200
    files = [path for path in data.parent.rglob("*") if path.is_file() and "sqlite3" not in path.name]
    assert files and all(re.fullmatch("[0-9a-f]{64}", path.name) and path.parent == data / "uploads" for path in files)
    assert all(path.stat().st_mode & 0o077 == 0 for path in (*files, data / "uploads"))


# -- tables -----------------------------------------------------------------------------------------------------
def test_no_table_that_is_handed_out_holds_a_formula_or_a_name_that_breaks_out(
    app: Flask, room: Room, client_as: ClientAs
) -> None:
    hostile = '=HYPERLINK("http://evil.example")'
    with transaction(room.database) as session:
        add_cabinet(session, hostile, next(iter(_stages())), room.now, shelves=1)
        add_cabinet(session, 'x"; filename=../evil', next(iter(_stages())), room.now, shelves=1)
    with transaction(room.database) as session:
        from app.services.people import add_worker

        add_worker(session, "+SUM(A1:A9)", ("volunteer",), room.now)
    number, seen = room.sheet_ready(), 0
    room.scans(number, at="table-1")
    browser = client_as("manager")
    asked = [address for endpoint, method, address in addresses(app, room, number) if method == "GET"]
    asked += [
        f"/cabinets/{name}.csv" for name in ("x%22%3B%20filename%3D..%2Fevil", "..%2F..%2Fetc", "=1%2B1", "a%0d%0ab")
    ]
    for address in asked:
        answer = closed(browser.get(address))
        if answer.status_code != 200 or answer.mimetype != "text/csv":
            continue
        seen += 1
        name = re.fullmatch(r'attachment; filename="([^"]+)"', answer.headers["Content-Disposition"])
        assert name and re.fullmatch(r"[A-Za-z0-9-]+\.csv", name[1]), answer.headers["Content-Disposition"]
        for line in csv.reader(StringIO(answer.data.decode("utf-8-sig"))):
            assert not [cell for cell in line if cell.startswith(FORMULA_SIGNS)], address
    assert seen >= 3


def test_a_hostile_name_of_a_plant_is_text_in_every_table(app: Flask, room: Room, client_as: ClientAs) -> None:
    from app.db.engine import reading
    from app.services.desk import Occasion
    from app.services.intake import plan_import, run_import
    from tests.web.test_every_page import expect_a_consignment

    expect_a_consignment(room)
    number = room.new_number()
    text = f'catalogNumber,scientificName,recordedBy\n{number},"=1+1","@SUM(A1)"\n'.encode()
    with reading(room.database) as session:
        assert not plan_import(session, text, "QF", Occasion(room.now, LONDON)).bad
    with transaction(room.database) as session:
        run_import(session, text, "QF", Occasion(room.now, LONDON), (room.worker["hedda"],))
    table = client_as("manager").get("/sheets.csv").data.decode("utf-8-sig")
    cells = [cell for line in csv.reader(StringIO(table)) for cell in line]
    assert any("1+1" in cell for cell in cells) and not [cell for cell in cells if cell.startswith(FORMULA_SIGNS)]


def _stages() -> list[object]:
    from app.domain.stages import Stage

    return [Stage.READY]


# -- bodies -----------------------------------------------------------------------------------------------------
def test_a_body_that_is_too_large_is_refused_in_words_and_nothing_is_written(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    form, before = token(browser, "/password"), kept(room)
    part = '--cut\r\nContent-Disposition: form-data; name="{}"\r\n\r\n{}\r\n'
    of_parts, plain = "multipart/form-data; boundary=cut", "application/x-www-form-urlencoded"
    for body, kind in (
        (part.format("csrf_token", form) + part.format("name", "x" * (1024 * 1024 + 1)) + "--cut--\r\n", of_parts),
        (
            part.format("csrf_token", form) + "".join(part.format(f"f{n}", "x") for n in range(300)) + "--cut--\r\n",
            of_parts,
        ),
        ("name=" + "x" * (LARGEST_BODY + 1), plain),
    ):
        answer = browser.post("/people", data=body.encode(), content_type=kind)
        assert answer.status_code == 413 and "Nothing was written." in words(answer), (answer.status, kind, len(body))
    form_too_long = {"csrf_token": form, "name": "x" * 200_000, "rights": "reader"}
    assert browser.post("/people", data=form_too_long).status_code == 422
    assert kept(room) == before


def test_a_long_line_of_questions_is_no_trouble(client_as: ClientAs) -> None:
    browser = client_as("manager")
    for path in (
        f"/search?q={'x' * 20_000}",
        f"/sheets?q={'%' * 5000}",
        f"/sheets?after={'9' * 20_000}",
        "/sheets?" + "&a=b" * 5000,
    ):
        assert browser.get(path).status_code in (200, 302, 404, 413, 422), path[:20]


def test_cookies_live_shorter_than_what_is_remembered_of_signed_out_browsers(app: Flask) -> None:
    from app.services.browsers import KEPT

    assert timedelta(0) < app.permanent_session_lifetime < KEPT
    assert set(PERMISSIONS)
