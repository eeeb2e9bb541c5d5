"""Codes as they are drawn, against the standards and published values; whether readers read them is asked in a browser."""

from __future__ import annotations

import re

import pytest

from app.web.codes import LINE_MM, code128, qr, symbol


def modules(path: str) -> set[tuple[int, int]]:
    """The dark modules of a path of rectangles one module high."""
    dark: set[tuple[int, int]] = set()
    for x, y, length, back in re.findall(r"M(\d+) (\d+)h(\d+)v1h-(\d+)z", path):
        assert length == back
        dark |= {(int(x) + each, int(y)) for each in range(int(length))}
    assert re.sub(r"M\d+ \d+h\d+v1h-\d+z", "", path) == ""
    return dark


def test_a_sheet_number_is_a_small_qr_code_with_its_finders_and_its_white_edge() -> None:
    drawn = qr("TQX0042171", 13)
    dark = modules(drawn.path)
    # ISO/IEC 18004: version 1 has 21 modules; 4 of white around; three finders of 7 by 7 with a ring of white inside.
    assert (drawn.across, drawn.down, drawn.width, drawn.height) == (29, 29, 13, 13)
    assert all(4 <= x < 25 and 4 <= y < 25 for x, y in dark)
    for left, top in ((4, 4), (18, 4), (4, 18)):
        assert all((left + each, top) in dark and (left, top + each) in dark for each in range(7))
        assert not any((left + each, top + 1) in dark for each in range(1, 6))
        assert (left + 3, top + 3) in dark
    corner = {(x, y) for x in range(18, 25) for y in range(18, 25)}
    ring = {(x, y) for x, y in corner if x in (18, 24) or y in (18, 24)}
    assert not ring <= dark  # no fourth finder


# Widths of characters and the stop, ISO/IEC 15417: 11 modules each, 13 for the stop; 10 of white on each side.
def test_code_128_is_as_wide_as_its_characters() -> None:
    # Start, H, I, to set C, 34, 56, 78, check, stop.
    drawn = code128("HI345678")
    assert drawn.across == 11 * 8 + 13 + 2 * 10 and drawn.width == pytest.approx(drawn.across * LINE_MM)
    dark = {x for x, _ in modules(drawn.path)}
    assert min(dark) == 10 and max(dark) == drawn.across - 11
    # The stop is 2 3 3 1 1 1 2 (ISO/IEC 15417, from memory).
    end = drawn.across - 10 - 13
    assert [end + at in dark for at in range(13)] == [each == "1" for each in "1100011101011"]


# The check character of abcdef in set B is 97 (published by several vendors); its bars are 4 1 1 1 1 3 (ISO/IEC 15417, from memory).
def test_code_128_carries_the_published_check_character() -> None:
    drawn = code128("abcdef")
    dark = {x for x, _ in modules(drawn.path)}
    begins = drawn.across - 10 - 13 - 11
    assert "".join("1" if begins + at in dark else "0" for at in range(11)) == "11110101000"


def test_another_kind_of_code_is_refused() -> None:
    with pytest.raises(ValueError, match="no code called ean here. Choose qr or 128"):
        symbol("ean", "1", 13)
