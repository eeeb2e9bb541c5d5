"""One house rule on its own page: its value, its history, and the sheets that a raised time under weight leaves behind."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.lying import ASKED, Shorter, lying_shorter
from app.db.models import Change, Worker, table_of
from app.domain.house import ONE_PERSON, RULES
from app.domain.house_words import MORE
from app.domain.language import say
from app.domain.numbers import shown
from app.domain.press import MINIMUM_RULES
from app.domain.words import duration
from app.queries.furniture import RuleLine, house_rules
from app.queries.house import house_now, patterns_now
from app.queries.press import press_room

CHANGE = table_of(Change)
MOST_LISTED = 200


@dataclass(frozen=True, slots=True)
class Asked:
    """One answer to the question whether a raised minimum holds for the sheets lying there too."""

    asked_at: datetime
    by: str
    words: str
    why: str


@dataclass(frozen=True, slots=True)
class RulePage:
    """One house rule: the line of it, what more there is to know, and how many sheets lie by a shorter minimum.

    `asked` are the answers that were given about sheets lying there, newest first.
    """

    line: RuleLine
    more: str
    lying: int
    asked: tuple[Asked, ...]


@dataclass(frozen=True, slots=True)
class LyingLine:
    """A sheet that lies by a shorter minimum; an empty stack where it was found out of it. `out` is when it may come out."""

    number: str
    shown: str
    stack: str
    bulk: str
    lies_for: str
    asks: str
    out: str
    is_ready: bool


@dataclass(frozen=True, slots=True)
class Lying:
    """The sheets that lie by a shorter minimum than a house rule asks, at most 200 of them listed.

    `version` is that of the house rules which the list goes by, `reason` what was said when the rule was set.
    """

    words: str
    value: int
    version: int
    reason: str
    count: int
    out_of_stack: int
    ready: int
    lines: tuple[LyingLine, ...]


@dataclass(frozen=True, slots=True)
class PresetLine:
    """One rule of a preset: as it is, and as it would be; both 0 or 1."""

    name: str
    words: str
    value: int
    wanted: int


def rule_page(session: Session, name: str) -> RulePage:
    """One house rule that there is, with its history."""
    line = next(each for each in house_rules(session) if each.name == name)
    return RulePage(line, say(MORE.get(name, "")), count_lying(session, name), _asked(session, name))


def count_lying(session: Session, name: str) -> int:
    """How many sheets lie by a shorter minimum than this house rule asks; 0 for rules of anything else."""
    return len(lying_shorter(session, name)) if name in MINIMUM_RULES else 0


def lying_page(session: Session, name: str, now: datetime, zone: ZoneInfo) -> Lying:
    """The sheets that lie by a shorter minimum than this house rule asks."""
    found = lying_shorter(session, name) if name in MINIMUM_RULES else []
    house = house_now(session)
    layers = {layer.sheet_id: (stack.name, layer) for stack in press_room(session, now, zone) for layer in stack.layers}
    ready = {sheet_id for sheet_id, (_, layer) in layers.items() if layer.state == "ready"}
    patterns = patterns_now(session)

    def line(each: Shorter) -> LyingLine:
        stack, layer = layers.get(each.sheet_id, ("", None))
        return LyingLine(
            each.number, shown(each.number, patterns), stack, each.bulk, duration(each.lies_for_s), duration(each.asks_s),
            layer.out_words if layer else "", each.sheet_id in ready,
        )  # fmt: skip

    history = next(each for each in house_rules(session) if each.name == name).history
    return Lying(
        say(RULES[name].words), int(getattr(house, name)), house.version, history[0].reason if history else "", len(found),
        sum(each.stack_id is None for each in found), sum(each.sheet_id in ready for each in found),
        tuple(line(each) for each in found[:MOST_LISTED]),
    )  # fmt: skip


def one_person_lines(session: Session) -> tuple[PresetLine, ...]:
    """The rules of the one-person room, as they are and as they would be."""
    house = house_now(session)
    return tuple(
        PresetLine(name, say(RULES[name].words), int(getattr(house, name)), wanted)
        for name, wanted in ONE_PERSON.items()
    )


def _asked(session: Session, name: str) -> tuple[Asked, ...]:
    found = (
        select(CHANGE.c.changed_at, Worker.name, CHANGE.c.new, CHANGE.c.why)
        .outerjoin(Worker, Worker.id == CHANGE.c.changed_by)
        .where(CHANGE.c.subject == ASKED, CHANGE.c.what == name)
        .order_by(CHANGE.c.id.desc())
    )
    return tuple(Asked(at, by or "", new or "", why or "") for at, by, new, why in session.execute(found))
