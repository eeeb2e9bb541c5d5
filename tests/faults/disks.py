"""A small disk of one's own: it fills up, and it can be made one that may only be read."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

FILLER = "filler"


def may_mount() -> bool:
    """Whether disks can be mounted here: only by root, and not in every container."""
    return os.name == "posix" and hasattr(os, "geteuid") and os.geteuid() == 0 and shutil.which("mount") is not None


@contextmanager
def small_disk(folder: Path, megabytes: int) -> Iterator[Path]:
    """A disk of so many megabytes in memory, mounted in this folder; OSError where it cannot be."""
    folder.mkdir(mode=0o700, exist_ok=True)
    command = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m,mode=0700", "tmpfs", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise OSError(done.stderr.strip())
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def fill_up(folder: Path) -> None:
    """Write until nothing more goes on the disk."""
    with (folder / FILLER).open("wb", buffering=0) as file:
        for size in (1 << 16, 1 << 12, 1 << 9, 1):
            try:
                while True:
                    file.write(b"x" * size)
            except OSError:
                continue


def make_room(folder: Path) -> None:
    """Take away what filled the disk."""
    (folder / FILLER).unlink()


def only_read(folder: Path, *, so: bool) -> None:
    """Let the disk only be read, or be written again. OSError while a file on it is open for writing."""
    done = subprocess.run(
        ["mount", "-o", f"remount,{'ro' if so else 'rw'}", str(folder)], capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise OSError(done.stderr.strip())
