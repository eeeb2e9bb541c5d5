"""The board and the stacks as they are drawn: what was read, put into the shapes that the pictures ask for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from app.domain.language import mark, number, say, say_n
from app.domain.stages import Stage
from app.queries.board import Board, CabinetLine, StackLine
from app.queries.board_stages import Ages, StageView
from app.queries.lines import BULK_WORDS
from app.queries.lying import WITHIN
from app.queries.outlook import Outlook
from app.queries.press import LayerView, StackView

Segments = tuple[tuple[float, str], ...]
KINDS = ("fresh", "fair", "old", "stalled")
KIND_WORDS = (
    mark("in their first third"),
    mark("in their second third"),
    mark("in their last third"),
    mark("over the limit"),
)


@dataclass(frozen=True, slots=True)
class DrawnStage:
    """One stage of the flow: its figure, its bar of ages, and the lines under it."""

    slug: str
    name: str
    href: str
    count_shown: str
    segments: Segments
    bar_label: str
    lines: tuple[tuple[str, str], ...]
    ahead: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Flow:
    """The seven stages, in order."""

    stages: tuple[DrawnStage, ...]


@dataclass(frozen=True, slots=True)
class DrawnLayer:
    """One layer of a stack, counted from the bottom."""

    layer: int
    number_shown: str
    state: str
    words: str
    href: str = ""
    plant: str = ""
    adhesive: str = ""
    under_weight: str = ""
    needs: str = ""
    out: str = ""
    forgotten: bool = False
    bulky: bool = False
    sheet_id: int = 0


@dataclass(frozen=True, slots=True)
class DrawnStack:
    """One stack as it stands on the table, its layers from the bottom up."""

    name: str
    href: str
    weights_on: bool
    tone: str
    layers: tuple[DrawnLayer, ...]
    summary: str
    warning: str
    pieces: int


@dataclass(frozen=True, slots=True)
class DrawnPlace:
    """One cabinet: its sign, how much is in it, and how much of that waits too long."""

    name: str
    href: str
    count_shown: str
    segments: Segments
    bar_label: str
    lines: tuple[tuple[str, str], ...]


def flow(board: Board, ahead: Outlook, href: Callable[[str], str]) -> Flow:
    """The seven stages of a board and what lies ahead of them; `href` gives the address of a stage's list."""
    return Flow(tuple(_stage(stage, ahead.of(stage.slug), href(stage.slug)) for stage in board.stages))


def small_stack(line: StackLine, href: str, warning: str) -> DrawnStack:
    """A stack on the board; `warning` says what is wrong with it, if anything is."""
    layers = tuple(DrawnLayer(place, "", state, "") for place, state in enumerate(line.states, 1))
    tone = "stalled" if line.is_bad else ""
    return DrawnStack(
        line.name,
        href,
        line.weights_on,
        tone,
        layers,
        _summary(line.sheets, "" if warning else line.words),
        warning,
        max(line.pieces, 1),
    )


def stack(view: StackView, href: str, warning: str, sheet_href: Callable[[str], str]) -> DrawnStack:
    """A stack of the press room among the others."""
    summary = _summary(view.sheets, "" if view.off_too_long else view.short_words)
    return _stack(view, href, warning, summary, sheet_href)


def full_stack(view: StackView, href: str, warning: str, sheet_href: Callable[[str], str]) -> DrawnStack:
    """A stack drawn large, with everything of it in words."""
    return _stack(view, href, warning, view.words, sheet_href)


def place(line: CabinetLine, href: str) -> DrawnPlace:
    """A cabinet on the board: the part of it that waits longer than the house allows is drawn apart."""
    shown = say("{count:,} of {room:,}", count=line.count, room=line.capacity) if line.capacity else number(line.count)
    late = line.stalled / line.count if line.count else 0.0
    segments = _filled((1 - late, late), ("fresh", "stalled")) if line.count else ()
    label = say("{stalled:,} of {count:,} stalled in {name}", stalled=line.stalled, count=line.count, name=line.name)
    lines = [(_purpose(line), "")]
    lines += [(say("oldest {age}", age=line.oldest_age), "")] if line.oldest_age else []
    lines += [(say("{count:,} held", count=line.held), "")] if line.held else []
    lines += [(say("{count:,} stalled", count=line.stalled), "stalled")] if line.stalled else []
    return DrawnPlace(line.name, href, shown, segments, label, tuple(lines))


def _purpose(line: CabinetLine) -> str:
    stage = say(WITHIN[Stage(line.stage)]) if line.stage else line.stage_words.lower() or say("any stage")
    return say("{stage}, clean", stage=stage) if line.is_clean else stage


def age_segments(ages: Ages | None) -> Segments:
    """The shares of a bar of ages: thirds of the limit, then what is over it. Nothing where nothing waits."""
    counts = _counts(ages)
    total = sum(counts)
    return _filled(tuple(count / total for count in counts), KINDS) if total else ()


def age_words(ages: Ages | None, limit_words: str) -> str:
    """The same as a bar of ages, in words."""
    counts = [
        say("{count:,} {what}", count=count, what=words)
        for count, words in zip(_counts(ages), KIND_WORDS, strict=True)
        if count
    ]
    if not counts:
        return say("Nothing waits.")
    age = say("Age: {counts}.", counts=", ".join(counts))
    return " ".join([age, say("Limit: {limit}.", limit=limit_words)]) if limit_words else age


def _stage(stage: StageView, ahead: tuple[str, ...], href: str) -> DrawnStage:
    lines = tuple((line.words, "stalled" if line.is_bad else "") for line in stage.lines)
    return DrawnStage(stage.slug, stage.name, href, number(stage.count), age_segments(stage.ages),
                      age_words(stage.ages, stage.limit_words), lines, ahead)  # fmt: skip


def _stack(view: StackView, href: str, warning: str, summary: str, sheet_href: Callable[[str], str]) -> DrawnStack:
    layers = tuple(_layer(layer, sheet_href(layer.number)) for layer in view.layers)
    tone = "stalled" if view.off_too_long else ""
    return DrawnStack(view.name, href, view.weights_on, tone, layers, summary, warning, max(view.pieces, 1))


def _layer(layer: LayerView, href: str) -> DrawnLayer:
    words = {"ready": say("may come out"), "waiting": say("not running")}.get(layer.state, layer.out_words)
    glue = (layer.adhesive or say("adhesive not known")) + _bulk(layer.bulk)
    return DrawnLayer(layer.place, layer.shown, layer.state, words, href, layer.plant, glue, layer.under_weight_words,
                      layer.needs_words, layer.out_words, layer.forgotten, layer.bulk == "bulky", layer.sheet_id)  # fmt: skip


def _bulk(bulk: str) -> str:
    return say(", {bulk}", bulk=BULK_WORDS[bulk]) if bulk in BULK_WORDS else ""


def _counts(ages: Ages | None) -> tuple[int, ...]:
    return (ages.fresh, ages.fair, ages.old, ages.stalled) if ages else (0, 0, 0, 0)


def _filled(shares: Sequence[float], kinds: Sequence[str]) -> Segments:
    return tuple((share, kind) for share, kind in zip(shares, kinds, strict=True) if share > 0)


def _summary(count: int, words: str) -> str:
    if not count:
        return say("Empty.")
    sheets = say_n("{n} sheet", "{n} sheets", count)
    return f"{sheets}. {words[:1].upper()}{words[1:]}." if words else f"{sheets}."
