"""A zip archive that is written while it is sent: no file of it, and not the whole, is ever held at once."""

from __future__ import annotations

import zipfile
from collections.abc import Iterable, Iterator

# The first moment that a zip archive can name: the same files give the same bytes, whenever they are packed.
_NO_TIME = (1980, 1, 1, 0, 0, 0)
_PLAIN_FILE = 0o600 << 16
_UNIX = 3
AT_LEAST = 64 * 1024


class _Sink:
    """What was written, until it is taken; it cannot go back, so that nothing already sent would have to change."""

    def __init__(self) -> None:
        self.pieces: list[bytes] = []

    def write(self, data: bytes, /) -> int:
        self.pieces.append(bytes(data))
        return len(data)

    def flush(self) -> None:
        """Nothing waits anywhere else."""

    def close(self) -> None:
        """There is nothing to close."""

    def taken(self) -> bytes:
        data = b"".join(self.pieces)
        self.pieces.clear()
        return data


def zipped(files: Iterable[tuple[str, Iterable[str]]], *, packed: bool = True) -> Iterator[bytes]:
    """The bytes of a zip archive of text files in UTF-8, piece by piece. Not packed it has the same bytes with every version
    of the packing library, too.
    """
    sink, how = _Sink(), zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
    with zipfile.ZipFile(sink, "w", how) as archive:
        for name, texts in files:
            info = zipfile.ZipInfo(name, _NO_TIME)
            info.compress_type, info.external_attr, info.create_system = how, _PLAIN_FILE, _UNIX
            # A file may be larger than four gigabytes: how large it is shows only at its end.
            with archive.open(info, "w", force_zip64=True) as file:
                for piece in in_pieces(texts):
                    file.write(piece)
                    yield sink.taken()
    yield sink.taken()


def in_pieces(texts: Iterable[str]) -> Iterator[bytes]:
    """Texts put together in UTF-8 to pieces that are worth sending."""
    waiting, size = list[str](), 0
    for text in texts:
        waiting.append(text)
        size += len(text)
        if size >= AT_LEAST:
            yield "".join(waiting).encode()
            waiting, size = [], 0
    if waiting:
        yield "".join(waiting).encode()
