"""How an answer is said: the word, what is true, and what to do next with the thing in the hands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy.engine import RowMapping

from app.db.briefing import facts_for_brief
from app.db.prepared import ask_ahead
from app.domain.answer import WORDS, Answer, Described
from app.domain.brief import brief_lines
from app.domain.errors import Refusal, gravest
from app.domain.language import mark, say
from app.domain.sheet import Standing
from app.domain.stages import STEP_WORDS, Stage, Step
from app.domain.words import duration, said
from app.services.ahead import answer_ahead
from app.services.back import back_words
from app.services.describing import describe
from app.services.desk import Desk
from app.services.facts import place_words
from app.services.filing import filed_words
from app.services.press_saying import at_press, in_layer, lay_it_where
from app.services.unplaced import if_unplaced


def done(desk: Desk, row: RowMapping, step: Step, entry_id: int, now_stands: Standing) -> Answer:
    """The answer to a step that was taken."""
    ask_ahead(desk.session, answer_ahead(row, step, now_stands))
    sheet = describe(desk.session, row, desk.patterns)
    word = say(STEP_WORDS[step][1]).capitalize() + "."
    lines = (*back_words(desk, row, now_stands), *(_brief(desk, row) if step is Step.TAKE_UP else ()),
             *(filed_words(desk, row, now_stands) if step is Step.FILE else ()))  # fmt: skip
    answer = Answer("done", word, lines, next_words(desk, sheet, step, now_stands), sheet, step.value, entry_id)
    answer = if_unplaced(desk, row["number"], step, now_stands, answer)
    return at_press(desk, row, step, now_stands, answer)


def refused(desk: Desk, refusals: Sequence[Refusal], row: RowMapping | None = None, *, step: Step | None = None,
            already_done: str = "", carry: dict[str, str] | None = None) -> Answer:  # fmt: skip
    """The answer to a step that may not be taken: every reason, and what to do now."""
    kind = gravest(refusals)
    sheet = describe(desk.session, row, desk.patterns) if row is not None else None
    nexts = dict.fromkeys(filter(None, (refusal.next_said(desk_tell(desk)) for refusal in refusals)))
    share, label = _progress(refusals)
    return Answer(
        kind, WORDS[kind], tuple(refusal.said(desk_tell(desk)) for refusal in refusals), " ".join(nexts), sheet,
        step.value if step else "", refusals=tuple(_plain(desk, refusal) for refusal in refusals), carry=carry or {},
        already_done=already_done, share=share, share_label=label, status=422,
    )  # fmt: skip


def desk_tell(desk: Desk) -> Any:
    """How facts are spelled in this room: moments in its zone, durations in hours and minutes."""

    def tell(value: object) -> str:
        if isinstance(value, datetime):
            return said(value, desk.occasion.zone, desk.now)
        return duration(value.total_seconds()) if isinstance(value, timedelta) else str(value)

    return tell


def next_words(desk: Desk, sheet: Described, step: Step, now: Standing) -> str:
    """What to do next with the sheet in the hands."""
    if step is Step.TAKE_UP:
        if sheet.cautions:
            return say("Read the caution, then open the folder. Scan it again when it is mounted.")
        return say("Open the folder. Scan it again when it is mounted.")
    if step in (Step.MOUNT, Step.RE_GLUE, Step.FOUND_OUT):
        return lay_it_where(desk, now)
    if step is Step.PUT_UNDER_WEIGHT:
        return in_layer(desk, now)
    if step is Step.TAKE_OUT:
        return _after_press(desk, now)
    return _settled(desk, step, now)


def _after_press(desk: Desk, now: Standing) -> str:
    if "quarantine" in now.holds:
        return say("It is in quarantine: close it in a bag at once, and keep it apart from the others.")
    put = say("Put it {where}.", where=_where(desk, now, say("on the inspection shelf")))
    look = say("It set without weight for a while: look for lifting and cockling.") if now.without_weight else ""
    return f"{look} {put}" if look else put


def _settled(desk: Desk, step: Step, now: Standing) -> str:
    if step is Step.INSPECT and now.outcome == "passed" and Step.FILE in desk.steps:
        return say("Scan the shelf that it is filed on, or put it with what is to be filed.")
    if step is Step.INSPECT:
        return _BY_OUTCOME.get(now.outcome or "", "")
    if "label-to-come" in now.holds and step in (Step.PASS_AS_DRY, Step.ARRIVE_DRY):
        return say("Its label is still to come: put it with the others that wait for one.")
    where = _where(desk, now, "")
    words = _BY_STEP.get(step, "")
    return say(words, where=where or _ELSE.get(step, _ITS_PLACE))


def _where(desk: Desk, now: Standing, otherwise: str) -> str:
    words = place_words(desk.session, now.place)
    return say("in {words}", words=words) if words and now.place.table_id is None else otherwise


def _brief(desk: Desk, row: RowMapping) -> tuple[str, ...]:
    """What to know of a sheet before its folder is opened, besides its cautions: only what is out of the ordinary."""
    facts = facts_for_brief(desk.session, row["id"], desk.patterns)
    return brief_lines(facts, desk_tell(desk), whole=False)


def _progress(refusals: Sequence[Refusal]) -> tuple[float | None, str]:
    for refusal in refusals:
        lain, needs = refusal.facts.get("under_weight"), refusal.facts.get("minimum")
        if isinstance(lain, timedelta) and isinstance(needs, timedelta) and needs:
            return lain / needs, say(
                "{lain} of {minimum} under weight",
                lain=_down(lain),
                minimum=duration(needs.total_seconds()),
            )
    return None, ""


def _down(lain: timedelta) -> str:
    return duration(int(lain.total_seconds()) // 60 * 60)


def _plain(desk: Desk, refusal: Refusal) -> dict[str, Any]:
    plain: dict[str, Any] = {"code": refusal.code, "words": refusal.said(desk_tell(desk))}
    for name, value in refusal.facts.items():
        if isinstance(value, datetime):
            plain[name] = value.isoformat()
        elif isinstance(value, timedelta):
            plain[f"{name}_minutes"] = -(-int(value.total_seconds()) // 60)
        elif isinstance(value, (str, int, float, date)) or value is None:
            plain[name] = value if not isinstance(value, date) else value.isoformat()
    return plain


def with_lines(answer: Answer, *lines: str) -> Answer:
    """The same answer with more that is true."""
    return replace(answer, lines=(*answer.lines, *lines))


def belongs(standing: Standing, where: str) -> str:
    """Where a sheet belongs now, after something was taken back."""
    if standing.stage is None:
        return say("By the log it has never been taken in.")
    place = say("in {where}", where=where) if where else _BELONGS[standing.stage]
    return say("By the log it belongs {place}.", place=place)


_BELONGS: dict[Stage, str] = {
    Stage.INTAKE: mark("at intake"), Stage.DRYING: mark("in the dryer"), Stage.READY: mark("with what is ready for mounting"),
    Stage.MOUNTED: mark("with what waits for the press"), Stage.UNDER_PRESS: mark("in its stack"),
    Stage.DRY: mark("on the inspection shelf"), Stage.FILED: mark("in its cabinet"),
}  # fmt: skip
_BY_OUTCOME = {
    "passed": mark("Put it with what is to be filed."),
    "to-be-mended": mark("Put it on the repair shelf."),
    "mended-here": mark("Somebody else looks at it once more. Leave it on the inspection shelf."),
}
_BY_STEP: dict[Step, str] = {
    Step.TAKE_IN: mark("Keep slip and label in the fold with it. Put it {where}."),
    Step.LAY_TO_DRY: mark("Slip and label stay in the fold. Lay it {where}."),
    Step.TIE: mark("Tighten the straps and put it back {where}."),
    Step.PAPERS_CHANGED: mark("Tighten the straps and put it back {where}."),
    Step.PASS_AS_DRY: mark("Put it {where}."),
    Step.ARRIVE_DRY: mark("Put it {where}."),
    Step.ARRIVE_MOUNTED: mark("Put it {where}."),
    Step.PUT_BACK: mark("It is back {where}."),
    Step.SHELVE: mark("It is {where}."),
    Step.GOES_UNMOUNTED: mark("Put it {where}."),
    Step.BACK_TO_TABLE: mark("Put it {where}."),
    Step.FILE: mark("It is {where}. Take the slip out and bring it back."),
    Step.BRING_BACK: mark("Put it {where}."),
    Step.FREEZE: mark(
        "It is in the bag. Scan the next one; or close the bag, and scan its card once it lies in the freezer."
    ),
    Step.WITHDRAW: mark("It is out of the queue."),
    Step.COME_AGAIN: mark("It stands at intake. Put it {where}."),
}
_ITS_PLACE = mark("in its place")
_ELSE: dict[Step, str] = {
    Step.TAKE_IN: mark("on the intake shelf"),
    Step.LAY_TO_DRY: mark("in the dryer"),
    Step.TIE: mark("in the dryer"),
    Step.PAPERS_CHANGED: mark("in the dryer"),
    Step.PASS_AS_DRY: mark("with what is ready for mounting"),
    Step.ARRIVE_DRY: mark("with what is ready for mounting"),
    Step.ARRIVE_MOUNTED: mark("on the inspection shelf"),
    Step.GOES_UNMOUNTED: mark("on the inspection shelf"),
    Step.BACK_TO_TABLE: mark("with what is ready for mounting"),
    Step.BRING_BACK: mark("on the inspection shelf"),
    Step.COME_AGAIN: mark("on the intake shelf"),
}
