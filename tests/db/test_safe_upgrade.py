"""An upgrade that fails in the middle, in whatever way, leaves the room as it was, from the copy that was made first."""

from __future__ import annotations

import gzip
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from app.cli import main
from app.config import HOME
from app.db.engine import sqlite_url
from app.db.lock import in_use
from app.db.upgrade import newest_revision, revision_of
from tests.db.test_upgrades import REVISIONS, rows_of

# What a migration of a later program might do wrong. The second half writes past the transaction that would undo it.
FAULTS = {
    "fails": "op.create_table('half', sa.Column('id', sa.Integer))\n    raise RuntimeError('half way')",
    "fails after it was committed": (
        "op.create_table('half', sa.Column('id', sa.Integer))\n"
        "    op.execute('COMMIT')\n    op.execute('DROP TABLE sheet')\n    raise RuntimeError('half way')"
    ),
    "drops a guard": "op.execute('DROP TRIGGER guard_entry_delete')",
    "leaves a row that points nowhere": 'op.execute("UPDATE shelf SET cabinet_id = 9999")',
    "is stopped": "raise KeyboardInterrupt",
}
MIGRATION = '''"""One that goes wrong."""

import sqlalchemy as sa
from alembic import op

revision = "9000"
down_revision = "{older}"


def upgrade() -> None:
    {fault}
'''


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A room of the revision before this one."""
    path = tmp_path / "blotter.sqlite3"
    path.write_bytes(gzip.decompress(REVISIONS[-1].read_bytes()))
    return path


def program_with(fault: str, tmp_path: Path) -> Path:
    """A later program with one more migration."""
    program = tmp_path / "a-newer-program"
    shutil.copytree(HOME / "migrations", program / "migrations", ignore=shutil.ignore_patterns("__pycache__"))
    text = MIGRATION.format(older=newest_revision(), fault=fault)
    (program / "migrations" / "versions" / "9000_wrong.py").write_text(text, encoding="utf-8")
    return program


@pytest.mark.parametrize("kind", FAULTS)
def test_a_failed_upgrade_leaves_the_room_as_it_was(
    old: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    before, was = rows_of(old), revision_of(sqlite_url(old))
    program = program_with(FAULTS[kind], tmp_path)
    if kind == "drops a guard":
        # What guards a room has is read off an empty one, which this migration leaves without: so another is asked.
        monkeypatch.setattr("app.db.safe_upgrade.missing_guards", lambda _: ["guard_entry_delete"])
    monkeypatch.setattr("app.db.upgrade.HOME", program)
    status = main(["upgrade", "--data", str(tmp_path)])
    wrong = capsys.readouterr().err
    assert status == 1 and "Traceback" not in wrong
    assert rows_of(old) == before and revision_of(sqlite_url(old)) == was
    (copy,) = tmp_path.glob(f"blotter-before-upgrade-{was}-*.sqlite3")
    assert rows_of(copy) == before
    assert wrong == "Stopped.\n" if kind == "is stopped" else f"put back as it was before, from {copy}." in wrong
    assert not list(tmp_path.glob("*.again*")) and not list(tmp_path.glob("*.swap*"))


def test_a_copy_that_cannot_be_made_begins_no_upgrade(
    old: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    was = revision_of(sqlite_url(old))

    def full(*_: object) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr("app.db.safe_upgrade.copy_whole", full)
    assert main(["upgrade", "--data", str(tmp_path)]) == 1
    assert "The disk is full" in capsys.readouterr().err and revision_of(sqlite_url(old)) == was


def test_a_room_that_is_in_use_is_not_upgraded(old: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with in_use(sqlite_url(old)):
        assert main(["upgrade", "--data", str(tmp_path)]) == 1
    assert "Stop it first" in capsys.readouterr().err
    assert main(["upgrade", "--data", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    found = re.search(r"Copied to (\S+)\.\nMigrated to revision (\d+)\.", out)
    assert found and found[2] == newest_revision() and Path(found[1]).exists()


KILLED = """
import os, signal, sys
from pathlib import Path
import app.db.upgrade
app.db.upgrade.HOME = Path(sys.argv[2])
from app.cli import main
main(["upgrade", "--data", sys.argv[1]])
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is POSIX")
def test_killed_in_the_middle_of_an_upgrade_the_room_is_as_it_was(old: Path, tmp_path: Path) -> None:
    before, was = rows_of(old), revision_of(sqlite_url(old))
    fault = (
        "op.execute('DELETE FROM tally_day')\n    op.create_table('half', sa.Column('id', sa.Integer))\n"
        "    __import__('os').kill(__import__('os').getpid(), 9)"
    )
    program = program_with(fault, tmp_path)
    done = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path), str(program)], cwd=HOME, capture_output=True)
    assert done.returncode == -signal.SIGKILL
    assert revision_of(sqlite_url(old)) == was and rows_of(old) == before
    with closing(sqlite3.connect(old)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
