"""What is said of a load: how it stands, until when it stays in the freezer or closed, and what it was."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from sqlalchemy.engine import RowMapping

from app.domain.answer import Answer, Ask, Choice
from app.domain.day import WARMS, day_of
from app.domain.day_words import opens_words
from app.domain.errors import Refusal
from app.domain.freezing import CAUTIONS
from app.domain.stages import Step
from app.services import saying
from app.services.desk import Desk
from app.services.freezers import enough_at
from app.services.loads import sheets_of


def being_filled(desk: Desk, load: RowMapping) -> Answer:
    """How a load stands that is being filled."""
    many = len(sheets_of(desk.session, load))
    lines = (f"{many} sheets are in it. What is scanned next goes in it.", *CAUTIONS[2:])
    next_ = "When it is closed and lies in the freezer, scan its card, then the freezer's code."
    return Answer("done", f"{load['name']}.", lines, next_)


def in_the_freezer(desk: Desk, load: RowMapping) -> Answer:
    """How a load stands in the freezer: not yet, or that it may come out."""
    due = enough_at(load)
    if due is None or due > desk.happened_at:
        return leave_it_in(desk, load, due)
    line = f"{load['name']} has been cold for long enough, since {saying.desk_tell(desk)(due)}."
    choice = Choice("It is out now", "step", Step.LOAD_OUT.value)
    next_ = "Take it out and leave it closed. Longer in the freezer does no harm."
    lines, carry = (line, CAUTIONS[0]), {"code": load["code"]}
    return Answer("which-one", "Ready.", lines, next_, choices=(choice,), carry=carry)


def leave_it_in(desk: Desk, load: RowMapping, due: datetime | None) -> Answer:
    """Not yet: until when it stays in, and what may be said instead."""
    words = "It has to stay cold until {until}." if due else "Nobody can say yet since when it is cold."
    facts = {"until": due} if due else {}
    next_ = "Leave it in until {until}." + _closed_then(desk, due) if due else "Leave it in, and read its logger."
    refusal = Refusal("not-cold-long-enough", words, next_, "not-yet", facts)
    answer = saying.refused(desk, [refusal], already_done="It is already out", carry={"code": load["code"]})
    since = load["cold_at"]
    if load["cold_from"] != "logger" and (since is None or since > desk.happened_at):
        answer = replace(answer, ask=Ask("facts.reading_c", "Its logger shows now, °C"))
    return _progress(desk, answer, load, since)


def _progress(desk: Desk, answer: Answer, load: RowMapping, since: datetime | None) -> Answer:
    if since is None or since > desk.happened_at:
        return answer
    lain, needs = (desk.happened_at - since).total_seconds(), load["rule_days"] * 86_400
    return replace(
        answer, share=min(lain / needs, 1), share_label=f"{lain / 86_400:.1f} of {load['rule_days']} days cold"
    )


def leave_it_closed(desk: Desk, load: RowMapping, opens: datetime) -> Answer:
    """Not yet: until when a bag that came out stays closed."""
    words = "It came out {out}, and is still cold: water would settle on the plants."
    refusal = Refusal("still-cold", words, "Leave it closed until {until}." + _closed_then(desk, opens), "not-yet",
                      {"out": load["out_at"], "until": opens})  # fmt: skip
    return saying.refused(desk, [refusal], already_done="It is already open", carry={"code": load["code"]})


def came_out(desk: Desk, load: RowMapping) -> Answer:
    """What is true of a load that is out, and what to do with it now."""
    due, when = enough_at(load), saying.desk_tell(desk)
    if due is not None and due <= load["out_at"]:
        opens = load["out_at"] + WARMS
        next_ = f"Leave it closed until {when(opens)}; then scan its card again.{_closed_then(desk, opens)}"
        return Answer("done", "Out of the freezer.", (f"{load['name']} was cold for long enough.", CAUTIONS[2]), next_)
    line = f"{load['name']} came out too early: that is no treatment."
    next_ = "Put it back at once, closed as it is: scan its card, then the freezer's code. Its days begin again."
    return Answer("done", "Out too early.", (line,), next_, carry={"code": load["code"]})


def when_out(desk: Desk, load: RowMapping) -> tuple[str, ...]:
    """When a load that was just put in may come out, as far as that can be said."""
    due, when = enough_at(load), saying.desk_tell(desk)
    if due is None:
        return ("This freezer does not get that cold: it counts only from when a logger with it shows so.",)
    return (
        f"Leave it in until {when(due)}.{_closed_then(desk, due)}",
        "Reckoned as cold a day after it was put in; a logger with it may say sooner.",
    )


def _closed_then(desk: Desk, at: datetime | None) -> str:
    """What is said besides of a moment on a day on which the room is closed."""
    if at is None:
        return ""
    day = day_of(at, desk.calendar)
    return "" if desk.calendar.is_open(day.today) else f" {opens_words(day).replace('again ', 'after that ')}"


def verdict(load: RowMapping) -> str:
    """Whether what was in an opened load counts as treated."""
    return "what was in it counts as treated" if load["treated"] else "it was not a treatment"
