"""The drying room: when papers are due, when a plant may be felt, what a dryer's thermometer says, and how dryness is judged."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from app.domain.house import House
from app.domain.language import mark, number, say

HEATED, UNHEATED = "heated", "unheated"
METHODS = (HEATED, UNHEATED)
METHOD_WORDS = {HEATED: mark("with heat"), UNHEATED: mark("without heat")}
# What no dryer of a preparation room shows: such a reading is a slip of the hand.
COLDEST_C, HOTTEST_C = -10.0, 120.0
_DEGREES = re.compile(r"([+-]?\d{1,3}(?:[.,]\d{1,2})?)\s*(?:°\s*C?|C)?", re.IGNORECASE | re.ASCII)
NOON = time(12)

# Fire and heat: improvised heat is never left alone (common practice, no source); the others, too.
CAUTIONS = (
    mark("Paper and heat: nothing on or against the heater, and air all round each press."),
    mark("Off when nobody is in the house, unless your own rules allow it to run alone."),
    mark("Hot parts: gloves. Know where the switch, the extinguisher and the way out are."),
)


@dataclass(frozen=True, slots=True)
class Sign:
    """One sign of dryness: its name, how it is when a plant is dry, and how when it is damp still."""

    name: str
    dry: str
    damp: str


# Brittle: University of British Columbia, "Drying a specimen"; NZPCN, "Pressing and drying". No longer cool to the touch:
# widely taught. That it does not droop when it is lifted by one end: common practice, no source.
SIGNS: tuple[Sign, ...] = (
    Sign("stiff", mark("Stiff and brittle"), mark("Bends, limp")),
    Sign("cool", mark("Not cool on the cheek"), mark("Cool on the cheek")),
    Sign("droop", mark("Lifted by one end it stays straight"), mark("Lifted by one end it droops")),
)
THICKEST = mark("Feel the thickest part last: fruit, buds, roots.")


@dataclass(frozen=True, slots=True)
class Warmth:
    """What a reading means: state is cool, right, warm or hot; words say it, and `do` what to do now."""

    state: str
    words: str
    do: str = ""


def celsius_typed(text: str) -> float:
    """The temperature that somebody typed, in degrees Celsius: "41", "41,5", "41.5 °C". ValueError, in a sentence, for none."""
    found = _DEGREES.fullmatch(text.strip().replace("−", "-"))
    degrees = float(found[1].replace(",", ".")) if found else None
    if degrees is None or not COLDEST_C <= degrees <= HOTTEST_C:
        raise ValueError(
            say(
                "Type degrees Celsius, from {coldest} to {hottest:g}, such as {example}.",
                coldest=number(COLDEST_C, "g").replace("-", "−"),
                hottest=HOTTEST_C,
                example=41.5,
            )  # fmt: skip
        )
    return degrees


def warmth(celsius: float, house: House) -> Warmth:
    """What a dryer's temperature, in degrees Celsius, means by the house rules; a rule's own figure is still within it."""
    if celsius > house.dry_hot_c:
        return Warmth(
            "hot", say("too hot"), say("Turn it off and take the presses out. Look for the fault before it runs again.")
        )
    if celsius > house.dry_warm_c:
        return Warmth("warm", say("too warm"), say("Turn it down, and read it again in an hour."))
    if celsius < house.dry_cool_c:
        return Warmth("cool", say("cool: it dries slowly"), say("Turn it up a little, or leave the plants in longer."))
    return Warmth("right", say("as it should be"))


def papers_due(papers_at: datetime, method: str | None, house: House) -> datetime:
    """When the papers are to be changed: days of 24 hours, closed days too, since what spoils waits for no calendar."""
    return papers_at + timedelta(days=papers_days(method, house))


def papers_days(method: str | None, house: House) -> int:
    """How many days papers stay, by the way it is dried."""
    return house.papers_heated_days if method == HEATED else house.papers_unheated_days


def usual_from(pressed_at: datetime, method: str | None, house: House) -> datetime:
    """From when a plant that was pressed then is usually dry, by the way it is dried."""
    return pressed_at + timedelta(days=usual_days(method, house))


def usual_days(method: str | None, house: House) -> int:
    """How many days a plant usually dries, by the way it is dried."""
    return house.dry_heated_days if method == HEATED else house.dry_unheated_days


def feel_again_at(felt_at: datetime, method: str | None, house: House) -> datetime:
    """When to feel a plant again that is still damp: with its next papers (common practice, no source)."""
    return papers_due(felt_at, method, house)


def pressed_moment(day: date, zone: ZoneInfo, now: datetime) -> datetime:
    """The moment that stands for a day on which a plant was pressed: its noon, or now where that is still to come.

    ValueError, in a sentence, for a day after today, or one so long ago that nothing fresh was pressed then.
    """
    today = now.astimezone(zone).date()
    if day > today:
        raise ValueError(say("That day is still to come. Say when it was pressed."))
    if (today - day).days > LONGEST_DAYS:
        raise ValueError(say("That is too long ago for a fresh plant. Say that it came dry."))
    return min(datetime.combine(day, NOON, zone).astimezone(UTC), now)


LONGEST_DAYS = 90
