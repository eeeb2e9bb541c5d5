"""A working day: who begins what at which hour, and on which day what happens besides."""

from __future__ import annotations

from seed_demo import again, checked, dangers, frozen, given, holds, left, parting, stories, supplied, wishes
from seed_demo.arrivals import PARCELS, TRIPS, parcel_arrives, trip_arrives
from seed_demo.drying import reads_dryer
from seed_demo.hands import Work
from seed_demo.life import NEWCOMER_CAME, Life
from seed_demo.pressing import middays, mornings, slow_stack, weights_go_on
from seed_demo.rounds import drying_round, files, files_first, inspects
from seed_demo.stories import Story
from seed_demo.tables import mounts, opens_table

FRIDAY = 4


def working_day(life: Life, day: int) -> None:
    """Begin all that is done on one open day; how far it comes is for the moment to say at which the room is entered."""
    life.day, life.filling = day, {}
    life.sheets_today = _how_many(life)
    _plan_rounds(life)
    _plan_tables(life)
    _plan_arrivals(life)
    for hour, minute, story in (*STORIES.get(day, ()), *_doubt(life)):
        life.plans(hour, minute, story(life))
    life.plans(15, 50, _closing(life))


def _plan_rounds(life: Life) -> None:
    if _is_worked_at(life) or any(pile.lying for pile in life.shelves.piles.values()):
        life.plans(8, 52, mornings(life))
    if _is_lately(life):
        life.plans(8, 56, files_first(life, life.size(2, 1)))
    life.plans(9, 8, reads_dryer(life))
    life.plans(9, 10, drying_round(life))
    if life.day % 2 == 0 or _is_lately(life):
        life.plans(8, 57, inspects(life, life.size(10, 2)))
    life.plans(13, 0, middays(life))
    life.plans(15, 5, slow_stack(life))
    if life.day % 2 == 1 or _is_lately(life):
        life.plans(14, 45, files(life, life.size(9, 1)))
    if life.day % 5 == 0:
        life.plans(10, 40, holds.labels_come(life))


def _plan_tables(life: Life) -> None:
    morning, afternoon, second, slow = life.sheets_today
    if _is_worked_at(life):
        life.plans(8, 50, opens_table(life))
    life.plans(9, 40, mounts(life, "table-1", life.crew.table, morning))
    life.plans(11, 40, weights_go_on(life, "morning"))
    life.plans(13, 20, mounts(life, "table-1", life.crew.table, afternoon, slow=slow))
    if second:
        life.plans(13, 24, mounts(life, "table-2", life.crew.second, second, signs_in=True))
    life.plans(15, 20, weights_go_on(life, "afternoon"))


def _plan_arrivals(life: Life) -> None:
    parcel, trip = PARCELS.get(life.day), TRIPS.get(life.day)
    if parcel is not None:
        life.plans(10, 0, parcel_arrives(life, parcel))
    if trip is not None and life.size(*trip.plants):
        life.plans(10, 55, trip_arrives(life, trip))


def _how_many(life: Life) -> tuple[int, int, int, int]:
    """Sheets for the morning, the afternoon and the second table, and slow ones; more on the last days."""
    friday = life.date.weekday() == FRIDAY
    if _is_lately(life):
        return life.size(4, 1), life.size(3, 1), life.size(3, 0), 1
    if life.small:
        return int(life.day % 4 == 0), 0, 0, int(friday and life.day > -9)
    return 0, 2, int(life.dice.random() < 0.4), int(friday or life.dice.random() < 0.5)


def _doubt(life: Life) -> tuple[tuple[int, int, Story], ...]:
    if life.day == life.doubted - 1:
        return ((13, 45, left.fills_the_spare),)
    return ((15, 35, left.told_late),) if life.day == life.doubted else ()


def _is_worked_at(life: Life) -> bool:
    return any(life.sheets_today) or life.day in STORIES or bool(_doubt(life))


def _is_lately(life: Life) -> bool:
    return life.day >= (-3 if life.small else -5)


def _closing(life: Life) -> Work:
    """Everybody signs out; on the last day somebody forgets to, at the first table."""
    for at in life.hands.worked_at:
        if at != "table-1" or life.day != 0:
            life.hands.all_leave(at)
            yield 20


STORIES: dict[int, tuple[tuple[int, int, Story], ...]] = {
    -60: ((8, 40, supplied.cupboard_is_counted), (9, 5, supplied.first_pot)),
    -50: ((11, 15, stories.goes_in_a_packet),),
    -45: ((15, 30, left.power_cut),),
    -44: ((10, 20, stories.goes_back_to_the_table), (11, 20, stories.wrong_sheet)),
    -38: ((11, 0, holds.is_mouldy), (11, 10, holds.refused_for_its_label)),
    -34: ((9, 30, dangers.somebody_is_named),),
    -31: ((11, 15, stories.wrong_sheet),),
    -30: ((10, 30, stories.is_withdrawn),),
    -26: ((10, 50, supplied.glue_comes),),
    -25: ((9, 5, supplied.second_pot),),
    -24: ((12, 5, frozen.goes_in(4)),),
    NEWCOMER_CAME - 1: ((15, 58, stories.somebody_leaves),),
    NEWCOMER_CAME: ((8, 30, stories.somebody_comes),),
    -20: ((9, 30, left.found_off),),
    -19: ((11, 15, stories.needs_two_sheets),),
    -18: ((10, 15, stories.too_early),),
    -17: ((12, 5, frozen.comes_out),),
    -16: ((12, 20, frozen.is_opened),),
    -13: ((9, 0, left.set_aside_to_mend), (9, 30, wishes.order_is_made), (10, 50, given.gift_is_counted)),
    -12: ((11, 30, wishes.goes_out),),
    -11: ((8, 50, left.passed_and_left), (11, 20, stories.wrong_sheet)),
    -10: ((8, 50, left.passed_and_left), (10, 25, stories.let_out_early)),
    -9: ((8, 50, left.passed_and_left), (9, 5, left.forgotten_in_the_stack), (15, 45, supplied.counted_again)),
    -8: ((8, 50, left.passed_and_left), (10, 10, stories.glued_unscanned), (11, 0, wishes.wanted_and_left)),
    -7: ((10, 0, stories.out_of_its_stack),),
    -6: ((10, 20, checked.cabinet_is_checked),),
    -5: ((10, 20, stories.is_glued_again), (11, 0, holds.name_is_in_doubt), (11, 10, parting.two_in_a_fold)),
    -4: (
        (11, 30, stories.is_brought_back),
        (10, 50, parting.without_a_number),
    ),
    -3: (
        (11, 15, stories.wrong_sheet),
        (11, 30, parting.one_number_twice),
        (10, 15, stories.too_early),
        (12, 5, frozen.goes_in(3)),
    ),
    -2: ((10, 35, holds.is_not_found), (11, 40, again.comes_again), (11, 10, holds.refused_for_its_label)),
    -1: (
        (11, 0, stories.needs_two_sheets),
        (15, 40, left.one_too_few),
        (9, 30, wishes.wanted_for_a_loan),
        (10, 5, checked.half_a_check),
        (15, 45, dangers.beetle_is_seen),
    ),
    0: ((8, 58, left.left_without_weights),),
}
