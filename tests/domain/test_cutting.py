"""Cards on a page that is cut up: they lie on the paper, side by side, and every cut and fold has its marks."""

from __future__ import annotations

import pytest

from app.domain.card_words import CARD_KINDS, COMMAND_WORDS, LONGEST_SIGN, sign_for_label
from app.domain.cutting import GRIDS, MARK_LENGTH, PAPERS, Grid, paper_named
from app.domain.numbers import COMMANDS

EVERY = [(kind, paper) for kind in GRIDS for paper in PAPERS]
# From memory: office printers leave about 4.2 mm (1/6 inch) white at the edges of the paper.
UNPRINTED = 4.3


def test_every_kind_has_its_grid_and_its_words_and_every_command_its_card() -> None:
    assert set(GRIDS) == set(CARD_KINDS)
    assert set(COMMAND_WORDS) == set(COMMANDS)


@pytest.mark.parametrize(("kind", "paper"), EVERY)
def test_cards_and_marks_lie_where_a_printer_prints(kind: str, paper: str) -> None:
    grid, sheet = GRIDS[kind], PAPERS[paper]
    for spot in grid.spots(sheet):
        assert spot.x >= UNPRINTED and spot.x + grid.width <= sheet.width - UNPRINTED
        assert spot.y >= UNPRINTED and spot.y + grid.height <= sheet.height - UNPRINTED
    for x1, y1, x2, y2 in (*grid.cuts(sheet), *grid.creases(sheet)):
        assert UNPRINTED <= x1 <= x2 <= sheet.width - UNPRINTED and UNPRINTED <= y1 <= y2 <= sheet.height - UNPRINTED


@pytest.mark.parametrize(("kind", "paper"), EVERY)
def test_no_two_cards_overlap_and_the_page_is_full(kind: str, paper: str) -> None:
    grid = GRIDS[kind]
    spots = grid.spots(PAPERS[paper])
    assert len(spots) == len(set(spots)) == grid.on_a_page
    for one in spots:
        for other in spots:
            apart = abs(one.x - other.x) >= grid.width - 0.01 or abs(one.y - other.y) >= grid.height - 0.01
            assert one == other or apart


@pytest.mark.parametrize(("kind", "paper"), EVERY)
def test_every_edge_of_every_card_has_a_mark_at_both_ends_and_none_touches_a_card(kind: str, paper: str) -> None:
    grid, sheet = GRIDS[kind], PAPERS[paper]
    upright = [line for line in grid.cuts(sheet) if line.x1 == line.x2]
    level = [line for line in grid.cuts(sheet) if line.y1 == line.y2]
    spots = grid.spots(sheet)
    for edge in {round(at, 2) for spot in spots for at in (spot.x, spot.x + grid.width)}:
        assert sum(abs(line.x1 - edge) < 0.02 for line in upright) == 2
    for edge in {round(at, 2) for spot in spots for at in (spot.y, spot.y + grid.height)}:
        assert sum(abs(line.y1 - edge) < 0.02 for line in level) == 2
    assert all(round(abs(line.x2 - line.x1) + abs(line.y2 - line.y1), 2) == MARK_LENGTH for line in upright + level)
    top, end = spots[0].y, spots[-1].y + grid.height
    assert all(line.y2 < top or line.y1 > end for line in upright)


def test_only_what_is_folded_has_creases_and_they_part_it_in_two_halves() -> None:
    for kind, grid in GRIDS.items():
        creases = grid.creases(PAPERS["a4"])
        assert bool(creases) == (kind == "stacks")
        for line in creases:
            assert line.x1 == line.x2 == grid.corner(PAPERS["a4"]).x + grid.width / 2


def test_a_grid_of_one_card_lies_in_the_middle_of_the_paper() -> None:
    assert Grid(100, 200, 1, 1).spots(PAPERS["a4"]) == ((55, 48.5),)


# ISO 216: A4 is 210 by 297 mm. ANSI/ASME Y14.1: A is 8.5 by 11 inches of 25.4 mm.
def test_the_papers_have_their_sizes() -> None:
    a4, letter = PAPERS["a4"], PAPERS["letter"]
    assert (a4.width, a4.height) == (210, 297)
    assert (letter.width, letter.height) == pytest.approx((8.5 * 25.4, 11 * 25.4))


def test_a_paper_that_is_not_there_is_refused_in_a_sentence() -> None:
    with pytest.raises(ValueError, match="no paper called a5 here. Choose a4 or letter"):
        paper_named("a5")


def test_a_short_sign_is_printed_whole_and_of_a_long_one_the_label_says_that_there_is_more() -> None:
    assert sign_for_label("  Mercury:\n gloves. ") == "Mercury: gloves."
    assert sign_for_label("x" * LONGEST_SIGN) == "x" * LONGEST_SIGN
    long = "Naphthalene in every folder. " * 12
    told = sign_for_label(long)
    assert told.startswith("Naphthalene in every folder.") and len(told) < LONGEST_SIGN + 60
    assert told.endswith("Ask what more the sign says before you open it.") and told.split(" …")[0] in long
