"""A zip archive that somebody sent: looked through by its directory before anything of it is unpacked."""

from __future__ import annotations

import re
import stat
import zipfile
from dataclasses import dataclass

from app.domain.archive_member import Member
from app.domain.language import say
from app.domain.source import Source, begins
from app.domain.table_faults import BadTable, clipped

MOST_BYTES = 64 * 1024 * 1024
MOST_FILES = 500
# Of what is read from one archive. Tables of text shrink five to twenty times; what shrinks more is no table.
MOST_UNPACKED = 256 * 1024 * 1024
MOST_SHRUNK = 100
SMALL = 4 * 1024 * 1024

_READ_HERE = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
_ENCRYPTED = 0x1
_DRIVE = re.compile(r"[A-Za-z]:")
BEGINS = (b"PK\x03\x04", b"PK\x05\x06")


@dataclass(frozen=True, slots=True)
class Archive:
    """An archive whose directory was looked through: its files by their names as a metafile writes them."""

    source: Source
    files: dict[str, Member]

    def member(self, name: str) -> Member:
        """One file of it, to be unpacked while it is read. BadTable where it is not there."""
        if name not in self.files:
            raise BadTable(0, "", say("The archive does not hold this file, which its metafile names."), name)
        return self.files[name]

    def read(self, name: str, most: int) -> bytes:
        """One small file of it, or its first bytes, one more than `most`. BadTable where it is not there, or is damaged."""
        with self.member(name).open() as file:
            return file.read(most + 1)


def is_archive(source: Source) -> bool:
    """Whether a file begins as a zip archive does."""
    return begins(source, 4) in BEGINS


def open_archive(source: Source) -> Archive:
    """Look through the directory of a zip archive; BadTable, in one sentence, for one that is cut, a bomb, or a trick."""
    if source.size > MOST_BYTES:
        size = say(
            "{size:.1f} MB; up to {most} MB are read",
            size=source.size / 1024 / 1024,
            most=MOST_BYTES // 1024 // 1024,
        )
        raise BadTable(0, "", say("The archive has {size}: part it into several.", size=size))
    try:
        with source.open() as file, zipfile.ZipFile(file) as archive:
            entries = archive.infolist()
    except (zipfile.BadZipFile, EOFError, NotImplementedError, OSError, ValueError, IndexError):
        words = say("The zip archive is cut off or damaged: choose the whole one, or have it made again.")
        raise BadTable(0, "", words) from None
    if len(entries) > MOST_FILES:
        raise BadTable(
            0,
            "",
            say(
                "The archive holds {files:,} files; up to {most} are read: take some out.",
                files=len(entries),
                most=MOST_FILES,
            ),
        )
    for entry in entries:
        _check_entry(entry)
    _check_sizes(entries, source.size)
    return Archive(source, _by_name(source, entries))


def _check_entry(entry: zipfile.ZipInfo) -> None:
    name = entry.orig_filename
    if reason := _trick(name):
        raise BadTable(
            0,
            "",
            say(
                "A file of the archive is called {name}, {reason}: have the archive made again.",
                name=clipped(name),
                reason=reason,
            ),
        )
    if stat.S_ISLNK(entry.external_attr >> 16):
        raise BadTable(
            0, "", say("This is a link to another file and no file: put the file itself in."), entry.filename
        )
    if entry.flag_bits & _ENCRYPTED:
        raise BadTable(0, "", say("It is locked with a password: have the archive made without one."), entry.filename)


def _trick(name: str) -> str:
    if not name:
        return say("nothing at all")
    if "\0" in name or any(not each.isprintable() for each in name):
        return say("with a character that no name has")
    if name.startswith(("/", "\\")) or _DRIVE.match(name):
        return say("a path from the root of a disk")
    if ".." in re.split(r"[/\\]", name):
        return say("a path that leads out of the archive")
    return say("with a backslash in it") if "\\" in name else ""


def _check_sizes(entries: list[zipfile.ZipInfo], packed: int) -> None:
    unpacked = sum(entry.file_size for entry in entries)
    if unpacked > MOST_UNPACKED:
        size = say(
            "{size:,.0f} MB; up to {most} MB are read",
            size=unpacked / 1024 / 1024,
            most=MOST_UNPACKED // 1024 // 1024,
        )
        raise BadTable(0, "", say("Unpacked, the archive has {size}: part it into several.", size=size))
    for entry in entries:
        if entry.file_size > SMALL and entry.file_size > MOST_SHRUNK * max(entry.compress_size, 1):
            raise BadTable(
                0, "", say("It unpacks to far more than a table of text does, and is left as it is."), entry.filename
            )
        if entry.compress_type not in _READ_HERE and not entry.is_dir():
            words = say("It is packed in a way that is not read here: have the archive made as an ordinary zip file.")
            raise BadTable(0, "", words, entry.filename)
    # Files that lie over one another in the archive are each unpacked from the same bytes.
    if sum(entry.compress_size for entry in entries) > packed:
        raise BadTable(0, "", say("The files of the archive lie over one another: have the archive made again."))


def _by_name(source: Source, entries: list[zipfile.ZipInfo]) -> dict[str, Member]:
    """The files by name, from the folder in which the metafile lies where all lie in one; BadTable for a name twice."""
    names = [entry.filename for entry in entries if not entry.is_dir() and not _is_aside(entry.filename)]
    if twice := [name for place, name in enumerate(names) if name in names[:place]]:
        raise BadTable(0, "", say("Two files of the archive have this name: have the archive made again."), twice[0])
    folders = {name.partition("/")[0] if "/" in name else "" for name in names}
    only = f"{folders.pop()}/" if len(folders) == 1 and "" not in folders else ""
    sizes = {entry.filename: entry.file_size for entry in entries}
    return {
        short: Member(source, name, sizes[name], short) for name in names for short in (name.removeprefix(only),)
    }  # fmt: skip


def _is_aside(name: str) -> bool:
    """What computers leave beside the files that are meant."""
    return name.startswith("__MACOSX/") or name.rpartition("/")[2] in (".DS_Store", "Thumbs.db")
