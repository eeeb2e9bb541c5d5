"""What needs a person, worst first: each line names the thing, since when, and what can be done about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from sqlalchemy.orm import Session

from app.domain.language import mark, say
from app.queries.aside import Aside, sifted
from app.queries.house import patterns_now
from app.queries.lying import Heap
from app.queries.need import Asked, Need, NeedKind
from app.queries.needs_checks import check_left, check_missed, check_to_close
from app.queries.needs_drying import dryer_hot, dryer_unread, dryer_warm
from app.queries.needs_freezer import clean_in_doubt, load_due, out_too_early, without_power
from app.queries.needs_held import held_too_long, to_be_looked_at, wanted_late
from app.queries.needs_pests import pest_seen
from app.queries.needs_press import (
    called_in_question,
    count_differs,
    mounted_too_long,
    out_early,
    ready_forgotten,
    weights_off,
)
from app.queries.needs_room import after_now, backup_due
from app.queries.needs_supplies import supply_low
from app.queries.overdue import STALLED, fresh_too_long, left_behind, papers_not_changed
from app.queries.press import StackView
from app.queries.stalled import Waiting
from app.queries.waiting import Judge
from app.queries.withdrawn import came_again

# More lines of one kind than this are told as a number: a list that nobody reads to its end helps nobody.
MOST_OF_A_KIND = 12


@dataclass(frozen=True, slots=True)
class Needs:
    """The lines that are shown, worst first, and those that somebody has put aside for now."""

    shown: tuple[Need, ...]
    aside: tuple[Aside, ...]


def needs_a_person(session: Session, judged: Judge, waiting: Sequence[Waiting], stacks: Sequence[StackView],
                   behind: Sequence[Heap]) -> Needs:  # fmt: skip
    """Everything in the room that needs a person, worst first; more than a few alike are told as a number."""
    asked = Asked(session, judged, waiting, stacks, behind, patterns_now(session))
    shown, aside = sifted(session, judged.now, [need for kind in KINDS for need in kind.seek(asked, kind)])
    told = (need for _, alike in groupby(shown, key=lambda need: need.kind) for need in _a_few(list(alike)))
    return Needs(tuple(told), tuple(aside))


def _a_few(found: Sequence[Need]) -> list[Need]:
    rest = found[MOST_OF_A_KIND:]
    if not rest:
        return list(found)
    first, many = rest[0], sum(need.many for need in rest)
    more = Need(first.kind, say("{count:,} more", count=len(rest)), first.what, first.since, say("see the list"), "stage",
                first.stage, first.stage, many=many, is_grave=first.is_grave)  # fmt: skip
    return [*found[:MOST_OF_A_KIND], more]


KINDS = (
    NeedKind("pest-seen", mark("a pest was seen"), mark("see what lay beside it"), pest_seen, is_grave=True),
    NeedKind("mounted-too-long", mark("glued, and not under weight"), mark("where seen"), mounted_too_long, is_grave=True),
    NeedKind("weights-off", mark("in it, and its weights are off"), mark("see the stack"), weights_off, is_grave=True),
    NeedKind("out-early", mark("found out of its stack before its time; it must go under weight again"), mark("where seen"),
             out_early, is_grave=True),
    NeedKind("load-too-early", mark("came out of the freezer too early"), mark("put it back"), out_too_early, is_grave=True),
    NeedKind("freezer-off", mark("has no power by the log"), mark("see to it"), without_power, is_grave=True),
    NeedKind("dryer-hot", mark("far too hot"), mark("turn it off"), dryer_hot, is_grave=True),
    NeedKind("called-in-question", mark("short, by what is known now"), mark("look at it"), called_in_question),
    NeedKind("ready-forgotten", mark("ready and not taken out"), mark("take out"), ready_forgotten),
    NeedKind("papers", mark("its papers have not been changed"), mark("change them"), papers_not_changed),
    NeedKind("dryer-warm", mark("too warm"), mark("turn it down"), dryer_warm),
    NeedKind("dryer-unread", mark("its temperature has not been read"), mark("read it"), dryer_unread),
    NeedKind("fresh-too-long", mark("is fresh, and waits at intake too long"), mark("lay it to dry"), fresh_too_long),
    STALLED,
    NeedKind("left-behind", mark("that came later have gone on"), mark("print list"), left_behind),
    NeedKind("wanted-late", mark("was wanted"), mark("where is it"), wanted_late),
    NeedKind("held-too-long", mark("held too long"), mark("see to it"), held_too_long),
    NeedKind("against-a-rule", mark("mounted against a rule"), mark("look at it"), to_be_looked_at),
    NeedKind("not-found", mark("not found"), mark("look for it"), to_be_looked_at),
    NeedKind("came-again", mark("was withdrawn, and was scanned here since"), mark("take it in again"), came_again),
    NeedKind("check-missed", mark("not found by it"), mark("see the result"), check_missed),
    NeedKind("check-to-close", mark("is through, and not closed yet"), mark("close it"), check_to_close),
    NeedKind("check-left", mark("is not through"), mark("go on with it"), check_left),
    NeedKind("clean-in-doubt", mark("is clean, and an untreated sheet was brought to it"), mark("say how it is"), clean_in_doubt),
    NeedKind("load-due", mark("is due"), mark("see to it"), load_due),
    NeedKind("count-differs", mark("by the log"), mark("check it"), count_differs),
    NeedKind("supply-low", mark("on hand"), mark("order it"), supply_low),
    NeedKind("after-now", mark("is dated after now"), mark("take it back"), after_now),
    NeedKind("backup", mark("last backed up"), mark("back up now"), backup_due),
)  # fmt: skip
