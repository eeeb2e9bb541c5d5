"""Cabinets and their shelves, the workers, stations and keys, and what was changed."""

from __future__ import annotations

from app.db.engine import reading, transaction
from app.queries.cabinets import cabinets
from app.queries.house import calendar_now, house_now, patterns_now
from app.queries.people import changes, station_list, tokens, worker_by_id, workers
from app.services.people import make_token, retire_worker
from app.services.room import add_cabinet, add_pattern, set_house_rule
from tests.room import Room


def test_a_cabinet_counts_the_sheets_on_each_shelf(room: Room) -> None:
    for _ in range(3):
        room.sheet_ready()
    with reading(room.database) as session:
        m1 = next(each for each in cabinets(session) if each.name == "M1")
    assert (m1.count, m1.loose, m1.stage_words) == (3, 0, "Ready for mounting")
    assert [(shelf.name, shelf.count) for shelf in m1.shelves] == [("1", 3), ("2", 0), ("3", 0), ("4", 0)]


def test_cabinet_two_comes_before_cabinet_ten(room: Room) -> None:
    with transaction(room.database) as session:
        add_cabinet(session, "M10", None, room.now)
        add_cabinet(session, "M2", None, room.now)
    with reading(room.database) as session:
        assert [each.name for each in cabinets(session)] == ["A1", "D1", "F1", "M1", "M2", "M10"]


def test_workers_are_listed_by_name_and_those_who_left_last(room: Room) -> None:
    with transaction(room.database) as session:
        retire_worker(session, room.worker["hedda"], room.now, by=None)
    with reading(room.database) as session:
        found = workers(session)
    assert [each.name.split()[0] for each in found] == ["Ines", "Olwen", "Piet", "Rosamund", "Hedda"]
    assert found[-1].retired_at == room.now and not found[-1].has_badge


def test_a_worker_is_shown_where_they_are_signed_in(room: Room) -> None:
    room.signs_in("piet", "table-2")
    with reading(room.database) as session:
        piet = worker_by_id(session, room.worker["piet"])
        assert worker_by_id(session, 4711) is None
    assert piet is not None and (piet.station, piet.rights) == ("Mounting table 2", ("volunteer",))


def test_stations_say_who_is_there_and_whether_a_browser_is_enrolled(room: Room) -> None:
    with reading(room.database) as session:
        found = {each.slug: each for each in station_list(session)}
    press = found["press"]
    assert len(found) == 7
    assert (press.workers, press.enrolled_at, press.steps[0]) == (("Olwen Tarrant",), None, "put-under-weight")


def test_a_key_is_listed_without_its_secret(room: Room) -> None:
    with transaction(room.database) as session:
        secret = make_token(session, "read", "figures", room.now, worker_id=room.worker["hedda"])
    with reading(room.database) as session:
        found = tokens(session)
    assert [(key.name, key.scope, key.worker) for key in found] == [("figures", "read", "Hedda Brackwater")]
    assert secret not in repr(found)


def test_what_was_changed_last_comes_first(room: Room) -> None:
    with transaction(room.database) as session:
        set_house_rule(session, "run_sheets", 5, "small trolley", room.now, by=room.worker["hedda"])
    with reading(room.database) as session:
        first = changes(session, limit=3)
    assert len(first) == 3 and (first[0].what, first[0].old, first[0].new, first[0].why, first[0].by) == (
        "run_sheets", "6", "5", "small trolley", "Hedda Brackwater")  # fmt: skip
    assert [change.changed_at for change in first] == sorted((change.changed_at for change in first), reverse=True)


def test_house_rules_and_patterns_are_read_again_only_when_they_change(room: Room) -> None:
    with reading(room.database) as session:
        before = house_now(session)
        assert house_now(session) is before and patterns_now(session) is patterns_now(session)
    with transaction(room.database) as session:
        set_house_rule(session, "run_sheets", 5, "small trolley", room.now)
        add_pattern(session, "OLD", 5, room.now, has_check=False)
    with reading(room.database) as session:
        assert house_now(session).run_sheets == 5 and before.run_sheets == 6
        assert [pattern.prefix for pattern in patterns_now(session)] == ["TQX", "OLD"]
        assert calendar_now(session, house_now(session), room.zone).open_weekdays == frozenset(range(5))
