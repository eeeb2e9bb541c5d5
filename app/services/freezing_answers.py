"""The answers to what is done with a load, once it is written; and why it cannot be done now."""

from __future__ import annotations

from sqlalchemy.engine import RowMapping

from app.domain.answer import Answer
from app.domain.errors import Refusal
from app.domain.freezing import CAUTIONS, ColdRule, celsius
from app.domain.language import say, say_n
from app.domain.numbers import shown
from app.domain.stages import Step
from app.services import saying
from app.services.desk import Desk
from app.services.freezing_words import verdict, when_out


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
