"""A zip archive that somebody sent: looked through by its directory before anything of it is unpacked."""

from __future__ import annotations

import re
import stat
import zipfile
import zlib
from dataclasses import dataclass
from io import BytesIO

from app.domain.table_faults import BadTable, clipped

MOST_BYTES = 64 * 1024 * 1024
MOST_FILES = 500
# Of what is read from one archive. Tables of text shrink five to twenty times; what shrinks more is no table.
MOST_UNPACKED = 256 * 1024 * 1024
MOST_SHRUNK = 100
SMALL = 4 * 1024 * 1024

_PIECE = 1024 * 1024
_READ_HERE = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
_ENCRYPTED = 0x1
_DRIVE = re.compile(r"[A-Za-z]:")
BEGINS = (b"PK\x03\x04", b"PK\x05\x06")


@dataclass(frozen=True, slots=True)
class Archive:
    """An archive whose directory was looked through: its files by their names as a metafile writes them."""

    data: bytes
    files: dict[str, str]

    def read(self, name: str) -> bytes:
        """One file of it. BadTable where it is not there, is damaged, or is larger than the directory says."""
        if name not in self.files:
            raise BadTable(0, "", "The archive does not hold this file, which its metafile names.", name)
        try:
            with zipfile.ZipFile(BytesIO(self.data)) as archive:
                return _unpacked(archive, archive.getinfo(self.files[name]))
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError, ValueError):
            words = "This file of the archive is damaged: make the archive again, or choose the whole one."
            raise BadTable(0, "", words, name) from None


def is_archive(data: bytes) -> bool:
    """Whether a file begins as a zip archive does."""
    return data.startswith(BEGINS)


def open_archive(data: bytes) -> Archive:
    """Look through the directory of a zip archive; BadTable, in one sentence, for one that is cut, a bomb, or a trick."""
    if len(data) > MOST_BYTES:
        size = f"{len(data) / 1024 / 1024:.1f} MB; up to {MOST_BYTES // 1024 // 1024} MB are read"
        raise BadTable(0, "", f"The archive has {size}: part it into several.")
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            entries = archive.infolist()
    except (zipfile.BadZipFile, EOFError, NotImplementedError, OSError, ValueError, IndexError):
        words = "The zip archive is cut off or damaged: choose the whole one, or have it made again."
        raise BadTable(0, "", words) from None
    if len(entries) > MOST_FILES:
        raise BadTable(0, "", f"The archive holds {len(entries):,} files; up to {MOST_FILES} are read: take some out.")
    for entry in entries:
        _check_entry(entry)
    _check_sizes(entries, len(data))
    return Archive(data, _by_name(entries))


def _check_entry(entry: zipfile.ZipInfo) -> None:
    name = entry.orig_filename
    if reason := _trick(name):
        raise BadTable(
            0, "", f"A file of the archive is called {clipped(name)}, {reason}: have the archive made again."
        )
    if stat.S_ISLNK(entry.external_attr >> 16):
        raise BadTable(0, "", "This is a link to another file and no file: put the file itself in.", entry.filename)
    if entry.flag_bits & _ENCRYPTED:
        raise BadTable(0, "", "It is locked with a password: have the archive made without one.", entry.filename)


def _trick(name: str) -> str:
    if "\0" in name or any(not each.isprintable() for each in name):
        return "with a character that no name has"
    if name.startswith(("/", "\\")) or _DRIVE.match(name):
        return "a path from the root of a disk"
    if ".." in re.split(r"[/\\]", name):
        return "a path that leads out of the archive"
    return "with a backslash in it" if "\\" in name else ""


def _check_sizes(entries: list[zipfile.ZipInfo], packed: int) -> None:
    unpacked = sum(entry.file_size for entry in entries)
    if unpacked > MOST_UNPACKED:
        size = f"{unpacked / 1024 / 1024:,.0f} MB; up to {MOST_UNPACKED // 1024 // 1024} MB are read"
        raise BadTable(0, "", f"Unpacked, the archive has {size}: part it into several.")
    for entry in entries:
        if entry.file_size > SMALL and entry.file_size > MOST_SHRUNK * max(entry.compress_size, 1):
            raise BadTable(
                0, "", "It unpacks to far more than a table of text does, and is left as it is.", entry.filename
            )
        if entry.compress_type not in _READ_HERE and not entry.is_dir():
            words = "It is packed in a way that is not read here: have the archive made as an ordinary zip file."
            raise BadTable(0, "", words, entry.filename)
    # Files that lie over one another in the archive are each unpacked from the same bytes.
    if sum(entry.compress_size for entry in entries) > packed:
        raise BadTable(0, "", "The files of the archive lie over one another: have the archive made again.")


def _by_name(entries: list[zipfile.ZipInfo]) -> dict[str, str]:
    """The files by name, from the folder in which the metafile lies where all lie in one; BadTable for a name twice."""
    names = [entry.filename for entry in entries if not entry.is_dir() and not _is_aside(entry.filename)]
    if twice := [name for place, name in enumerate(names) if name in names[:place]]:
        raise BadTable(0, "", "Two files of the archive have this name: have the archive made again.", twice[0])
    folders = {name.partition("/")[0] if "/" in name else "" for name in names}
    only = f"{folders.pop()}/" if len(folders) == 1 and "" not in folders else ""
    return {name.removeprefix(only): name for name in names}


def _is_aside(name: str) -> bool:
    """What computers leave beside the files that are meant."""
    return name.startswith("__MACOSX/") or name.rpartition("/")[2] in (".DS_Store", "Thumbs.db")


def _unpacked(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> bytes:
    found, left = bytearray(), entry.file_size
    with archive.open(entry) as file:
        while piece := file.read(min(_PIECE, left + 1)):
            left -= len(piece)
            if left < 0:
                raise zipfile.BadZipFile
            found += piece
    if left:
        raise zipfile.BadZipFile
    return bytes(found)
