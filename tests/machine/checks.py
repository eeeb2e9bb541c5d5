"""Holding the whole room against the model: rows, log, stacks, sums, board and week; and the program's own audit."""

from __future__ import annotations

import csv
from collections import Counter
from fractions import Fraction
from typing import Any

from sqlalchemy import func, select

from app.db.engine import reading
from app.db.models import (
    Adhesive,
    Bundle,
    Cabinet,
    Entry,
    FreezerLoad,
    Layer,
    Sheet,
    Shelf,
    Stack,
    Station,
    TallyDay,
    table_of,
)
from tests.machine.doors import Doors
from tests.machine.freezer import times_of
from tests.machine.model import FILED, NUMBERS, STAGES, World
from tests.machine.model import Sheet as Modelled
from tests.room import Room

SHEET, ENTRY, LAYER, STACK = table_of(Sheet), table_of(Entry), table_of(Layer), table_of(Stack)
CABINET, SHELF, STATION, ADHESIVE = table_of(Cabinet), table_of(Shelf), table_of(Station), table_of(Adhesive)
BUNDLE, LOAD = table_of(Bundle), table_of(FreezerLoad)
_ROWS = (
    select(SHEET, CABINET.c.name.label("cabinet"), SHELF.c.name.label("shelf"), STACK.c.name.label("stack"),
           STATION.c.slug.label("table"), BUNDLE.c.name.label("bundle"), ADHESIVE.c.code.label("adhesive"))
    .outerjoin(CABINET, CABINET.c.id == SHEET.c.cabinet_id).outerjoin(SHELF, SHELF.c.id == SHEET.c.shelf_id)
    .outerjoin(STACK, STACK.c.id == SHEET.c.stack_id).outerjoin(STATION, STATION.c.id == SHEET.c.table_id)
    .outerjoin(BUNDLE, BUNDLE.c.id == SHEET.c.bundle_id).outerjoin(ADHESIVE, ADHESIVE.c.id == SHEET.c.adhesive_id)
)  # fmt: skip


def rows_agree(room: Room, world: World, numbers: list[str] | None = None) -> None:
    """These sheets, or all, stand by their rows as the model says."""
    mine = _ROWS if numbers is None else _ROWS.where(SHEET.c.number.in_(numbers))
    with reading(room.database) as session:
        rows = {row["number"]: row for row in session.execute(mine).mappings()}
    assert set(rows) == set(world.sheets if numbers is None else numbers)
    who = {worker_id: name for name, worker_id in room.worker.items()}
    for number, row in rows.items():
        kept, known = _of_row(row, who), _of_model(world.sheets[number])
        assert kept == known, (number, {name: (kept[name], known[name]) for name in kept if kept[name] != known[name]})


def _of_row(row: Any, who: dict[int, str]) -> dict[str, Any]:
    place = next((found for found in (
        ("stack", row["stack"]) if row["stack"] else None, ("table", row["table"]) if row["table"] else None,
        ("cabinet", row["cabinet"], row["shelf"]) if row["cabinet"] else None, ("bundle", row["bundle"]) if row["bundle"] else None,
    ) if found), None)  # fmt: skip
    return {
        "stage": row["stage"], "place": place, "holds": set(row["holds"].split()), "bulk": row["bulk"], "adhesive": row["adhesive"],
        "minimum": row["minimum_s"], "glued": row["glued_at"], "outcome": row["outcome"], "closed": row["closed_as"] is not None,
        "mounted": {who[each] for each in row["mounted_by"]}, "mended": {who[each] for each in row["mended_by"]},
        "last": row["last_at"], "queue": bool(row["in_queue"]), "treated": row["treated_until"],
    }  # fmt: skip


