"""The dryer: its thermometer is read each morning while something dries with heat, and once it was too warm."""

from __future__ import annotations

from app.queries.dryers import dryers
from app.queries.house import house_now
from seed_demo.hands import Work
from seed_demo.life import Life

TOO_WARM_ON = -20


def reads_dryer(life: Life) -> Work:
    """Whoever goes the round reads the thermometer, where plants lie in it."""
    found = dryers(life.hands.session, life.moment, house_now(life.hands.session))
    if not found or not found[0].sheets:
        return
    life.hands.signs_in(life.crew.round, "drying")
    yield 30
    degrees = 47.5 if life.day == TOO_WARM_ON else 38 + life.day * 7 % 9 * 0.5
    life.hands.scans(found[0].code, "drying", facts={"reading_c": f"{degrees:g}"})
