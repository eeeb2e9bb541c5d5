"""What all tests share: a room migrated once and copied for each test, and the cast of the room."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from hypothesis import settings

from app.db.engine import Database, sqlite_url
from app.db.upgrade import upgrade
from app.services import people
from tests.databases import SERVER, Rooms, address
from tests.made_once import make_once
from tests.on_server import RoomsOnServer
from tests.room import Room

# The same histories every time, so that a red build stays red; HYPOTHESIS_PROFILE=long looks for new ones.
settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("long", max_examples=2000, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))


def pytest_configure(config: pytest.Config) -> None:
    """Name the marker of what is about the one-file database; share what every application would make anew."""
    config.addinivalue_line("markers", "sqlite_only(reason): what it asks can only be asked of a room in a file")
    make_once()
    # What is imported by now stays; looking through it again and again would take a tenth of the whole run.
    gc.freeze()
    gc.set_threshold(20_000, 10, 10)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """On PostgreSQL only what asks for a room is run: all else has been run without it."""
    if not SERVER:
        return
    asks = [item for item in items if {"database", "rooms"} & set(getattr(item, "fixturenames", ()))]
    config.hook.pytest_deselected(items=[item for item in items if item not in set(asks)])
    items[:] = asks
    for item in items:
        for mark in item.iter_markers("sqlite_only"):
            item.add_marker(pytest.mark.skip(reason=mark.args[0]))


@pytest.fixture(scope="session", autouse=True)
def quick_passwords() -> None:
    """The real hasher, at its lowest cost: hundreds of tests sign somebody in."""
    people._hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)


@pytest.fixture(scope="session")
def migrated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database made by the migrations, empty."""
    path = tmp_path_factory.mktemp("migrated") / "empty.sqlite3"
    upgrade(sqlite_url(path))
    return path


@pytest.fixture(scope="session")
def rooms(migrated: Path) -> Iterator[Rooms]:
    """As many empty rooms as a test asks for, on the database that the tests are run with."""
    made = RoomsOnServer(migrated, SERVER) if SERVER else Rooms(migrated)
    yield made
    made.close_since(0)
    made.close()


@pytest.fixture(autouse=True)
def closed_after(request: pytest.FixtureRequest) -> Iterator[None]:
    """What a test opened is closed and thrown away: a server holds only so many."""
    if not SERVER:
        yield
        return
    made: Rooms = request.getfixturevalue("rooms")
    many = len(made.opened)
    yield
    made.close_since(many)


@pytest.fixture
def database(rooms: Rooms, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Database]:
    """A fresh, empty room's database."""
    opened = rooms.open(tmp_path / "blotter.sqlite3")
    if not opened.is_sqlite:
        # A program that is started beside the test finds the room there; a file it would find in the folder.
        monkeypatch.setenv("BLOTTER_DATABASE_URL", address(opened))
    yield opened
    opened.engine.dispose()


@pytest.fixture
def room(database: Database) -> Room:
    """A room with its cast, cabinets, stacks and stations, on a Wednesday morning."""
    return Room(database)
