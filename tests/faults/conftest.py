"""What the tests of faults share: one program that starts rooms quickly, and a room in a folder of its own."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.faults.served import Keys, Nursery, Served, furnished, serving

# What is about the one-file database, and needs fork and the signals of POSIX.
HERE = sys.platform != "win32" and not os.environ.get("BLOTTER_TEST_DATABASE_URL")


@pytest.fixture(autouse=True)
def only_here() -> None:
    """Pass over what this machine, or this database, does not have."""
    if not HERE:
        pytest.skip("kill -9 and fork are POSIX, and the file is SQLite's")


@pytest.fixture(scope="session")
def nursery() -> Iterator[Nursery]:
    """The program that starts rooms."""
    begun = Nursery()
    yield begun
    begun.close()


@dataclass
class Place:
    """A furnished room that is being served."""

    served: Served
    keys: Keys
    folder: Path


@pytest.fixture
def place(migrated: Path, nursery: Nursery, tmp_path: Path) -> Iterator[Place]:
    """A room of its own, up."""
    keys = furnished(migrated, tmp_path)
    with serving(tmp_path, nursery) as served:
        served.up()
        yield Place(served, keys, tmp_path)