def _of_model(sheet: Modelled) -> dict[str, Any]:
    return {
        "stage": sheet.stage, "place": sheet.place, "holds": set(sheet.holds), "bulk": sheet.bulk, "adhesive": sheet.adhesive,
        "minimum": int(sheet.minimum.total_seconds()) if sheet.minimum else None, "glued": sheet.glued_at, "outcome": sheet.outcome,
        "closed": sheet.is_closed, "mounted": set(sheet.mounted_by), "mended": set(sheet.mended_by), "last": sheet.last_at,
        "queue": sheet.stage not in (None, FILED) and not sheet.is_closed, "treated": sheet.treated_until,
    }  # fmt: skip


def all_agrees(room: Room, world: World, doors: Doors) -> None:
    """Everything that is kept of the room, by whatever door it is read, is what the model's log makes of it."""
    rows_agree(room, world)
    _log(room, world)
    _stacks(room, world)
    _loads(room, world)
    _specimens(room, world)
    _tallies(room, world)
    _board(world, doors)
    _week(room, world, doors)
    status, said = doors.command("audit")
    assert status == 0, said


def _log(room: Room, world: World) -> None:
    found = select(ENTRY.c.id, ENTRY.c.step, ENTRY.c.corrects, ENTRY.c.happened_at).order_by(ENTRY.c.id)
    with reading(room.database) as session:
        kept = [tuple(row) for row in session.execute(found)]
    known = [(each.id, each.step, each.corrects.id if each.corrects else None, each.happened_at) for each in world.log]
    assert kept == known


def _stacks(room: Room, world: World) -> None:
    lying = (
        select(SHEET.c.number, LAYER.c.laid_at)
        .join(LAYER, LAYER.c.sheet_id == SHEET.c.id)
        .join(STACK, STACK.c.id == LAYER.c.stack_id)
    )
    with reading(room.database) as session:
        for name, stack in world.stacks.items():
            mine = lying.where(STACK.c.name == name, LAYER.c.out_at.is_(None)).order_by(LAYER.c.layer)
            # From when a sheet lies there, its time under weight is counted.
            known = [(each.number, each.stays[-1][1]) for each in world.in_stack(name)]
            assert [tuple(row) for row in session.execute(mine)] == known, name
            assert (
                session.execute(select(STACK.c.weights_on).where(STACK.c.name == name)).scalar_one() == stack.is_on
            ), name


def _loads(room: Room, world: World) -> None:
    found = select(LOAD, CABINET.c.name.label("freezer")).outerjoin(CABINET, CABINET.c.id == LOAD.c.freezer_id)
    with reading(room.database) as session:
        rows = session.execute(found).mappings().all()
    kept = {row["name"]: (row["freezer"], row["put_in_at"], row["cold_at"], row["rule_c"], row["out_at"], row["opened_at"], row["treated"],
                          row["last_at"]) for row in rows}  # fmt: skip
    known = {name: times_of(world, name) for name in world.loads}
    assert kept == {
        name: (each.freezer, each.put_in_at, each.cold and each.cold.since, each.cold and each.cold.rule[0], each.out_at, each.opened_at,
               each.treated, each.last_at) for name, each in known.items()
    }  # fmt: skip


def _specimens(room: Room, world: World) -> None:
    with reading(room.database) as session:
        rows = session.execute(
            select(SHEET.c.specimen_id, SHEET.c.number).where(SHEET.c.specimen_id.is_not(None))
        ).all()
    kept = {
        frozenset(row.number for row in rows if row.specimen_id == each) for each in {row.specimen_id for row in rows}
    }
    groups = set(world.specimens.values())
    assert kept == {frozenset(number for number, of in world.specimens.items() if of == each) for each in groups}


def _tallies(room: Room, world: World) -> None:
    table = table_of(TallyDay)
    found = select(table.c.worker_id, table.c.step, func.sum(table.c.sheets)).group_by(table.c.worker_id, table.c.step)
    with reading(room.database) as session:
        kept = {(row[0], row[1]): int(row[2]) for row in session.execute(found) if row[2]}
    counted = Counter(
        (room.worker[who], each.step) for each in world.standing() if each.subject[0] == "sheet" for who in each.by
    )
    assert kept == dict(counted)


