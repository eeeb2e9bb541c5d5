"""What all tests share: a room migrated once and copied for each test, and the cast of the room."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from hypothesis import settings

from app.db.engine import Database, open_database, sqlite_url
from app.db.upgrade import upgrade
from app.services import people
from tests.room import Room

# The same histories every time, so that a red build stays red; HYPOTHESIS_PROFILE=long looks for new ones.
settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("long", max_examples=2000, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))


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


@pytest.fixture
def database(migrated: Path, tmp_path: Path) -> Iterator[Database]:
    """A fresh, empty room's database."""
    path = tmp_path / "blotter.sqlite3"
    shutil.copy(migrated, path)
    opened = open_database(sqlite_url(path))
    yield opened
    opened.engine.dispose()


@pytest.fixture
def room(database: Database) -> Room:
    """A room with its cast, cabinets, stacks and stations, on a Wednesday morning."""
    return Room(database)
