"""Two cards for the room's day: what must not be left as it is overnight, and what waits in the morning."""

from __future__ import annotations

from app.domain.answer import WORDS, Answer
from app.domain.closing import Found, left_at_closing, waits_in_the_morning
from app.domain.day import Day, day_of
from app.domain.day_words import CLOSING, MORNING, Part, card_lines, closed_words, opens_words, parts
from app.domain.language import say
from app.domain.words import said
from app.services import day_facts
from app.services.desk import Desk


def closing_card(desk: Desk) -> Answer:
    """What is to be seen to before the room is closed, what is good to know, and when it opens again."""
    day = day_of(desk.now, desk.calendar)
    found = parts(CLOSING, left_at_closing(_found_at_closing(desk), desk.house, day))
    told = (*_lines(desk, found), opens_words(day))
    if any(part.section.presses for part in found):
        return Answer("not-yet", WORDS["not-yet"], told, say("See to these before you leave."), status=200)
    first = say("Nothing is left out of weights or on a table.")
    return Answer("done", say("All is safe."), (first, *told), say("Good evening."))


def morning_card(desk: Desk) -> Answer:
    """What was left overnight and what falls due today, a line for each."""
    day = day_of(desk.now, desk.calendar)
    found = parts(MORNING, waits_in_the_morning(_found_in_the_morning(desk, day), desk.house, day))
    told = (*filter(None, (closed_words(day),)), *_lines(desk, found))
    if not found:
        return Answer(
            "done",
            say("Good morning."),
            (*told, say("Nothing waits from before.")),
            say("Scan the sheet in your hands."),
        )
    return Answer("done", say("Good morning."), told, say("Begin with “{head}”.", head=found[0].section.head))


def _found_at_closing(desk: Desk) -> Found:
    return Found(
        glued=day_facts.glued(desk), bare=day_facts.bare(desk), tables=day_facts.on_tables(desk),
        drying=day_facts.drying(desk), loads=day_facts.loads(desk), contacts=day_facts.contacts(desk),
        signed_in=day_facts.signed_in(desk),
    )  # fmt: skip


def _found_in_the_morning(desk: Desk, day: Day) -> Found:
    return Found(
        glued=day_facts.glued(desk), bare=day_facts.bare(desk), drying=day_facts.drying(desk),
        loads=day_facts.loads(desk), pressing=day_facts.pressing(desk, day), wanted=day_facts.wanted(desk),
        ready=day_facts.ready(desk),
    )  # fmt: skip


def _lines(desk: Desk, found: tuple[Part, ...]) -> tuple[str, ...]:
    return card_lines(found, desk.now, lambda at: said(at, desk.occasion.zone, desk.now))
