"""One file of a zip archive, unpacked piece by piece while it is read; what is damaged in it is said in a sentence."""

from __future__ import annotations

import zipfile
import zlib
from dataclasses import dataclass
from io import BufferedReader, RawIOBase
from typing import Any, BinaryIO, cast

from app.domain.language import say
from app.domain.source import Source
from app.domain.table_faults import BadTable

_PIECE = 64 * 1024
_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError, ValueError)


@dataclass(frozen=True, slots=True)
class Member:
    """A file of an archive by its place there; `name` is what a metafile calls it."""

    archive: Source
    place: str
    size: int
    name: str

    def open(self) -> BinaryIO:
        """Read it from its beginning. BadTable, here or while it is read, where it is damaged, or not as large as the
        directory says.
        """
        return cast(BinaryIO, BufferedReader(_Unpacking(self), _PIECE))


class _Unpacking(RawIOBase):
    """What is unpacked is counted: no more is read than the directory says, and no less is taken for the whole."""

    def __init__(self, member: Member) -> None:
        self._member, self._left, self._open = member, member.size, list[Any]()
        try:
            self._open.append(member.archive.open())
            self._open.append(zipfile.ZipFile(self._open[0]))
            self._open.append(self._open[1].open(member.place))
        except _DAMAGED:
            self.close()
            raise _damaged(member) from None

    def readable(self) -> bool:
        """It is only read."""
        return True

    def readinto(self, into: Any) -> int:
        """The next bytes; none at its end."""
        try:
            piece = self._open[-1].read(min(len(into), self._left + 1))
        except _DAMAGED:
            raise _damaged(self._member) from None
        self._left -= len(piece)
        if self._left < 0 or (not piece and self._left):
            raise _damaged(self._member)
        into[: len(piece)] = piece
        return len(piece)

    def close(self) -> None:
        """Close it, and the archive."""
        while self._open:
            self._open.pop().close()
        super().close()


def _damaged(member: Member) -> BadTable:
    words = say("This file of the archive is damaged: make the archive again, or choose the whole one.")
    return BadTable(0, "", words, member.name)
