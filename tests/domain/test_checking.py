"""What became of the sheets of a cabinet check: each case by hand, the draw, and all of it against a room that is played through."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chisquare

from app.domain.checking import Fate, Lies, Reckoned, Scope, Seen, Story, Turn, draw, missing_share, moving, reckon

BEGAN = datetime(2026, 11, 25, 9, tzinfo=UTC)
M1 = Scope(1)
HERE, THERE, TABLE = Lies(1, 11, "M1, shelf 1"), Lies(2, 21, "M2, shelf 1"), Lies(None, None, "Table 2")
NEXT_SHELF = Lies(1, 12, "M1, shelf 2")


def at(minutes: float) -> datetime:
    return BEGAN + timedelta(minutes=minutes)


def turns(*moves: tuple[float, Lies]) -> tuple[Turn, ...]:
    return tuple(Turn(nth, at(minutes), lies) for nth, (minutes, lies) in enumerate(moves, 1))


def seen(*minutes: float, shelf: int | None = None) -> tuple[Seen, ...]:
    return tuple(Seen(at(each), shelf) for each in minutes)


def fate(
    expected: bool, lay: Lies, moves: tuple[Turn, ...] = (), scans: tuple[Seen, ...] = (), scope: Scope = M1
) -> Fate | None:
    found = reckon(scope, Story(1, expected, lay, moves, scans))
    return found.fate if found else None


@pytest.mark.parametrize(
    ("expected", "lay", "moves", "scans", "is_"),
    [
        (True, HERE, (), (5,), Fate.FOUND),
        (True, HERE, (), (), Fate.MISSING),
        (False, THERE, (), (5,), Fate.ELSEWHERE),
        (False, THERE, (), (), None),
        (True, HERE, ((10, TABLE),), (), Fate.LEFT),
        (True, HERE, ((10, TABLE),), (5,), Fate.FOUND),
        # It lies there although the log has it on the table: somebody brought it back without a scan.
        (True, HERE, ((10, TABLE),), (15,), Fate.ELSEWHERE),
        (True, HERE, ((10, TABLE), (20, HERE)), (), Fate.CAME),
        (True, HERE, ((10, TABLE), (20, HERE)), (15,), Fate.FOUND),
        (False, TABLE, ((10, HERE),), (), Fate.CAME),
        (False, TABLE, ((10, HERE),), (12,), Fate.CAME),
        # Laid down first, scanned a moment later by whoever brought it.
        (False, TABLE, ((10, HERE),), (9,), Fate.CAME),
        (False, TABLE, ((10, HERE), (20, TABLE)), (), Fate.CAME),
        (False, TABLE, ((10, HERE), (20, TABLE)), (15,), Fate.CAME),
        (False, HERE, (), (5,), Fate.FOUND),
        (False, HERE, (), (), None),
    ],
)
def test_what_became_of_one_sheet(
    expected: bool, lay: Lies, moves: tuple[tuple[float, Lies], ...], scans: tuple[float, ...], is_: Fate | None
) -> None:
    assert fate(expected, lay, turns(*moves), seen(*scans)) is is_


def test_the_shelf_that_was_scanned_before_tells_the_wrong_one() -> None:
    assert fate(True, HERE, scans=seen(5, shelf=11)) is Fate.FOUND
    assert fate(True, HERE, scans=seen(5, shelf=12)) is Fate.WRONG_SHELF
    assert fate(True, HERE, scans=(*seen(5, shelf=12), *seen(6, shelf=11))) is Fate.FOUND, (
        "it was put right, and scanned again"
    )
    assert fate(True, Lies(1), scans=seen(5, shelf=12)) is Fate.FOUND, "the log knows of no shelf"
    assert fate(True, HERE, turns((7, NEXT_SHELF)), seen(5, shelf=12)) is Fate.FOUND, (
        "whoever moved it scanned it later"
    )


def test_one_shelf_is_checked_by_itself() -> None:
    shelf = Scope(1, 11)
    assert fate(False, NEXT_SHELF, scans=seen(5, shelf=11), scope=shelf) is Fate.WRONG_SHELF
    assert fate(False, THERE, scans=seen(5, shelf=11), scope=shelf) is Fate.ELSEWHERE
    assert fate(True, HERE, turns((3, NEXT_SHELF)), scope=shelf) is Fate.LEFT


def test_of_a_sample_only_those_drawn_are_missed() -> None:
    sample = Scope(1, None, True)
    assert fate(False, HERE, scans=seen(5), scope=sample) is Fate.NOT_DRAWN
    assert fate(False, TABLE, turns((3, HERE)), scope=sample) is None
    assert fate(True, HERE, scope=sample) is Fate.MISSING
    assert fate(False, THERE, scans=seen(5), scope=sample) is Fate.ELSEWHERE


def test_a_withdrawn_sheet_that_lies_there_is_a_case_of_its_own() -> None:
    found = reckon(M1, Story(1, False, Lies(None, None, "withdrawn"), (), seen(5), is_closed=True))
    assert found is not None and found.fate is Fate.CLOSED


def test_the_entry_that_explains_is_the_one_by_which_it_left() -> None:
    found = reckon(M1, Story(1, True, HERE, turns((10, TABLE), (30, Lies(None, None, "stack P1")))))
    assert found is not None and found.turn is not None
    assert (found.turn.happened_at, found.turn.lies.where, found.belongs.where) == (at(10), "Table 2", "stack P1")


def test_what_was_taken_back_meanwhile_never_was() -> None:
    moves = (*turns((10, TABLE)), Turn(2, at(11), HERE, corrects=1))
    assert moving(HERE, moves) == [] and fate(True, HERE, moves) is Fate.MISSING
    # An entry from before the check that is taken back moves the sheet now.
    before = (Turn(7, at(11), THERE, corrects=-3),)
    assert [turn.entry_id for turn in moving(HERE, before)] == [7] and fate(True, HERE, before) is Fate.LEFT


# -- the draw -----------------------------------------------------------------------------------------------------
@given(st.sets(st.integers(1, 10**6), min_size=1, max_size=80), st.integers(0, 2**31), st.data())
def test_a_draw_is_of_those_that_lie_there_and_the_same_again(ids: set[int], seed: int, data: st.DataObject) -> None:
    many = data.draw(st.integers(1, len(ids)))
    drawn = draw(ids, many, seed)
    assert len(set(drawn)) == many and set(drawn) <= ids
    assert draw(sorted(ids, reverse=True), many, seed) == drawn, "in whatever order they are given"


def test_every_sheet_is_as_likely_as_any_other() -> None:
    times = Counter(each for seed in range(3000) for each in draw(range(20), 5, seed))
    assert len(times) == 20 and chisquare([times[each] for each in range(20)]).pvalue > 1e-4


@pytest.mark.parametrize("many", [0, -1, 4])
def test_no_more_are_drawn_than_lie_there(many: int) -> None:
    with pytest.raises(ValueError, match=f"{many} cannot be drawn from 3 sheets"):
        draw([1, 2, 3], many, 1)


# Newcombe, Statistics in Medicine 17 (1998) 857, Table I, method 3: 15 of 148 and 0 of 20.
@pytest.mark.parametrize(("missing", "drawn", "low", "high"), [(15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611)])
def test_what_a_sample_tells_of_all_is_the_published_interval(
    missing: int, drawn: int, low: float, high: float
) -> None:
    share = missing_share(missing, drawn)
    assert (
        share is not None and share.low == pytest.approx(low, abs=5e-5) and share.high == pytest.approx(high, abs=5e-5)
    )
    assert missing_share(0, 0) is None


# -- a room that is played through --------------------------------------------------------------------------------
PLACES = {"here": HERE, "there": THERE, "table": TABLE, "stack": Lies(None, None, "stack P1")}


@dataclass
class Played:
    """One sheet minute by minute: where it truly lies, where the log has it, and what anybody saw of it."""

    lies: str
    log: str
    lost: bool
    moves: list[tuple[float, Lies]] = field(default_factory=list)
    scans: list[float] = field(default_factory=list)
    expected: bool = False


def play(dice: Random, minutes: int = 30) -> Played:
    """Somebody may carry the sheet with a scan, or without; the checker comes by at some minute and sees what lies there."""
    start = dice.choice(list(PLACES))
    sheet = Played(start, start, dice.random() < 0.3)
    if dice.random() < 0.2:
        sheet.lies = dice.choice(list(PLACES))
    sheet.expected = sheet.log == "here"
    comes_by = dice.randrange(minutes)
    for minute in range(minutes):
        if not sheet.lost and dice.random() < 0.06:
            sheet.lies = sheet.log = dice.choice([each for each in PLACES if each != sheet.log])
            sheet.moves.append((minute, PLACES[sheet.log]))
        if minute == comes_by and sheet.lies == "here" and not sheet.lost:
            sheet.scans.append(minute + 0.5)
    return sheet


def by_hand(sheet: Played) -> Fate | None:
    """The same question answered from the definitions, with no code of the program: where was the log at each quarter of a minute?"""
    if not sheet.scans:
        return unseen_by_hand(sheet)
    since = range(int(sheet.scans[-1] * 4), 4 * 40)
    if not any(log_at(sheet, quarter / 4) == HERE for quarter in since):
        return Fate.ELSEWHERE
    return Fate.FOUND if sheet.expected else Fate.CAME


def unseen_by_hand(sheet: Played) -> Fate | None:
    if not sheet.expected:
        return Fate.CAME if any(lies == HERE for _, lies in sheet.moves) else None
    if not sheet.moves:
        return Fate.MISSING
    return Fate.CAME if sheet.moves[-1][1] == HERE else Fate.LEFT


def log_at(sheet: Played, minute: float) -> Lies:
    known = [lies for when, lies in sheet.moves if when <= minute]
    return known[-1] if known else HERE if sheet.expected else THERE


@given(st.integers(0, 2**32))
def test_the_reckoning_agrees_with_a_room_that_is_played_through(seed: int) -> None:
    sheet = play(Random(seed))
    lay = HERE if sheet.expected else PLACES["there"]
    found = reckon(M1, Story(1, sheet.expected, lay, turns(*_changing(lay, sheet.moves)), seen(*sheet.scans)))
    assert (found.fate if found else None) == by_hand(sheet)
    _never_wrongly_blamed(sheet, found)


def _changing(lay: Lies, moves: list[tuple[float, Lies]]) -> list[tuple[float, Lies]]:
    return [move for nth, move in enumerate(moves) if move[1] != (moves[nth - 1][1] if nth else lay)]


def _never_wrongly_blamed(sheet: Played, found: Reckoned | None) -> None:
    """Nobody is asked to look for a sheet that somebody scanned on its way, nor is one passed over that is gone."""
    if found is not None and found.fate is Fate.MISSING:
        assert not sheet.moves and not sheet.scans
    if sheet.lost and sheet.expected:
        assert found is not None and found.fate is Fate.MISSING
