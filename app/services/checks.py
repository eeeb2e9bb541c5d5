"""A cabinet check begun, gone on with, left for later, and ended: what is expected is fixed when it begins."""

from __future__ import annotations

from typing import Any

from sqlalchemy import func, insert, select, update

from app.db.models import Cabinet, CabinetCheck, CheckExpected, CheckSeen, Sheet, Station, table_of
from app.domain.answer import WORDS, Answer, Choice
from app.domain.checking import draw
from app.domain.errors import Refusal, Refused
from app.domain.holds import AWAY
from app.domain.language import mark, say, say_n
from app.domain.numbers import COMMANDS
from app.domain.sheet import Place
from app.domain.stages import Step
from app.services.custody import enter_thing
from app.services.desk import Desk, somebody_is_here
from app.services.facts import place_words

CHECK, EXPECTED, SEEN = table_of(CabinetCheck), table_of(CheckExpected), table_of(CheckSeen)
CABINET, SHEET, STATION = table_of(Cabinet), table_of(Sheet), table_of(Station)
CARD = {"code": COMMANDS["check"]}
THEN_ON = mark("Scan your badge first, then go on.")
LEAVE = Choice(mark("Stop here; somebody goes on later"), "facts.check", "leave")


def begin_check(desk: Desk, place: Place, sample: int | None = None, seed: int = 0) -> Answer:
    """Begin the check of a cabinet or of one shelf, or go on with the one that is open there; the station is in it then.

    `sample` is how many sheets are drawn by `seed`, None for all. Refused: not-signed-in, wrong-cabinet where another
    check is open or fewer sheets lie there than are to be drawn.
    """
    somebody_is_here(desk, THEN_ON)
    opened = _open_here(desk, place)
    if opened is not None:
        return _go_on(desk, opened, place)
    lying = _lying(desk, place)
    drawn = _drawn(desk, place, lying, sample, seed)
    seed_kept = seed if sample is not None else None
    facts = {"shelf": place.shelf_id, "sample": sample, "seed": seed_kept, "expected": len(drawn)}
    entry_id = cabinet_entry(desk, place.cabinet_id, Step.BEGIN_CHECK, facts)
    values = {"cabinet_id": place.cabinet_id, "shelf_id": place.shelf_id, "sample": sample, "seed": seed_kept,
              "begun_entry_id": entry_id, "begun_at": desk.happened_at, "begun_by": desk.by[0].worker_id,
              "station_id": desk.station_id}  # fmt: skip
    check_id: int = desk.session.execute(insert(CHECK).returning(CHECK.c.id), values).scalar_one()
    rows = [{"check_id": check_id, "sheet_id": each, "shelf_id": lying[each]} for each in drawn]
    if rows:
        desk.session.execute(insert(EXPECTED), rows)
    _stand_in(desk, check_id, place)
    told = (
        say_n("{n} sheet drawn by chance is looked for.", "{n} sheets drawn by chance are looked for.", len(drawn))
        if sample is not None
        else say_n("{n} sheet is there by the log.", "{n} sheets are there by the log.", len(drawn))
    )
    line = f"{place_words(desk.session, place)}: {told}"
    return Answer("done", say("Check begun."), (line, MOVES_NOTHING), _first(desk, place, sample))


def check_by_id(desk: Desk, check_id: int) -> Any:
    """The row of a check, locked; Refused: wrong-cabinet when there is none."""
    row = desk.session.execute(select(CHECK).where(CHECK.c.id == check_id).with_for_update()).one_or_none()
    if row is None:
        raise Refused(Refusal("wrong-cabinet", say("There is no such check."), say("Look at the list of checks.")))
    return row


def check_name(desk: Desk, check: Any) -> str:
    """What a check is called: the place that it looks at."""
    return place_words(desk.session, Place(check.cabinet_id, check.shelf_id))


def out_of_it(desk: Desk) -> None:
    """This station stands in no check any more, and has nothing of it in hand: no shelf, and no sheet to be put on one."""
    desk.keep(check_id=None, shelf_id=None, cabinet_id=None, last_sheet_id=None)


def leave_check(desk: Desk, check: Any) -> Answer:
    """This station has no part in the check any more; it stays open for whoever goes on with it."""
    out_of_it(desk)
    name = check_name(desk, check)
    line = say("The check of {name} stays open: {progress}", name=name, progress=progress(desk, check))
    return Answer(
        "done", say("Stopped."), (line,), say("To go on, scan the card “check”, then the cabinet or the shelf.")
    )


def end_check(desk: Desk, check: Any, *, surely: bool = False) -> Answer:
    """Everything was scanned: the result is for the manager now. Asks first while sheets are still to be seen.

    Said at a station, it is not through while it goes on at another one; said on its page, it is.
    """
    somebody_is_here(desk, THEN_ON)
    if desk.station_id is not None and (elsewhere := _stations_in(desk, check.id)):
        left = leave_check(desk, check)
        line = say(
            "At {elsewhere} the check goes on; it is done when they are.", elsewhere=say(" and ").join(elsewhere)
        )
        return Answer("done", say("Done here."), (line, *left.lines), say("Thank you."))
    to_see = unseen_count(desk, check)
    if to_see and not surely:
        expected = expected_count(desk, check)
        line = say_n(
            "{n} sheet of {count} is not seen yet.", "{n} sheets of {count} are not seen yet.", to_see, count=expected
        )
        choices = (Choice(say("Everything that lies there was scanned"), "facts.check", "all"), LEAVE)
        return Answer("which-one", WORDS["which-one"], (line,), say("Or scan on."), choices=choices, carry=CARD)
    if check.done_at is None:
        cabinet_entry(desk, check.cabinet_id, Step.END_CHECK, {"check": check.id})
        desk.session.execute(update(CHECK).where(CHECK.c.id == check.id).values(done_at=desk.happened_at))
    out_of_it(desk)
    line = say(
        "The check of {name} is through: {progress}", name=check_name(desk, check), progress=progress(desk, check)
    )
    return Answer("done", say("Check done."), (line,), say("Thank you. The manager looks at the result and closes it."))