def _board(world: World, doors: Doors) -> None:
    told = doors.get("/board")
    here = Counter(sheet.stage for sheet in world.sheets.values() if not sheet.is_closed)
    counts = {line["stage"]: line["count"] for line in told["stages"] if line["stage"] != FILED}
    assert counts == {stage: here[stage] for stage in STAGES if stage != FILED}
    assert {line["stack"]: (line["sheets"], line["weights_on"]) for line in told["stacks"]} == {
        name: (len(world.in_stack(name)), stack.is_on) for name, stack in world.stacks.items()
    }
    filed = {each["number"] for each in doors.get("/sheets?stage=filed&limit=200")["sheets"]}
    assert filed == {each.number for each in world.sheets.values() if each.stage == FILED and not each.is_closed}
    in_cabinets = Counter(each.place[1] for each in world.sheets.values()
                          if each.place and each.place[0] == "cabinet" and each.stage != FILED and not each.is_closed)  # fmt: skip
    assert {line["cabinet"]: line["count"] for line in told["cabinets"] if line["count"]} == dict(in_cabinets)


def _week(room: Room, world: World, doors: Doors) -> None:
    """This week's report against sums over the model's log: each sheet once for each step, by its last entry that stands."""
    year, week, _ = room.now.astimezone(world.zone).isocalendar()
    told = doors.get(f"/weeks/{year}-W{week:02}")
    mine = [each for each in world.standing() if each.subject[0] == "sheet" and each.step != "treatment"
            and each.happened_at.astimezone(world.zone).isocalendar()[:2] == (year, week)]  # fmt: skip
    last = {(each.subject[1], each.step): each for each in sorted(mine, key=lambda each: (each.happened_at, each.id))}
    hands = Counter((NUMBERS[who], step) for (_, step), each in last.items() for who in each.by)
    said = {(line["worker"], step): part["sheets"] for line in told["workers"] for step, part in line["steps"].items()}
    assert {each: count for each, count in said.items() if count} == dict(hands)
    came, left = Counter[str | None](), Counter[str | None]()
    for each in mine:
        assert each.before is not None and each.after is not None
        was, now = each.before.stage, each.after.stage
        came[now] += was != now
        left[was] += was != now or each.step == "withdraw"
    stages = {line["stage"]: (line["in"], line["out"]) for line in told["stages"]}
    assert stages == {stage: (came[stage], left[stage]) for stage in STAGES}
    credit: dict[tuple[str, str], Fraction] = {}
    for (_, step), each in last.items():
        for who in each.by:
            credit[NUMBERS[who], step] = credit.get((NUMBERS[who], step), Fraction(0)) + Fraction(1, len(each.by))
    _report(doors, f"{year}-W{week:02}", hands, credit, came, left)


def _report(
    doors: Doors, week: str, hands: Counter[Any], credit: dict[Any, Fraction], came: Counter[Any], left: Counter[Any]
) -> None:
    """The same week by the command line, as a table with a row for each fact."""
    path = doors.folder / "week.csv"
    status, said = doors.command("report", "--week", week, "--csv", str(path))
    assert status == 0, said
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["week"] for row in rows} == {week}
    kept = {(row["part"], row["who or what"].split()[0], row["step"], row["measure"]): row["value"]
            for row in rows if row["part"] in ("worker", "stage")}  # fmt: skip
    counted = {key: value for key, value in kept.items() if key[3] == "sheets" and value != "0"}
    assert counted == {("worker", *each, "sheets"): str(count) for each, count in hands.items()}
    shares = {key: value for key, value in kept.items() if key[3] == "credit" and float(value)}
    assert shares == {("worker", *each, "credit"): str(round(float(share), 2)) for each, share in credit.items()}
    for stage in STAGES:
        assert kept["stage", stage, "", "came"] == str(came[stage]) and kept["stage", stage, "", "left"] == str(
            left[stage]
        )
