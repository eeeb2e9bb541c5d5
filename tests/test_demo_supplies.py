"""The demo's cupboard: two lots one after the other, a delivery, two counts, and one supply below its line."""

from __future__ import annotations

from datetime import UTC, datetime

from app.db.engine import Database, reading
from app.domain.supplies import CAME, COUNT
from app.queries.board import board
from app.queries.lots import lot_page
from app.queries.supplies import supplies
from app.queries.supplies_page import lots_of, supply_page
from seed_demo import fill
from seed_demo.supplied import FIRST_LOT, SECOND_LOT
from tests.room import LONDON

NOW = datetime(2026, 11, 25, 14, 7, tzinfo=UTC)


def test_the_demo_has_two_lots_a_delivery_two_counts_and_one_supply_below_its_line(database: Database) -> None:
    fill(database, LONDON, NOW, small=True)
    with reading(database) as session:
        found = {line.name: line for line in supplies(session, NOW, LONDON)}
        low = [need.subject for need in board(session, NOW, LONDON).needs if need.kind == "supply-low"]
        pva = supply_page(session, found["PVA, acid-free, 1 kg"].supply_id, NOW, LONDON)
        assert pva is not None
        lots = {lot.number: lot_page(session, lot.lot_id, NOW, LONDON) for lot in lots_of(session, pva.line.supply_id)}
    assert len(found) == 10 and all(line.now is not None and line.now.on_hand > 0 for line in found.values())
    assert low == ["Small packets"] and [line.name for line in found.values() if line.is_below] == low
    assert [each.kind for each in pva.history] == [COUNT, CAME, COUNT] and len(pva.counts) == 1
    assert pva.counts[0].found.counted < pva.counts[0].found.reckoned
    first, second = lots[FIRST_LOT], lots[SECOND_LOT]
    assert first is not None and second is not None and first.sheets >= 5 and second.sheets >= 5
    assert first.opened[0].until == second.opened[0].at and second.opened[0].until is None
    assert first.own.passed.cases and found["Foam, 5 mm"].now and found["Foam, 5 mm"].now.in_stacks > 0
