"""Codes as they are drawn: QR for every reader, Code 128 for those that only read lines. Sizes in millimetres."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from app.domain.language import mark, say

# ISO/IEC 18004 asks for 4 modules of white around a QR code, ISO/IEC 15417 for 10 on each side of a Code 128.
QUIET_QR, QUIET_LINES = 4, 10
# Two dots of a label printer of 203 dpi (0.2502 mm), three of one of 300 (0.254 mm).
LINE_MM = 0.25
SYMBOLS: dict[str, str] = {"qr": mark("QR code"), "128": mark("Code 128 (for scanners that read only lines)")}


@dataclass(frozen=True, slots=True)
class Symbol:
    """One code: its dark parts as a path in modules, with the white around it inside the box; `width` and `height` in mm."""

    path: str
    across: int
    down: int
    width: float
    height: float


def symbol(kind: str, text: str, size: float) -> Symbol:
    """The code of a text as QR of this size, or as Code 128, whose width comes of its text; ValueError for another kind."""
    if kind not in SYMBOLS:
        raise ValueError(
            say("There is no code called {kind} here. Choose {symbols}.", kind=kind, symbols=say(" or ").join(SYMBOLS))
        )
    return qr(text, size) if kind == "qr" else code128(text)


def qr(text: str, size: float) -> Symbol:
    """A QR code, `size` across with the white around it. At 13 mm a sheet's number has modules of 0.45 mm."""
    import segno

    matrix = segno.make_qr(text, error="m").matrix
    across = len(matrix) + 2 * QUIET_QR
    return Symbol(_path(matrix, QUIET_QR, QUIET_QR), across, across, size, size)


def code128(text: str, height: float = 9.0) -> Symbol:
    """A Code 128 with lines of this height, each module as wide as any office printer prints well."""
    from barcode.codex import Code128

    lines = [int(each) for each in Code128(text).build()[0]]
    across = len(lines) + 2 * QUIET_LINES
    return Symbol(_path([lines], QUIET_LINES, 0), across, 1, round(across * LINE_MM, 3), height)


def _path(rows: Sequence[Iterable[int]], left: int, top: int) -> str:
    """One rectangle for each run of dark modules in a row."""
    parts = []
    for y, row in enumerate(rows, top):
        x = left
        for dark, run in groupby(row):
            length = len(list(run))
            parts += [f"M{x} {y}h{length}v1h-{length}z"] if dark else []
            x += length
    return "".join(parts)
