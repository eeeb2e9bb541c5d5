"""The cupboard of the demo: counted twice, a delivery of glue in between, and two pots of it opened one after the other."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

from app.queries.supplies import supplies
from app.queries.supplies_page import lots_of
from app.services.lots import lot_numbered
from app.services.supplies import Told, add_supply, came_in, count_supply, taken_out
from seed_demo.hands import Work
from seed_demo.life import Life
from seed_demo.people import MANAGER

# Kind, name, which adhesive, grams or centimetres in one, how many in a pack, order below, weeks to come, from whom, and
# how many were counted first.
SUPPLIES: tuple[tuple[str, str, str, int, int, int, int, str, int], ...] = (
    ("mounting-sheet", "Mounting sheets, 292 by 419 mm", "", 1, 100, 400, 6, "Fellmill Papers", 1240),
    ("packet-small", "Small packets", "", 1, 50, 150, 3, "Fellmill Papers", 900),
    ("packet-large", "Large packets", "", 1, 50, 40, 3, "Fellmill Papers", 120),
    ("adhesive", "PVA, acid-free, 1 kg", "pva", 1000, 2, 1, 4, "Bindery Stores", 3),
    ("adhesive", "Wheat starch, 500 g", "paste", 500, 1, 1, 4, "Bindery Stores", 4),
    ("straps", "Gummed linen, 50 m", "", 5000, 1, 1, 4, "Bindery Stores", 3),
    ("thread", "Linen thread, 100 m", "", 10_000, 1, 1, 4, "Bindery Stores", 2),
    ("release-paper", "Release paper", "", 1, 100, 100, 6, "Fellmill Papers", 260),
    ("foam", "Foam, 5 mm", "", 1, 20, 60, 8, "Moorside Foam", 140),
    ("board", "Greyboard, 2 mm", "", 1, 20, 60, 8, "Fellmill Papers", 150),
)
FIRST_LOT, SECOND_LOT, PASTE_LOT = "B 117", "B 203", "W 31"
LABEL = (date(2028, 3, 1), date(2028, 11, 1))


def cupboard_is_counted(life: Life) -> Work:
    """The manager writes down what the room uses, and counts the cupboard."""
    told = _told(life)
    for kind, name, adhesive, holds, pack, below, weeks, supplier, many in SUPPLIES:
        glue = life.hands.room.adhesives.get(adhesive)
        supply_id = add_supply(life.hands.session, kind, name, told, holds=holds, adhesive_id=glue, pack=pack,
                               order_below=below, lead_weeks=weeks, supplier=supplier)  # fmt: skip
        count_supply(life.hands.session, supply_id, Fraction(many), told)
    pva, paste = (_supply(life, name) for name in ("PVA, acid-free, 1 kg", "Wheat starch, 500 g"))
    lot_numbered(life.hands.session, pva, FIRST_LOT, told, LABEL[0])
    lot_numbered(life.hands.session, paste, PASTE_LOT, told)
    yield from ()


def first_pot(life: Life) -> Work:
    """The first pot with a known lot is opened at the first table, and the paste beside it."""
    yield from _opens(life, "Wheat starch, 500 g", PASTE_LOT)
    yield 30
    yield from _opens(life, "PVA, acid-free, 1 kg", FIRST_LOT)


def glue_comes(life: Life) -> Work:
    """Two pots of another lot come in, and some sheets got wet on the way to the cupboard."""
    told = _told(life)
    pva = _supply(life, "PVA, acid-free, 1 kg")
    lot_id = lot_numbered(life.hands.session, pva, SECOND_LOT, told, LABEL[1])
    came_in(life.hands.session, pva, Fraction(2), told, lot_id=lot_id, supplier="Bindery Stores")
    taken_out(life.hands.session, _supply(life, SUPPLIES[0][1]), Fraction(8), told, "wet from the delivery")
    yield from ()


def second_pot(life: Life) -> Work:
    """The first pot is empty: the next one is opened by one scan."""
    yield from _opens(life, "PVA, acid-free, 1 kg", SECOND_LOT)


def counted_again(life: Life) -> Work:
    """Half the cupboard is counted again: a little less glue than reckoned, and hardly any small packets are left."""
    told = _told(life)
    for line in supplies(life.hands.session, life.moment, life.zone):
        assert line.now is not None
        if line.kind == "packet-small":
            count_supply(life.hands.session, line.supply_id, Fraction(140), told, "a carton was empty")
        elif line.kind in ("adhesive", "mounting-sheet"):
            less = Fraction(3) if line.kind == "mounting-sheet" else Fraction(3, 10)
            count_supply(life.hands.session, line.supply_id, Fraction(round(10 * (line.now.on_hand - less)), 10), told)
    yield from ()


def _opens(life: Life, supply: str, number: str) -> Work:
    lots = lots_of(life.hands.session, _supply(life, supply))
    life.hands.scans(next(lot.code for lot in lots if lot.number == number), "table-1")
    yield from ()


def _supply(life: Life, name: str) -> int:
    found = supplies(life.hands.session, life.moment, life.zone)
    return next(line.supply_id for line in found if line.name == name)


def _told(life: Life) -> Told:
    return Told(life.moment, life.hands.room.workers[MANAGER].worker_id)
