"""Nothing that a person reads is left in English: in a room full of work, what was said is marked, and nothing else is there to read."""

from __future__ import annotations

import re
from pathlib import Path
from secrets import token_urlsafe

import pytest
from babel import Locale
from flask import Flask, url_for
from flask.testing import FlaskClient
from sqlalchemy import select

from app import create_app
from app.config import Config
from app.db.engine import Database, reading, transaction
from app.db.models import Entry, Sheet, Stack, Station, Worker
from app.domain.numbers import COMMANDS
from app.services.people import enrol_station
from app.web import languages
from app.web.permissions import PERMISSIONS
from app.web.security import STATION_COOKIE
from seed_demo import Demo, fill
from tests.room import LONDON, WEDNESDAY
from tests.web.conftest import token
from tests.web.left_unsaid import MARKED, own_words, unsaid

# Names of the program, of standards and units, and what stands in codes: the same in every language.
SAME = {"blotter", "csv", "html", "json", "qr", "iso", "pdf", "mm", "cm", "kg", "min", "en", "nl", "english", "nederlands",
        "marked", "quay", "zwm", "pva", "eva", "id", "utc", "gmt", "ctrl", "http", "https"}  # fmt: skip


@pytest.fixture
def demo(database: Database) -> Demo:
    return fill(database, LONDON, WEDNESDAY.replace(hour=15), small=True)


@pytest.fixture
def marked_app(database: Database, demo: Demo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Flask:
    """The room with every browser reading the marked language."""
    monkeypatch.setattr(languages, "language_of", lambda code: MARKED)
    monkeypatch.setattr(languages, "script_words", lambda: "{}")
    made = create_app(
        Config(tmp_path, "", LONDON, "k" * 40), clock=lambda: WEDNESDAY.replace(hour=15), database=database
    )
    made.testing = True
    return made


@pytest.fixture
def own(database: Database, demo: Demo) -> set[str]:
    return own_words(database) | SAME


def manager(app: Flask, demo: Demo) -> FlaskClient:
    client = app.test_client(use_cookies=True)
    sent = {"csrf_token": token(client, "/sign-in"), "name": demo.manager_name, "password": demo.password}
    assert client.post("/sign-in", data=sent).status_code == 302
    return client


@pytest.mark.parametrize(
    "path", ["/board", "/wall", "/week", "/ahead?afternoons=1&share=half&places=20", "/press", "/usual", "/order"]
)
def test_on_the_pages_that_say_how_the_room_stands(marked_app: Flask, demo: Demo, own: set[str], path: str) -> None:
    answer = manager(marked_app, demo).get(path, follow_redirects=True)
    assert answer.status_code == 200 and answer.text.count("⟦") > 20
    assert unsaid(answer.text, own) == []


def test_on_the_screen_of_every_station(marked_app: Flask, database: Database, demo: Demo, own: set[str]) -> None:
    with reading(database) as session:
        stations = list(session.execute(select(Station.id, Station.slug).where(Station.closed_at.is_(None))))
    left = {slug: unsaid(station(marked_app, database, number).get("/station").text, own) for number, slug in stations}
    assert left == {slug: [] for _, slug in stations}


def test_in_the_answers_of_the_stations(marked_app: Flask, database: Database, demo: Demo, own: set[str]) -> None:
    left = []
    with reading(database) as session:
        stations = list(session.execute(select(Station.id).where(Station.closed_at.is_(None))).scalars())
        badge = session.execute(select(Worker.badge_code).where(Worker.badge_code.is_not(None))).scalars().first()
        stacks = [code for row in session.execute(select(Stack.code_on, Stack.code_off)) for code in row]
        rows = session.execute(select(Sheet.number).order_by(Sheet.stage, Sheet.id)).scalars().all()
    for each in stations:
        client = station(marked_app, database, each)
        for code in (str(badge), *COMMANDS.values(), *stacks[:4], *rows[::5], "nonsense", rows[0][:-1] + "?"):
            sent = {"csrf_token": token(client, "/station"), "code": code, "scan_id": token_urlsafe(8)}
            answer = client.post("/station/scan", data=sent, headers={"X-Station": "1"})
            left += [(code, text) for text in unsaid(answer.text, own)]
    assert left == []


def test_on_every_page_that_the_manager_opens(marked_app: Flask, database: Database, demo: Demo, own: set[str]) -> None:
    client = manager(marked_app, demo)
    named = own | {
        word.casefold() for name in Locale.parse("nl").territories.values() for word in re.findall(r"\w+", name)
    }
    left = {}
    for address in addresses(marked_app, database):
        with client.get(address, follow_redirects=True) as answer:
            assert answer.status_code < 500, address
            if answer.mimetype == "text/html" and (found := unsaid(answer.text, named)):
                left[address] = found
    assert left == {}


def addresses(app: Flask, database: Database) -> list[str]:
    """Every page that a browser may ask for, with something of the demo where it is about one thing."""
    with reading(database) as session:
        dry = select(Sheet.number, Sheet.id).where(Sheet.stage == "dry")
        number, sheet = session.execute(dry).first() or ("", 0)
        entry = (
            session.execute(select(Entry.id).where(Entry.subject_kind == "sheet", Entry.subject_id == sheet))
            .scalars()
            .first()
        )
    ones = dict.fromkeys(
        ("worker_id", "token_id", "file_id", "pest_id", "check_id", "hand_over_id", "lot_id", "aside_id"), 1
    )
    values = {
        **ones,
        "supply_id": 4,
        "number": number,
        "entry": entry,
        "slug": "table-1",
        "label": "2026-W48",
        "code": "x",
    }
    names = {"press": "P1", "rules": "press_pva_h"}
    found = []
    with app.test_request_context():
        for rule in app.url_map.iter_rules():
            if rule.endpoint in PERMISSIONS and "GET" in (rule.methods or set()) and rule.endpoint != "static":
                given = {**values, "name": names.get(rule.endpoint.partition(".")[0], "M1")}
                found.append(url_for(rule.endpoint, **{each: given[each] for each in rule.arguments}))
    assert len(found) > 80
    return found


def station(app: Flask, database: Database, number: int) -> FlaskClient:
    with transaction(database) as session:
        by = session.execute(select(Worker.id).where(Worker.rights.contains("manager"))).scalars().first()
        secret = enrol_station(session, number, int(by or 0), WEDNESDAY)
    client = app.test_client(use_cookies=True)
    client.set_cookie(STATION_COOKIE, secret)
    return client


def test_the_marks_find_a_word_that_was_not_said() -> None:
    assert unsaid('<p>⟦It is ⟧held⟦.⟧</p><p title="Go on">⟦x⟧</p>', set()) == ["held", "Go on"]
    assert unsaid("<p>⟦It is ⟧Piet⟦.⟧</p>", {"piet"}) == [] and re.search("⟦", "⟦")
