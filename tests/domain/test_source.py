"""Files are read piece by piece: never held whole, whatever their size, and closed again."""

from __future__ import annotations

import io
import tracemalloc
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from app.domain.listing import open_listing
from app.domain.source import PIECE, InMemory, OnDisk, Source, as_source
from app.domain.table import BadTable, Row
from tests.services.archives import archive, part, table

MB = 1024 * 1024
CORE = part("core", [(1, "catalogNumber", None), (2, "locality", None)])
ADDED = part(
    "extension",
    [(1, "measurementValue", None)],
    files=("added.txt",),
    kind="http://rs.tdwg.org/dwc/terms/MeasurementOrFact",
)


def listed(many: int) -> bytes:
    return b"catalogNumber,locality\n" + b"".join(b"TQX%06d,%s\n" % (each, b"x" * 100) for each in range(many))


def archived(many: int) -> bytes:
    core = [["id", "n", "l"], *[[f"a{each}", f"TQX{each:06}", "y" * 100] for each in range(many)]]
    added = [["id", "v"], *[[f"a{each}", "z" * 100] for each in range(many)]]
    return archive(CORE, {"occurrence.txt": table(core), "added.txt": table(added)}, ADDED)


@dataclass
class Watched:
    """Says how much was asked for at most, and what was left open."""

    data: bytes
    most: int = 0
    opened: list[io.BytesIO] = field(default_factory=list)

    @property
    def size(self) -> int:
        return len(self.data)

    def open(self) -> io.BytesIO:
        watched = self

        class File(io.BytesIO):
            def read(self, size: int | None = -1, /) -> bytes:
                found = super().read(size)
                watched.most = max(watched.most, len(found))
                return found

            def read1(self, size: int | None = -1, /) -> bytes:
                return self.read(size)

        self.opened.append(File(self.data))
        return self.opened[-1]


@pytest.mark.parametrize(
    "data",
    [
        listed(20_000),
        listed(20_000).decode().encode("utf-16"),
        listed(20_000) + "TQX020001,Séguin\n".encode("cp1252"),
        archived(20_000),
    ],
    ids=["list", "UTF-16", "Windows-1252", "archive"],
)
def test_no_more_than_a_piece_is_read_at_once_and_everything_is_closed(data: bytes) -> None:
    source = Watched(data)
    listing = open_listing(source)
    assert sum(isinstance(row, Row) for row in listing.rows()) in (20_000, 20_001)
    assert listing.samples()[0][0] == "TQX000000" or listing.samples()[0][1] == "TQX000000"
    assert 0 < source.most <= PIECE and all(each.closed for each in source.opened)


@pytest.mark.parametrize("made", [listed, archived])
def test_ten_times_as_many_rows_take_no_more_memory(made: object, tmp_path: Path) -> None:
    peaks = []
    for many in (8_000, 8_000, 40_000):
        path = tmp_path / f"{many}"
        path.write_bytes(made(many))  # type: ignore[operator]
        tracemalloc.start()
        assert sum(1 for _ in open_listing(OnDisk(path)).rows()) == many
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    # The first time only warms up. A file of 40,000 rows has more than 4 MB.
    assert peaks[2] < peaks[1] * 1.2 + 64 * 1024, peaks


def test_bytes_are_a_source_and_a_source_stays_one(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_bytes(b"abc")
    sources: list[Source] = [InMemory(b"abc"), OnDisk(path)]
    for source in sources:
        assert as_source(source) is source and source.size == 3
        with source.open() as file:
            assert file.read() == b"abc"
    assert as_source(b"abc") == InMemory(b"abc")


@pytest.mark.parametrize("more", [-5, 5])
def test_a_file_of_an_archive_that_is_not_as_large_as_its_directory_says_is_damaged(more: int) -> None:
    data = bytearray(archived(50))
    # The uncompressed size in the central directory (ZIP file format specification, 4.3.12: from memory).
    at = data.rindex(b"PK\x01\x02", 0, data.rindex(b"occurrence.txt")) + 24
    size = int.from_bytes(data[at : at + 4], "little")
    data[at : at + 4] = (size + more).to_bytes(4, "little")
    with pytest.raises(BadTable) as raised:
        list(open_listing(bytes(data)).rows())
    assert (raised.value.bad.file, raised.value.bad.line) == ("occurrence.txt", 0)
    assert "is damaged" in raised.value.bad.reason
