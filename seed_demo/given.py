"""A gift is counted against its letter: one is missing, and three specimens are of one gathering; one of them may go."""

from __future__ import annotations

from app.domain.stages import Step
from app.queries.consignments import consignment_page
from app.services.consignments import Told, change_consignment, confirm_count
from app.services.exchange import set_free
from app.services.registering import collector_id, mint_number, plant_name_id, register
from seed_demo.hands import Work
from seed_demo.life import Life
from seed_demo.people import COLLECTORS, MANAGER

GIFT = "GIFT-2"
WHY = "The garden at Brannholt has asked for one"


def gift_is_counted(life: Life) -> Work:
    """The letter came a day after the parcel: it names one sheet more than there are."""
    session, by = life.hands.session, life.hands.room.workers[MANAGER].worker_id
    yield from _duplicates_lie_in_it(life)
    found = consignment_page(session, GIFT, life.moment, by_names=False)
    if found is None:
        return
    row = found.row
    told = Told(row.name, row.source, found.kind, row.arrived_on, "Letter with a list of the sheets", row.in_all + 1)
    change_consignment(session, GIFT, told, "The letter has come", life.moment, by)
    confirm_count(session, GIFT, row.in_all, life.moment, by)


def _duplicates_lie_in_it(life: Life) -> Work:
    """Three specimens of one gathering lie in one folder; the sheets of the list are none of them."""
    session, by = life.hands.session, life.hands.room.workers[MANAGER].worker_id
    found = consignment_page(session, GIFT, life.moment, by_names=False)
    if found is None:
        return
    life.hands.signs_in(life.crew.round, "intake")
    desk = life.hands.desk("intake")
    plant = plant_name_id(desk, "Carex binervis", "Sm.", "Cyperaceae")
    known = {"consignment_id": found.row.consignment_id, "collector_id": collector_id(desk, COLLECTORS[1]),
             "record_number": "61a", "event_date": f"{life.date.year - 2}-06-14", "plant_name_id": plant}  # fmt: skip
    numbers = [mint_number(desk) for _ in range(3)]
    for number in numbers:
        register(desk, number, **known)
        life.hands.scans(number, "intake", step=Step.TAKE_IN)
        yield 40
        dry = {"dryness": True, "label": number != numbers[1]}
        life.hands.scans(number, "intake", step=Step.ARRIVE_DRY, facts=dry, cabinet="M1", shelf="5")
        yield 40
    set_free(session, numbers[-1:], WHY, life.moment, by)
