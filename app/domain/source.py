"""A file that is read piece by piece, as often as it is needed, and never held whole: on the disk, or what was sent."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import BinaryIO, Protocol

PIECE = 256 * 1024


class Source(Protocol):
    """What can be read from its beginning, again and again."""

    @property
    def size(self) -> int:
        """How many bytes it has."""

    def open(self) -> BinaryIO:
        """Read it from its beginning; whoever opens it closes it."""


@dataclass(frozen=True, slots=True)
class InMemory:
    """A few bytes that are held as they are."""

    data: bytes

    @property
    def size(self) -> int:
        """How many bytes it has."""
        return len(self.data)

    def open(self) -> BinaryIO:
        """Read it from its beginning."""
        return BytesIO(self.data)


@dataclass(frozen=True, slots=True)
class OnDisk:
    """A file that lies on the disk."""

    path: Path

    @property
    def size(self) -> int:
        """How many bytes it has; OSError for one that is not there."""
        return self.path.stat().st_size

    def open(self) -> BinaryIO:
        """Read it from its beginning; OSError for one that is not there."""
        return self.path.open("rb")


Data = bytes | Source


def as_source(data: Data) -> Source:
    """The same, to be read piece by piece."""
    return InMemory(data) if isinstance(data, bytes) else data


def begins(source: Source, many: int) -> bytes:
    """Its first bytes."""
    with source.open() as file:
        return file.read(many)


def pieces(source: Source) -> Iterator[bytes]:
    """All of it, a piece at a time."""
    with source.open() as file:
        while piece := file.read(PIECE):
            yield piece
