"""A cabinet check: from what was expected, what was seen and what the log wrote meanwhile, what became of each sheet."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from hashlib import sha256
from itertools import pairwise

from app.domain.intervals import Interval, wilson_interval
from app.domain.language import mark, say_n


class Fate(StrEnum):
    """What became of one sheet in a check."""

    FOUND = "found"
    CAME = "came"
    LEFT = "left"
    NOT_DRAWN = "not-drawn"
    WRONG_SHELF = "wrong-shelf"
    ELSEWHERE = "elsewhere"
    CLOSED = "closed"
    MISSING = "missing"


# What each is called, as the head of a list of such sheets; the first that somebody has to see to come first.
FATE_WORDS: dict[Fate, str] = {
    Fate.MISSING: mark("Expected, but not found"),
    Fate.ELSEWHERE: mark("Found, but it belongs elsewhere"),
    Fate.CLOSED: mark("Found, but withdrawn by the log"),
    Fate.WRONG_SHELF: mark("Found on another shelf"),
    Fate.LEFT: mark("Left during the check"),
    Fate.CAME: mark("Came during the check"),
    Fate.NOT_DRAWN: mark("Seen, but not drawn"),
    Fate.FOUND: mark("Found where it belongs"),
}


@dataclass(frozen=True, slots=True)
class Lies:
    """Where the log had a sheet: a cabinet and shelf, or neither; `where` says it in words, also a table or a stack."""

    cabinet_id: int | None = None
    shelf_id: int | None = None
    where: str = ""


@dataclass(frozen=True, slots=True)
class Turn:
    """One entry after the check had begun, and where the sheet lay by it; `corrects` is the entry that it takes back."""

    entry_id: int
    happened_at: datetime
    lies: Lies
    corrects: int | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """One scan of a sheet in a check, and the shelf that was scanned before it, if one was."""

    at: datetime
    shelf_id: int | None = None


@dataclass(frozen=True, slots=True)
class Scope:
    """What is checked: a whole cabinet, or one shelf of it; `sampled` when only sheets drawn by chance are looked for."""

    cabinet_id: int
    shelf_id: int | None = None
    sampled: bool = False

    def holds(self, lies: Lies) -> bool:
        """Whether a sheet that lies there by the log lies in what is checked."""
        return lies.cabinet_id == self.cabinet_id and self.shelf_id in (None, lies.shelf_id)


@dataclass(frozen=True, slots=True)
class Story:
    """All that is known of one sheet in a check: where it lay when that began, what the log wrote since, oldest first,
    and every scan of it in the check.
    """

    sheet_id: int
    expected: bool
    lay: Lies
    turns: tuple[Turn, ...] = ()
    seen: tuple[Seen, ...] = ()
    is_closed: bool = False


@dataclass(frozen=True, slots=True)
class Reckoned:
    """What became of a sheet: `turn` is the entry that explains it, `belongs` where it belongs by the log, `at` and
    `shelf_id` when and on which shelf it was seen last.
    """

    sheet_id: int
    fate: Fate
    expected: bool
    belongs: Lies
    turn: Turn | None = None
    at: datetime | None = None
    shelf_id: int | None = None


def reckon(scope: Scope, story: Story) -> Reckoned | None:
    """What became of one sheet; None for one that is neither expected nor seen, and did not come meanwhile.

    A scan counts by where the log had the sheet at that moment or has it since: whoever carries a sheet may be scanned a
    little later than it is laid down.
    """
    turns = moving(story.lay, story.turns)
    if not story.seen:
        return _unseen(scope, story, turns)
    last = max(story.seen, key=lambda each: each.at)
    by_log = [story.lay, *(turn.lies for turn in turns if turn.happened_at <= last.at)][-1]
    later = [turn for turn in turns if turn.happened_at > last.at]
    here = [lies for lies in (by_log, *(turn.lies for turn in later)) if scope.holds(lies)]
    fate = _where_it_lay(scope, story, last, here, by_log)
    # An entry from before the scan explains nothing of a sheet that was found.
    explains = later if fate is Fate.FOUND else turns
    return Reckoned(
        story.sheet_id, fate, story.expected, here[-1] if here else by_log, explains[-1] if explains else None,
        last.at, last.shelf_id,
    )  # fmt: skip


def moving(lay: Lies, turns: Sequence[Turn]) -> list[Turn]:
    """The turns by which a sheet lay elsewhere than before; what was taken back within the check never was."""
    own = {turn.entry_id for turn in turns}
    undone = {turn.corrects for turn in turns if turn.corrects in own}
    stand = [turn for turn in turns if turn.entry_id not in undone and turn.corrects not in own]
    lain = [lay, *(turn.lies for turn in stand)]
    return [turn for turn, (was, now) in zip(stand, pairwise(lain), strict=True) if _place(was) != _place(now)]


def draw(sheet_ids: Iterable[int], many: int, seed: int) -> list[int]:
    """So many of these sheets, each as likely as any other; the same seed draws the same. ValueError for too few."""
    lots = sorted(set(sheet_ids), key=lambda each: sha256(f"{seed} {each}".encode()).digest())
    if not 0 < many <= len(lots):
        raise ValueError(
            say_n(
                "{many} cannot be drawn from {n} sheet.",
                "{many} cannot be drawn from {n} sheets.",
                len(lots),
                many=many,
            )
        )
    return lots[:many]


def missing_share(missing: int, expected: int) -> Interval | None:
    """From which to which share may be missing of all that the sample was drawn from (Wilson, 95 %); None for no sample."""
    return wilson_interval(missing, expected) if expected else None


def _unseen(scope: Scope, story: Story, turns: Sequence[Turn]) -> Reckoned | None:
    here = [scope.holds(turn.lies) for turn in turns]
    if not story.expected:
        if scope.sampled or not any(here):
            return None
        came = turns[here.index(True)]
        return Reckoned(story.sheet_id, Fate.CAME, False, turns[-1].lies, came)
    if not turns:
        return Reckoned(story.sheet_id, Fate.MISSING, True, story.lay)
    fate = Fate.CAME if here[-1] else Fate.LEFT
    # Of one that was carried on, the entry by which it left.
    left = next((turn for turn, is_here in zip(turns, here, strict=True) if not is_here), turns[-1])
    return Reckoned(story.sheet_id, fate, True, turns[-1].lies, turns[-1] if here[-1] else left)


def _where_it_lay(scope: Scope, story: Story, last: Seen, here: Sequence[Lies], by_log: Lies) -> Fate:
    if not here:
        if story.is_closed:
            return Fate.CLOSED
        return Fate.WRONG_SHELF if by_log.cabinet_id == scope.cabinet_id else Fate.ELSEWHERE
    shelves = {lies.shelf_id for lies in here}
    if last.shelf_id is not None and not shelves & {None, last.shelf_id}:
        return Fate.WRONG_SHELF
    if story.expected:
        return Fate.FOUND
    if not scope.holds(story.lay):
        return Fate.CAME
    return Fate.NOT_DRAWN if scope.sampled else Fate.FOUND


def _place(lies: Lies) -> tuple[object, ...]:
    # A table and a stack have no cabinet: only their words tell them apart.
    return (lies.cabinet_id, lies.shelf_id, "" if lies.cabinet_id is not None else lies.where)
