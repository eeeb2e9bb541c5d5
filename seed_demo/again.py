"""What left comes again: a duplicate that was sent in exchange is sent back, and is taken in under its own number."""

from __future__ import annotations

from app.domain.stages import Step
from app.queries.withdrawn import withdrawn_sheets
from app.services.coming_again import LOOSE, come_again_by_number
from seed_demo.hands import Work
from seed_demo.life import Life

REASON = "Sent back: they have it already"


def comes_again(life: Life) -> Work:
    """The other garden has the plant already: its sheet is here again, and waits to be mounted."""
    gone = withdrawn_sheets(life.hands.session, by_names=False)
    if not gone:
        return
    number = gone[0].number
    facts = {"comes_as": LOOSE}
    life.hands.manages(number, come_again_by_number, "comes again", reason=REASON, facts=facts)
    yield 40
    life.hands.signs_in(life.crew.round, "intake")
    yield 30
    dry = {"dryness": True, "label": True}
    life.hands.scans(number, "intake", step=Step.ARRIVE_DRY, facts=dry, cabinet="M2", shelf="5")
