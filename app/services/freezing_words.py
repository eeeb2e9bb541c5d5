"""What is said of a load: once something is written of it, how it stands and until when, and why it cannot be done now."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from sqlalchemy.engine import RowMapping

from app.domain.answer import Answer, Ask, Choice
from app.domain.day import Day, date_words, day_of
from app.domain.day_words import opens_words
from app.domain.errors import Refusal
from app.domain.freezing import CAUTIONS, WARMS, ColdRule, celsius
from app.domain.language import say, say_n
from app.domain.numbers import shown
from app.domain.stages import Step
from app.services import saying
from app.services.desk import Desk
from app.services.freezers import enough_at
from app.services.loads import sheets_of


def begun(load: RowMapping) -> Answer:
    """The answer once a load is begun."""
    line = say(
        "{name} is begun. Its card is {card}: write both on the bag, or print the card.",
        name=load["name"],
        card=shown(load["code"], ()),
    )
    return Answer("done", f"{load['name']}.", (line,), say("Scan the sheets that go in it, one by one, or a tied bundle's card."),
                  carry={"code": load["code"]})  # fmt: skip


def is_in(desk: Desk, load: RowMapping, freezer: RowMapping, rule: ColdRule, entry_id: int) -> Answer:
    """The answer once a load is in a freezer, which has to keep it cold by this rule."""
    line = say_n(
        "{name} is in {freezer}. It has to be cold for {n} day at {degrees}.",
        "{name} is in {freezer}. It has to be cold for {n} days at {degrees}.",
        rule.days,
        name=load["name"],
        freezer=freezer["name"],
        degrees=celsius(rule.c),
    )
    return Answer(
        "done",
        say("In the freezer."),
        (line, *when_out(desk, load)),
        CAUTIONS[0],
        step=Step.LOAD_IN.value,
        entry=entry_id,
    )


def opened(desk: Desk, load: RowMapping, many: int, entry_id: int) -> Answer:
    """The answer once the bag of a load is open, in which so many sheets lay."""
    line = say("{name} is open; {verdict}.", name=load["name"], verdict=verdict(load))
    if load["treated"]:
        days = say_n("{n} open day", "{n} open days", desk.house.treat_open_days)
        next_ = say_n(
            "Put its {n} sheet in a clean cabinet: in the open it counts as treated for {days}.",
            "Put its {n} sheets in a clean cabinet: in the open they count as treated for {days}.",
            many,
            days=days,
        )
        return Answer("done", say("Opened."), (line,), next_, step=Step.LOAD_OPENED.value, entry=entry_id)
    next_ = say("Close what was in it into another bag, and freeze it again. Keep it apart until then.")
    return Answer("done", say("Opened."), (line,), next_, step=Step.LOAD_OPENED.value, entry=entry_id)


def was_opened(desk: Desk, load: RowMapping) -> Answer:
    """How a load stands that was opened before."""
    line = say(
        "{name} was opened {when}; {verdict}.",
        name=load["name"],
        when=saying.desk_tell(desk)(load["opened_at"]),
        verdict=verdict(load),
    )
    return Answer("done", f"{load['name']}.", (line,), say("For another bag, begin another load."))


def out_of_order(load: RowMapping, words: str) -> Refusal:
    """Why a load cannot do that now, and where to look."""
    return Refusal("out-of-order", f"{load['name']}: {words}", say("Scan its card alone, and see how it stands."))


def bag_first(freezer: RowMapping) -> Refusal:
    """Why a sheet does not go into a freezer by itself."""
    words = say("{name} is a freezer: what goes into it goes in a load.", name=freezer["name"])
    return Refusal("no-load", words, say("Scan the load's card, then what goes in it."), "which-one")


def being_filled(desk: Desk, load: RowMapping) -> Answer:
    """How a load stands that is being filled."""
    many = len(sheets_of(desk.session, load))
    lines = (
        say_n(
            "{n} sheet is in it. What is scanned next goes in it.",
            "{n} sheets are in it. What is scanned next goes in it.",
            many,
        ),
        *CAUTIONS[2:],
    )
    next_ = say("When it is closed and lies in the freezer, scan its card, then the freezer's code.")
    return Answer("done", f"{load['name']}.", lines, next_)


def in_the_freezer(desk: Desk, load: RowMapping) -> Answer:
    """How a load stands in the freezer: not yet, or that it may come out."""
    due = enough_at(load)
    if due is None or due > desk.happened_at:
        return leave_it_in(desk, load, due)
    line = say(
        "{name} has been cold for long enough, since {since}.", name=load["name"], since=saying.desk_tell(desk)(due)
    )
    choice = Choice(say("It is out now"), "step", Step.LOAD_OUT.value)
    next_ = say("Take it out and leave it closed. Longer in the freezer does no harm.")
    lines, carry = (line, CAUTIONS[0]), {"code": load["code"]}
    return Answer("which-one", say("Ready."), lines, next_, choices=(choice,), carry=carry)


def leave_it_in(desk: Desk, load: RowMapping, due: datetime | None) -> Answer:
    """Not yet: until when it stays in, and what may be said instead."""
    words = say("It has to stay cold until {until}.") if due else say("Nobody can say yet since when it is cold.")
    facts = {"until": due} if due else {}
    next_ = (
        say("Leave it in until {until}.") + _closed_then(desk, due) if due else say("Leave it in, and read its logger.")
    )
    refusal = Refusal("not-cold-long-enough", words, next_, "not-yet", facts)
    answer = saying.refused(desk, [refusal], already_done=say("It is already out"), carry={"code": load["code"]})
    since = load["cold_at"]
    if load["cold_from"] != "logger" and (since is None or since > desk.happened_at):
        answer = replace(answer, ask=Ask("facts.reading_c", say("Its logger shows now, °C")))
    return _progress(desk, answer, load, since)


def _progress(desk: Desk, answer: Answer, load: RowMapping, since: datetime | None) -> Answer:
    if since is None or since > desk.happened_at:
        return answer
    lain, needs = (desk.happened_at - since).total_seconds(), load["rule_days"] * 86_400
    return replace(
        answer,
        share=min(lain / needs, 1),
        share_label=say("{days:.1f} of {needed} days cold", days=lain / 86_400, needed=load["rule_days"]),
    )


def leave_it_closed(desk: Desk, load: RowMapping, opens: datetime) -> Answer:
    """Not yet: until when a bag that came out stays closed."""
    words = say("It came out {out}, and is still cold: water would settle on the plants.")
    refusal = Refusal("still-cold", words, say("Leave it closed until {until}.") + _closed_then(desk, opens), "not-yet",
                      {"out": load["out_at"], "until": opens})  # fmt: skip
    return saying.refused(desk, [refusal], already_done=say("It is already open"), carry={"code": load["code"]})


def came_out(desk: Desk, load: RowMapping) -> Answer:
    """What is true of a load that is out, and what to do with it now."""
    due, when = enough_at(load), saying.desk_tell(desk)
    if due is not None and due <= load["out_at"]:
        opens = load["out_at"] + WARMS
        next_ = say(
            "Leave it closed until {until}; then scan its card again.{closed_then}",
            until=when(opens),
            closed_then=_closed_then(desk, opens),
        )
        return Answer(
            "done",
            say("Out of the freezer."),
            (say("{name} was cold for long enough.", name=load["name"]), CAUTIONS[2]),
            next_,
        )
    line = say("{name} came out too early: that is no treatment.", name=load["name"])
    next_ = say("Put it back at once, closed as it is: scan its card, then the freezer's code. Its days begin again.")
    return Answer("done", say("Out too early."), (line,), next_, carry={"code": load["code"]})


def when_out(desk: Desk, load: RowMapping) -> tuple[str, ...]:
    """When a load that was just put in may come out, as far as that can be said."""
    due, when = enough_at(load), saying.desk_tell(desk)
    if due is None:
        return (say("This freezer does not get that cold: it counts only from when a logger with it shows so."),)
    return (
        say("Leave it in until {until}.{closed_then}", until=when(due), closed_then=_closed_then(desk, due)),
        say("Reckoned as cold a day after it was put in; a logger with it may say sooner."),
    )


def _closed_then(desk: Desk, at: datetime | None) -> str:
    """What is said besides of a moment on a day on which the room is closed."""
    if at is None:
        return ""
    day = day_of(at, desk.calendar)
    return "" if desk.calendar.is_open(day.today) else f" {_opens_after(day)}"


def _opens_after(day: Day) -> str:
    if day.opens_on is None:
        return opens_words(day)
    opens = date_words(day.opens_on, day.today)
    if day.opens_on - day.today == timedelta(days=1):
        return say("The room opens after that tomorrow, {day}.", day=opens)
    return say("The room opens after that on {day}.", day=opens)


def verdict(load: RowMapping) -> str:
    """Whether what was in an opened load counts as treated."""
    return say("what was in it counts as treated") if load["treated"] else say("it was not a treatment")
