"""Another database in the place of the room's: whatever step it is cut short at, one of the two is there, whole."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from app.db import swapping
from app.db.swapping import finish_swap, is_half_way, put_in_place


class Cut(BaseException):
    """The power went."""


def made(path: Path, *values: str, open_end: bool = False) -> None:
    """A small database that writes ahead; with an open end its last value waits beside it, as after a power cut."""
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("CREATE TABLE kept (value TEXT)")
    connection.executemany("INSERT INTO kept VALUES (?)", [(value,) for value in values])
    connection.commit()
    if open_end:
        beside = path.with_name(f"{path.name}-wal").read_bytes()
        shared = path.with_name(f"{path.name}-shm").read_bytes()
        main = path.read_bytes()
        connection.close()
        path.write_bytes(main)
        path.with_name(f"{path.name}-wal").write_bytes(beside)
        path.with_name(f"{path.name}-shm").write_bytes(shared)
    else:
        connection.close()


def values(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return [row[0] for row in connection.execute("SELECT value FROM kept ORDER BY rowid")]


def steps(monkeypatch: pytest.MonkeyPatch, cut_at: int) -> list[str]:
    """Every deed on the disk from here on, cut short before the one of this number."""
    done: list[str] = []

    def watched(name: str, deed: Callable[..., object]) -> Callable[..., object]:
        def act(*args: object, **more: object) -> object:
            if len(done) == cut_at:
                raise Cut
            done.append(name)
            return deed(*args, **more)

        return act

    monkeypatch.setattr(os, "replace", watched("replace", os.replace))
    monkeypatch.setattr(Path, "unlink", watched("unlink", Path.unlink))
    monkeypatch.setattr(swapping, "put_on_disk", watched("sync", swapping.put_on_disk))
    return done


def test_the_new_one_takes_the_place_and_the_old_one_is_kept_whole_beside_it(tmp_path: Path) -> None:
    room, new, kept = tmp_path / "room.sqlite3", tmp_path / "new.sqlite3", tmp_path / "kept.sqlite3"
    made(room, "old", "older", open_end=True)
    made(new, "new")
    put_in_place(new, room, kept)
    assert values(room) == ["new"] and values(kept) == ["old", "older"]
    assert not is_half_way(room) and not new.exists() and not finish_swap(room)


def laid(folder: Path, *, is_damaged: bool) -> tuple[Path, Path, Path]:
    """A room that was not closed in order, or is damaged; another to be put in its place; and where the old one is kept."""
    folder.mkdir()
    room, new, kept = folder / "room.sqlite3", folder / "new.sqlite3", folder / "kept.sqlite3"
    made(new, "new")
    if is_damaged:
        # What cannot be opened cannot be carried over first: its file and what waits beside it go together.
        room.write_bytes(b"old" * 5000)
        (folder / "room.sqlite3-wal").write_bytes(b"waits")
    else:
        made(room, "old", open_end=True)
    return room, new, kept


def cut(cut_at: int, new: Path, room: Path, kept: Path | None) -> bool:
    """Put the new one in place, cut short before this step; whether that was before its end."""
    with pytest.MonkeyPatch.context() as patched:
        steps(patched, cut_at)
        try:
            put_in_place(new, room, kept)
        except Cut:
            return True
    return False


@pytest.mark.parametrize("keeps", [True, False])
def test_cut_short_anywhere_the_room_is_the_old_one_or_the_new_one(tmp_path: Path, keeps: bool) -> None:
    ends = []
    while not ends or ends[-1] != "whole":
        room, new, kept = laid(tmp_path / str(len(ends)), is_damaged=False)
        was_cut = cut(len(ends), new, room, kept if keeps else None)
        # What the next command does before anything else.
        finish_swap(room)
        found = values(room)
        assert found in (["old"], ["new"]) and not (room.parent / "room.sqlite3-wal").exists()
        assert kept.exists() == (keeps and found == ["new"]) and (not kept.exists() or values(kept) == ["old"])
        ends.append(found[0] if was_cut else "whole")
    # First the old one, from one step on the new one, and never back.
    assert ends == sorted(ends, key=["old", "new", "whole"].index) and {"old", "new"} < set(ends)


def test_a_damaged_one_goes_together_with_what_waits_beside_it(tmp_path: Path) -> None:
    ends = []
    while not ends or ends[-1] != "whole":
        room, new, kept = laid(tmp_path / str(len(ends)), is_damaged=True)
        was_cut = cut(len(ends), new, room, kept)
        finish_swap(room)
        is_new = room.read_bytes()[:6] == b"SQLite"
        where = kept if is_new else room
        assert where.read_bytes() == b"old" * 5000
        assert where.with_name(f"{where.name}-wal").read_bytes() == b"waits"
        assert not is_new or values(room) == ["new"]
        ends.append(("new" if is_new else "old") if was_cut else "whole")
    assert {"old", "new"} < set(ends)


def test_where_there_is_no_room_yet_the_new_one_is_put(tmp_path: Path) -> None:
    made(tmp_path / "new.sqlite3", "new")
    put_in_place(tmp_path / "new.sqlite3", tmp_path / "room.sqlite3", None)
    assert values(tmp_path / "room.sqlite3") == ["new"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["room.sqlite3"]