def go_on_scanning(desk: Desk, check: Any) -> None:
    """A check that was said to be through is not: somebody scans on."""
    if check.done_at is not None:
        desk.session.execute(update(CHECK).where(CHECK.c.id == check.id).values(done_at=None))


def cabinet_entry(desk: Desk, cabinet_id: int | None, step: Step, facts: dict[str, Any], reason: str = "") -> int:
    """Write an entry of a cabinet, and when its last one was."""
    assert cabinet_id is not None
    at = desk.happened_at
    entry_id = enter_thing(desk, "cabinet", cabinet_id, step, happened_at=at, facts=facts, reason=reason)
    later = (CABINET.c.id == cabinet_id, func.coalesce(CABINET.c.last_at, at) <= at)
    desk.session.execute(update(CABINET).where(*later).values(last_at=at))
    return entry_id


def progress(desk: Desk, check: Any) -> str:
    """How far a check has come: "212 of 400 seen."."""
    expected = expected_count(desk, check)
    return say("{seen} of {count} seen.", seen=expected - unseen_count(desk, check), count=expected)


def expected_count(desk: Desk, check: Any) -> int:
    """How many sheets were expected."""
    mine = EXPECTED.c.check_id == check.id
    return int(desk.session.execute(select(func.count()).select_from(EXPECTED).where(mine)).scalar_one())


def unseen_count(desk: Desk, check: Any) -> int:
    """How many of the expected sheets were not scanned yet."""
    seen = select(SEEN.c.id).where(SEEN.c.check_id == check.id, SEEN.c.sheet_id == EXPECTED.c.sheet_id).exists()
    mine = (EXPECTED.c.check_id == check.id, ~seen)
    return int(desk.session.execute(select(func.count()).select_from(EXPECTED).where(*mine)).scalar_one())


def _go_on(desk: Desk, check: Any, place: Place) -> Answer:
    go_on_scanning(desk, check)
    _stand_in(desk, check.id, place if place.shelf_id is not None else Place(check.cabinet_id, check.shelf_id))
    lines = (
        say("The check of {name} goes on: {progress}", name=check_name(desk, check), progress=progress(desk, check)),
        MOVES_NOTHING,
    )
    return Answer("done", say("Going on."), lines, _first(desk, place, check.sample))


def _open_here(desk: Desk, place: Place) -> Any | None:
    """The open check that covers this place; refused where one of a part of it is open."""
    mine = (CHECK.c.cabinet_id == place.cabinet_id, CHECK.c.closed_at.is_(None))
    opened = desk.session.execute(select(CHECK).where(*mine).order_by(CHECK.c.id).with_for_update()).all()
    for check in opened:
        if check.shelf_id is None or check.shelf_id == place.shelf_id:
            return check
    if opened and place.shelf_id is None:
        words = say("The check of {name} is still open.", name=check_name(desk, opened[0]))
        raise Refused(
            Refusal("wrong-cabinet", words, say("Scan that shelf to go on with it, or let the manager close it."))
        )
    return None


def _lying(desk: Desk, place: Place) -> dict[int, int | None]:
    """What lies there by the log, each with its shelf; what is known to be away is not expected."""
    mine = [SHEET.c.cabinet_id == place.cabinet_id, SHEET.c.closed_as.is_(None)]
    mine += [SHEET.c.shelf_id == place.shelf_id] if place.shelf_id is not None else []
    rows = desk.session.execute(select(SHEET.c.id, SHEET.c.shelf_id, SHEET.c.holds).where(*mine).order_by(SHEET.c.id))
    return {row.id: row.shelf_id for row in rows if not AWAY & set(row.holds.split())}


def _drawn(desk: Desk, place: Place, lying: dict[int, int | None], sample: int | None, seed: int) -> list[int]:
    if sample is None:
        return list(lying)
    try:
        return draw(lying, sample, seed)
    except ValueError as error:
        words = f"{place_words(desk.session, place)}: {error}"
        raise Refused(Refusal("wrong-cabinet", words, say("Draw fewer, or check all of it."), "which-one")) from error


def _stand_in(desk: Desk, check_id: int, place: Place) -> None:
    desk.keep(check_id=check_id, cabinet_id=place.cabinet_id, shelf_id=place.shelf_id, pending=None, last_sheet_id=None,
              bundle_id=None)  # fmt: skip


def _first(desk: Desk, place: Place, sample: int | None) -> str:
    if desk.station_id is None:
        return say("At a station, scan the card “check”, then the cabinet.")
    if sample is not None:
        return say("Print the list, and scan each of them where it lies. Then the card “done”.")
    if place.shelf_id is not None:
        return say("Now every sheet in it, one by one. At the end scan the card “done”.")
    return say(
        "Scan a shelf first, to say where you stand; then every sheet in it, one by one. At the end scan the card “done”."
    )


def _stations_in(desk: Desk, check_id: int) -> list[str]:
    others = (STATION.c.check_id == check_id, STATION.c.id != (desk.station_id or 0), STATION.c.closed_at.is_(None))
    return list(desk.session.execute(select(STATION.c.name).where(*others).order_by(STATION.c.name)).scalars())


MOVES_NOTHING = mark("Scanning only counts now: no sheet is moved by it.")
