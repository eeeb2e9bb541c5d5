"""Weights, sheets, corrections and what may be read, by script."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from app.db.engine import transaction
from app.db.upgrade import newest_revision
from app.domain.answer import Answer, Described, answer_from
from app.services import room as furnishing
from tests.databases import SERVER
from tests.room import Room
from tests.web.api_client import Scripts, codes, problem


@pytest.fixture
def scripts(room: Room, tmp_path: Path) -> Scripts:
    with transaction(room.database) as session:
        furnishing.add_consignment(session, "QF-26", "Quillmoor Fells 2026")
    return Scripts(room, tmp_path)


# -- weights ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("called", ["name", "on", "off", "off, as it is typed"])
def test_a_stack_is_called_by_its_name_or_by_either_side_of_its_card(scripts: Scripts, called: str) -> None:
    room, press = scripts.room, scripts.key(at="press")
    code = "P3" if called == "name" else room.code(called.split(",")[0], "P3")
    code = f"{code[:2]} {code[2:]}".lower() if "typed" in called else code
    room.weights("off", "P3")
    room.sheet_in("P3")
    room.wait(minutes=1)
    response = scripts.post(f"/stacks/{code}/weights", press, on=True, counted=1, mass_kg=14.5)
    assert response.status_code == 200, response.get_json(force=True)
    body = response.get_json()
    assert body["answer"] == "done" and body["words"].startswith("Weights on. P3 is under weight.") and body["entry"]
    stack = next(each for each in scripts.get("/board", press).get_json()["stacks"] if each["stack"] == "P3")
    assert stack["weights_on"] is True and stack["sheets"] == 1


def test_weights_found_off_count_only_until_they_were_last_seen_on(scripts: Scripts) -> None:
    room, press = scripts.room, scripts.key(at="press")
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    scripts.post("/stacks/P1/weights", press, on=True)
    room.wait(hours=2)
    scripts.post("/stacks/P1/weights", press, on=True)
    room.wait(hours=3)
    body = scripts.post("/stacks/P1/weights", press, on=False, found=True).get_json()
    assert "only up to" in body["words"]
    assert scripts.get(f"/sheets/{number}", press).get_json()["under_weight_minutes"] == 120


def test_a_count_that_differs_is_noted_and_never_keeps_the_weights_off(scripts: Scripts) -> None:
    room, press = scripts.room, scripts.key(at="press")
    room.weights("off", "P2")
    room.sheet_in("P2")
    body = scripts.post("/stacks/P2/weights", press, on=True, counted=2).get_json()
    assert "You count 2 in P2; by the log there are 1." in body["words"]
    kinds = [need["kind"] for need in scripts.get("/board", press).get_json()["needs_a_person"]]
    assert "count-differs" in kinds
    body = scripts.post("/stacks/P2/weights", press, on=True, counted=1).get_json()
    assert "1 sheets in P2." in body["words"] or "1 sheet in P2." in body["words"]
    kinds = [need["kind"] for need in scripts.get("/board", press).get_json()["needs_a_person"]]
    assert "count-differs" not in kinds


@pytest.mark.parametrize(
    "fields",
    [{}, {"on": "yes"}, {"on": True, "counted": -1}, {"on": True, "counted": 1.5}, {"on": True, "counted": 1000},
     {"on": True, "mass_kg": -1}, {"on": True, "mass_kg": 201}, {"on": True, "mass_kg": "12"}, {"on": True, "found": 1},
     {"on": True, "happened_at": "2026-11-25T09:00:00"}, {"on": True, "weight": 4}],
)  # fmt: skip
def test_what_is_said_of_weights_has_its_types_and_bounds(scripts: Scripts, fields: dict[str, Any]) -> None:
    problem(scripts.post("/stacks/P1/weights", scripts.key(at="press"), **fields), 400)


def test_weights_are_written_once_for_an_id(scripts: Scripts) -> None:
    room, press = scripts.room, scripts.key(at="press")
    room.weights("off", "P1")
    room.sheet_in("P1")
    body = {"scan_id": "w", "on": True}
    first = scripts.post("/stacks/P1/weights", press, body)
    room.wait(hours=1)
    assert scripts.post("/stacks/P1/weights", press, body).data == first.data
    problem(scripts.post("/stacks/P2/weights", press, body), 409)
    problem(scripts.post("/stacks/P1/weights", press, {**body, "on": False}), 409)


# -- sheets -----------------------------------------------------------------------------------------------------
def listed(room: Room, **more: str) -> dict[str, str]:
    return {
        "catalogNumber": room.new_number(),
        "scientificName": "Drosera rotundifolia L.",
        "recordedBy": "M. Fenwick",
        **more,
    }


def test_a_list_of_sheets_is_taken_in_with_its_names(scripts: Scripts) -> None:
    room, manager = scripts.room, scripts.key()
    rows = [
        listed(room, recordNumber="411", locality='bog, by the "Black" tarn,\nnorth side'),
        listed(room, family="Droseraceae"),
    ]
    response = scripts.post("/sheets", manager, {"sheets": rows, "consignment": "QF-26"})
    body = response.get_json()
    assert response.status_code == 200 and body["moved"] == [row["catalogNumber"] for row in rows]
    assert body["words"] == "Taken in. 2 new, 0 already here."
    page = scripts.get(f"/sheets/{rows[0]['catalogNumber']}", manager).get_json()
    assert page["stage"] == "intake" and page["plant"] == "Drosera rotundifolia L." and page["record_number"] == "411"
    assert page["consignment"] == "QF-26" and page["log"][0]["workers"] == ["Hedda Brackwater"]
    assert room.row(rows[0]["catalogNumber"])["locality"] == rows[0]["locality"]


def test_the_same_list_again_changes_nothing(scripts: Scripts) -> None:
    row = listed(scripts.room)
    for words in ("1 new, 0 already here.", "0 new, 1 already here."):
        body = scripts.post("/sheets", scripts.key(), {"sheets": [row], "consignment": "QF-26"}).get_json()
        assert body["words"] == f"Taken in. {words}"
    assert scripts.room.steps(row["catalogNumber"]) == ["take-in"]
    told = {"scan_id": "parcel", "sheets": [listed(scripts.room)], "consignment": "QF-26"}
    first, again = (scripts.post("/sheets", scripts.key(), told) for _ in range(2))
    assert first.status_code == again.status_code == 200 and first.data == again.data


def test_one_sheet_may_be_sent_alone(scripts: Scripts) -> None:
    manager, one, two = scripts.key(), listed(scripts.room), listed(scripts.room, recordNumber="7")
    assert scripts.post("/sheets", manager, {"sheets": one, "consignment": "QF-26"}).status_code == 200
    assert scripts.post("/sheets", manager, {**two, "consignment": "QF-26"}).status_code == 200
    assert [scripts.room.stage(each["catalogNumber"]) for each in (one, two)] == ["intake", "intake"]


def test_one_bad_sheet_refuses_them_all_and_each_is_named(scripts: Scripts) -> None:
    room, manager = scripts.room, scripts.key()
    taken = room.sheet_ready()
    good, later = listed(room, locality="two\nlines"), listed(room, eventDate="2027-01-01")
    rows = [good, listed(room, catalogNumber=taken), {"catalogNumber": "TQX 1"}, later]
    response = scripts.post("/sheets", manager, {"sheets": rows, "consignment": "QF-26"})
    assert codes(response) == ["number-taken", "misread-number", "bad-rows"]
    refusals = response.get_json(force=True)["refusals"]
    assert [(each["sheet"], each["term"]) for each in refusals] == [
        (1, "catalogNumber"),
        (2, "catalogNumber"),
        (3, "eventDate"),
    ]
    problem(scripts.get(f"/sheets/{good['catalogNumber']}", manager), 404)


@pytest.mark.parametrize(
    ("body", "sentence"),
    [
        ({"consignment": "QF-26"}, "sheets is missing"),
        ({"sheets": [], "consignment": "QF-26"}, "a list of 1 to 500"),
        ({"sheets": [1], "consignment": "QF-26"}, "sheets[0] has to be an object"),
        ({"sheets": [{}], "consignment": "QF-26"}, "sheets[0].catalogNumber is missing"),
        ({"sheets": [{"catalogNumbr": "TQX"}], "consignment": "QF-26"}, "the nearest is catalogNumber"),
        ({"sheets": [{"catalogNumber": "a", "dwc:catalogNumber": "b"}], "consignment": "QF-26"}, "is there twice"),
        ({"sheets": [{"catalogNumber": None}], "consignment": "QF-26"}, "sheets[0].catalogNumber has to be text"),
        ({"sheets": [{"catalogNumber": "TQX"}]}, "consignment is missing"),
        ({"sheets": [{"catalogNumber": "TQX"}], "consignment": "QF-26", "colour": 1}, "colour is not a field here"),
    ],
)
def test_a_list_that_is_not_right_is_refused_by_the_field(
    scripts: Scripts, body: dict[str, Any], sentence: str
) -> None:
    assert sentence in problem(scripts.post("/sheets", scripts.key(), body), 400)["detail"]


def test_a_consignment_that_is_not_here_is_refused(scripts: Scripts) -> None:
    response = scripts.post("/sheets", scripts.key(), {"sheets": listed(scripts.room), "consignment": "QF-99"})
    assert codes(response) == ["unknown-consignment"]


# -- corrections ------------------------------------------------------------------------------------------------
def test_a_worker_takes_back_their_own_last_scan_and_nobody_else_s(scripts: Scripts) -> None:
    room, table = scripts.room, scripts.key(at="table-1")
    number = room.sheet_ready()
    entry = scripts.scan(table, number, step="take-up").get_json()["entry"]
    assert codes(scripts.post(f"/entries/{entry}/correction", table)) == ["reason-needed"]
    assert codes(scripts.post(f"/entries/{entry}/correction", scripts.key(at="table-2"), reason="wrong sheet")) == [
        "manager-only"
    ]
    body = {"scan_id": "undo", "reason": "wrong sheet"}
    first = scripts.post(f"/entries/{entry}/correction", table, body)
    assert first.status_code == 200 and first.get_json()["sheet"]["stage"] == "ready-for-mounting"
    assert scripts.post(f"/entries/{entry}/correction", table, body).data == first.data
    problem(scripts.post(f"/entries/{first.get_json()['entry']}/correction", table, body), 409)
    assert codes(scripts.post(f"/entries/{entry}/correction", table, reason="again")) == ["already-corrected"]
    assert room.row(number)["table_id"] is None


def test_an_earlier_entry_is_not_taken_back_by_itself(scripts: Scripts) -> None:
    room, manager = scripts.room, scripts.key()
    number = room.sheet_mounted()
    first = room.log(number)[0]["id"]
    assert codes(scripts.post(f"/entries/{first}/correction", manager, reason="never came")) == ["not-last"]
    assert codes(scripts.post(f"/entries/{first}/correction", scripts.key(at="intake"), reason="never came")) == [
        "not-last"
    ]


def test_a_worker_s_scan_of_yesterday_is_the_manager_s_to_take_back(scripts: Scripts) -> None:
    room, table = scripts.room, scripts.key(at="table-1")
    entry = scripts.scan(table, room.sheet_ready(), step="take-up").get_json()["entry"]
    room.wait(days=1)
    assert codes(scripts.post(f"/entries/{entry}/correction", table, reason="wrong sheet")) == ["undo-too-late"]
    assert scripts.post(f"/entries/{entry}/correction", scripts.key(), reason="wrong sheet").status_code == 200


# -- reading ----------------------------------------------------------------------------------------------------
def test_a_sheet_tells_where_it_is_and_when_it_may_come_out(scripts: Scripts) -> None:
    room, reader = scripts.room, scripts.key("read")
    room.weights("off", "P3")
    number = room.sheet_in("P3", bulk="bulky")
    room.weights("on", "P3")
    room.wait(hours=1)
    page = scripts.get(f"/sheets/{number[:3].lower()}%20{number[3:]}", reader).get_json()
    assert page["number"] == number and page["stage"] == "under-press" and page["stack"] == "P3"
    assert page["under_weight_minutes"] == 60 and page["needs_minutes"] == 48 * 60
    assert page["ready_at"] == "2026-11-27T09:00:00+00:00" and page["since"] == "2026-11-25T09:00:00+00:00"
    assert [line["step"] for line in page["log"]] == ["take-in", "arrive-dry", "take-up", "mount", "put-under-weight"]
    assert {"cabinet", "shelf", "holds", "hazards", "adhesive", "bulk", "treated", "stalled"} <= set(page)


def test_names_are_for_the_manager_and_a_station_sees_those_who_work_there(scripts: Scripts) -> None:
    number = scripts.room.sheet_mounted()

    def named(key: str) -> set[str]:
        log = scripts.get(f"/sheets/{number}", key).get_json()["log"]
        return {name for line in log for name in line["workers"] if " " in name}

    assert named(scripts.key()) == {"Rosamund Ashgill", "Olwen Tarrant"}
    assert "Rosamund Ashgill" not in named(scripts.key(at="table-1")) and "Olwen Tarrant" in named(
        scripts.key(at="table-1")
    )
    assert not named(scripts.key("read")) & {"Rosamund Ashgill", "Olwen Tarrant"}


def test_a_list_of_sheets_is_read_a_page_at_a_time(scripts: Scripts) -> None:
    room, reader = scripts.room, scripts.key("read")
    numbers = []
    for _ in range(5):
        numbers.append(room.sheet_ready())
        room.wait(minutes=1)
    found: list[str] = []
    after, pages = "", 0
    while after is not None:
        assert re.fullmatch(r"[A-Za-z0-9_-]*", after)
        pages += 1
        page = scripts.get(f"/sheets?stage=ready-for-mounting&limit=2&after={after}", reader).get_json()
        found += [row["number"] for row in page["sheets"]]
        after = page["next"]
    assert found == numbers and pages == 3
    assert scripts.get("/sheets?stalled=true", reader).get_json()["sheets"] == []


@pytest.mark.parametrize(
    "asked",
    ["stage=mounting", "cabinet=Z9", "after=x", "after=%E2", "after=e282", "stage=drying&after=666f6f", "limit=0", "limit=201",
     "limit=x", "stalled=yes", "page=2", "limit=1&limit=2", "offset=10", "q=%00"],
)  # fmt: skip
def test_a_list_that_cannot_be_given_is_refused_in_a_sentence(scripts: Scripts, asked: str) -> None:
    assert problem(scripts.get(f"/sheets?{asked}", scripts.key("read")), 400)["detail"].endswith(".")


def test_the_board_has_the_seven_stages_and_what_needs_a_person(scripts: Scripts) -> None:
    room, reader = scripts.room, scripts.key("read")
    room.sheet_mounted()
    room.wait(hours=2)
    board = scripts.get("/board", reader).get_json()
    assert [each["stage"] for each in board["stages"]] == [
        "intake", "drying", "ready-for-mounting", "mounted", "under-press", "dry", "filed",
    ]  # fmt: skip
    mounted = board["stages"][3]
    assert (mounted["count"], mounted["stalled"]) == (1, 1) and mounted["oldest_since"].startswith(
        "2026-11-25T09:00:00"
    )
    assert board["needs_a_person"][0]["kind"] == "mounted-too-long"
    assert {"cabinets", "stacks"} <= set(board)


def test_health_tells_strangers_only_that_it_is_well(scripts: Scripts) -> None:
    assert scripts.get("/health").get_json() == {"ok": True}
    told = scripts.get("/health", scripts.key("read")).get_json()
    assert (
        told["ok"] is True
        and told["revision"] == newest_revision()
        and told["database"] == ("postgresql" if SERVER else "sqlite")
        and told["last_backup"] is None
    )
    assert told["clock"] == {"now": "2026-11-25T09:00:00+00:00", "doubtful": False}
    scripts.watch.doubtful_since_start = True
    assert scripts.get("/health", scripts.key("read")).get_json()["clock"]["doubtful"] is True
    problem(scripts.get("/health", "guessed"), 401)


@pytest.mark.sqlite_only("it damages the file of a room; the files of a server are its own")
def test_health_says_so_when_the_database_does_not_answer(room: Room, tmp_path: Path) -> None:
    scripts = Scripts(room, tmp_path)
    room.database.engine.dispose()
    (tmp_path / "blotter.sqlite3").write_bytes(b"this is no database" * 100)
    for beside in ("blotter.sqlite3-wal", "blotter.sqlite3-shm"):
        (tmp_path / beside).unlink(missing_ok=True)
    assert problem(scripts.get("/health"), 503)["ok"] is False


def test_nothing_is_taken_out_by_script_while_the_clock_is_in_doubt(scripts: Scripts) -> None:
    room, press = scripts.room, scripts.key(at="press")
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=24)
    room.weights("off", "P1")
    room.wait(seconds=30)
    scripts.watch.doubtful_since_start = True
    assert codes(scripts.scan(press, number, step="take-out")) == ["clock-doubtful"]
    scripts.watch.confirm()
    assert scripts.scan(press, number, step="take-out").status_code == 200


def test_a_manager_writes_late_entries_by_script_up_to_the_last_one_and_not_before(scripts: Scripts) -> None:
    room, manager = scripts.room, scripts.key()
    number = room.sheet_ready()
    last = room.now
    room.wait(hours=5)

    def late(seconds: int) -> Any:
        told = (last + timedelta(seconds=seconds)).isoformat()
        return scripts.scan(manager, number, step="take-up", station="table-1", workers=["W02"], happened_at=told)

    assert codes(late(-1)) == ["out-of-order"]
    assert late(0).status_code == 200
    entry = room.log(number)[-1]
    assert entry["is_late"] and entry["happened_at"] == last and entry["time_from"] == "manager"


def test_an_answer_that_was_stored_before_sheets_told_their_stage_is_still_read() -> None:
    kept = Answer("done", "Mounted.", sheet=Described("TQX0000012", "TQX 000001·2")).kept()
    del kept["sheet"]["stage"], kept["sheet"]["since"]
    read = answer_from(kept)
    assert read.sheet is not None and (read.sheet.number, read.sheet.stage) == ("TQX0000012", "")
