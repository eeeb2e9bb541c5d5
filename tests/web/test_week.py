"""The week on its page, in a table, in a workbook, for scripts and on the command line: the same figures everywhere."""

from __future__ import annotations

import csv
from datetime import timedelta
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time
from openpyxl import load_workbook
from sqlalchemy import delete, insert, update

from app.cli import main
from app.db.engine import reading, transaction
from app.db.models import Attendance, HoursSum, Worker, table_of
from app.domain.stages import Step
from app.queries.week import Week, week
from app.web.week_tables import leaves, spreadsheet
from tests.room import LONDON, Room
from tests.web.api_client import Scripts
from tests.web.conftest import ClientAs, words

THIS = "2026-W48"
FORMULA = "=cmd|' /C calc'!A0"


def a_week(room: Room) -> str:
    """Two sheets mounted, one of them by hand of a worker with a hostile name, one let out early; its number."""
    with transaction(room.database) as session:
        mine = table_of(Worker).c.id == room.worker["olwen"]
        session.execute(update(table_of(Worker)).where(mine).values(name=FORMULA))
    room.sheet_mounted("table-2")
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=2)
    room.weights("off", "P1")
    room.takes_out(number, who="hedda", early=True, reason="wanted for a loan")
    return number


def found_of(room: Room) -> Week:
    with reading(room.database) as session:
        return week(session, 2026, 48, room.now, LONDON)


def test_the_page_says_who_did_what_to_the_manager_and_only_the_rooms_figures_to_others(
    room: Room, client_as: ClientAs
) -> None:
    number = a_week(room)
    said = words(client_as("manager").get(f"/weeks/{THIS}"))
    assert "Week 48 of 2026" in said and "Monday 23 Nov 2026 to Sunday 29 Nov 2026" in said and "Piet" in said
    assert number[-4:-1] in said and "wanted for a loan" in said
    for role in ("reader", "volunteer"):
        text = client_as(role).get(f"/weeks/{THIS}").text
        main_part = text[text.index("<main") :]
        assert "Piet" not in main_part and FORMULA[:4] not in main_part and "By stage" in main_part
    assert client_as("reader").get(f"/weeks/{THIS}.csv").status_code == 403


def test_the_week_that_runs_is_one_click_away_and_leads_back(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    answer = browser.get("/week")
    assert answer.status_code == 302 and answer.location.endswith(f"/weeks/{THIS}")
    assert f'href="/weeks/{THIS}"' not in browser.get(f"/weeks/{THIS}").text


@pytest.mark.parametrize("label", ["2026-W54", "2027-W01", "2026-48", "..", "2026-W4", "٢٠٢٦-W٤٨", "9999-W99"])
def test_a_week_that_is_not_is_said_to_be_none(client_as: ClientAs, label: str) -> None:
    assert client_as("manager").get(f"/weeks/{label}").status_code == 404


def test_the_table_has_a_row_for_each_fact_and_no_cell_is_a_formula(room: Room, client_as: ClientAs) -> None:
    a_week(room)
    answer = client_as("manager").get(f"/weeks/{THIS}.csv")
    assert answer.headers["Content-Disposition"] == f'attachment; filename="blotter-{THIS}.csv"'
    rows = list(csv.DictReader(StringIO(answer.get_data(as_text=True).lstrip("\ufeff"))))
    mounted = {
        row["who or what"]: row["value"] for row in rows if row["step"] == "mount" and row["measure"] == "sheets"
    }
    assert set(mounted.values()) == {"1"} and len(mounted) == 2
    assert all(row["week"] == THIS for row in rows) and {row["part"] for row in rows} >= {
        "worker",
        "stage",
        "exception",
    }
    assert not [cell for row in rows for cell in row.values() if cell.startswith(("=", "+", "-", "@"))]


def test_the_workbook_read_by_another_library_says_the_same_and_runs_nothing(room: Room, client_as: ClientAs) -> None:
    a_week(room)
    body = client_as("manager").get(f"/weeks/{THIS}.xlsx").data
    book = load_workbook(BytesIO(body))
    cells = {sheet.title: [[cell.value for cell in row] for row in sheet.iter_rows()] for sheet in book}
    for leaf in leaves(found_of(room), LONDON):
        assert cells[leaf.name] == [
            list(leaf.head),
            *([each if each != "" else None for each in row] for row in leaf.rows),
        ]
    names = [row for row in book["Workers"].iter_rows(min_col=2, max_col=2, min_row=2)]
    assert any(cell.value == FORMULA for (cell,) in names)
    assert {cell.data_type for sheet in book for row in sheet.iter_rows() for cell in row} <= {"s", "n"}


def test_a_script_gets_workers_only_with_a_managers_key(room: Room, tmp_path: Path) -> None:
    scripts = Scripts(room, tmp_path)
    a_week(room)
    told: dict[str, Any] = scripts.get(f"/weeks/{THIS}", scripts.key(scope="manage")).get_json()
    assert {worker["steps"]["mount"]["sheets"] for worker in told["workers"] if "mount" in worker["steps"]} == {1}
    assert [each["kind"] for each in told["exceptions"]] == ["early-release"]
    assert {
        name: next(each for each in told["stages"] if each["stage"] == "mounted")[name]
        for name in ("stage", "in", "out")
    } == {"stage": "mounted", "in": 2, "out": 1}
    assert scripts.get(f"/weeks/{THIS}", scripts.key(scope="read")).get_json()["workers"] == []
    assert scripts.get("/weeks/2026-W99", scripts.key(scope="read")).status_code == 404


def test_the_command_line_shows_it_and_writes_it(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    a_week(room)
    csv_path, xlsx_path = tmp_path / "week.csv", tmp_path / "week.xlsx"
    with freeze_time(room.now + timedelta(seconds=1)):
        asked = ["report", "--data", str(tmp_path), "--week", THIS]
        assert main(asked) == 0 and "early" in capsys.readouterr().out
        assert main([*asked, "--csv", str(csv_path)]) == main([*asked, "--xlsx", str(xlsx_path)]) == 0
        assert main(["report", "--data", str(tmp_path), "--week", "2031-W01"]) == 1
    assert (
        csv_path.read_text(encoding="utf-8-sig").startswith("week,part,")
        and load_workbook(xlsx_path)["Stages"]["A1"].value == "Stage"
    )
    assert "Traceback" not in capsys.readouterr().err


def test_an_entry_taken_back_is_in_no_figure_and_the_past_week_says_that_it_changed(
    room: Room, client_as: ClientAs
) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    entry = room.scans(number, "table-1", step=Step.MOUNT).entry
    room.wait(days=7)
    before = found_of(room)
    assert not before.changed and any(line.step is Step.MOUNT for worker in before.workers for line in worker.steps)
    assert entry is not None
    room.takes_back(entry, "it was another sheet")
    after = found_of(room)
    assert not any(line.step is Step.MOUNT for worker in after.workers for line in worker.steps)
    assert [each.is_correction for each in after.changed] == [True]
    assert "Changed since it ended" in words(client_as("manager").get(f"/weeks/{THIS}"))


def test_an_empty_week_is_a_workbook_too(room: Room) -> None:
    book = load_workbook(BytesIO(spreadsheet(found_of(room), LONDON)))
    assert "Stages" in book.sheetnames


def test_a_week_whose_hours_are_no_longer_kept_by_person_says_so_and_no_hours(
    room: Room, tmp_path: Path, client_as: ClientAs
) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    room.wait(hours=1)
    room.scans(number, "table-1", step=Step.MOUNT)
    manager, scripts, gone = client_as("manager"), Scripts(room, tmp_path), "These hours are no longer kept by person."

    def told() -> tuple[str, set[str], set[str], list[Any]]:
        rows = csv.DictReader(StringIO(manager.get(f"/weeks/{THIS}.csv").text.lstrip("\ufeff")))
        leaf = next(each for each in leaves(found_of(room), LONDON) if each.name == "Workers")
        by_script = scripts.get(f"/weeks/{THIS}", scripts.key(scope="manage")).get_json()["workers"]
        return (words(manager.get(f"/weeks/{THIS}")), {row["measure"] for row in rows}, {str(row[2]) for row in leaf.rows},
                [each["hours"] for each in by_script] + [step["hours"] for each in by_script for step in each["steps"].values()])  # fmt: skip

    page, measures, lines, hours = told()
    assert gone not in page and "hours in all" in page and "hours at the tables" in page
    assert "hours" in measures and "hours in all" in lines and None not in hours and max(hours) >= 1
    with transaction(room.database) as session:
        session.execute(delete(Attendance))
        session.execute(insert(HoursSum), {"month": "2026-11", "station_id": room.station["table-1"], "seconds": 3600})
    room.wait(weeks=1)
    room.signs_in("olwen", "table-1")
    page, measures, lines, hours = told()
    assert gone in page and "hours in all" not in page and "hours at the tables" not in page
    assert not any("hours" in each for each in (measures - {"median hours"}) | lines) and set(hours) == {None}
