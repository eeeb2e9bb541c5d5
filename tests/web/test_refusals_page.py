"""The page of what is refused, and its table."""

from __future__ import annotations

import csv
from io import StringIO

import pytest
from sqlalchemy import update

from app.db.engine import transaction
from app.db.models import Station
from app.domain.stages import Step
from tests.room import Room
from tests.web.conftest import ClientAs, words


@pytest.fixture
def refused(room: Room) -> Room:
    """A room in which a sheet was twice tried out of the press before its time, and one was filed too soon."""
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.scans(number, "press", step=Step.TAKE_OUT)
    room.wait(minutes=5)
    room.scans(number, "press", step=Step.TAKE_OUT)
    room.scans(room.sheet_ready(), "filing", step=Step.FILE)
    return room


def test_the_trainer_reads_what_is_refused_where_and_what_to_teach(refused: Room, client_as: ClientAs) -> None:
    page = words(client_as("trainer").get("/refusals"))
    assert "Before its time under weight was over Press, 2 times take out 2" in page
    assert "Look at the press room’s page before weights are lifted" in page
    assert "2026" not in page.split("Week by week")[0].split("The last eight weeks")[1][:40]
    assert "W41" in page and "W48 so far" in page
    assert "Olwen" not in page and "Piet" not in page


def test_every_figure_of_the_bars_stands_in_the_table_too(refused: Room, client_as: ClientAs) -> None:
    answer = client_as("trainer").get("/refusals")
    row = words(answer).split("How often each was refused")[1].split("Press")[1]
    assert row.strip().startswith("– – – – – – – 2 2")
    assert answer.text.count('<svg width="168"') == 3  # too early and weights on at the press; one at filing
    scans = words(answer).split("Refused of all scans")[-1]
    assert "Press – – – – – – – 2 of" in scans


def test_nothing_refused_is_said_so(client_as: ClientAs) -> None:
    assert "Nothing was refused in these weeks." in words(client_as("manager").get("/refusals"))


def test_the_table_is_a_csv_file_in_which_no_name_is_a_formula(refused: Room, client_as: ClientAs) -> None:
    with transaction(refused.database) as session:
        session.execute(update(Station).where(Station.slug == "press").values(name="=1+1"))
    answer = client_as("trainer").get("/refusals.csv")
    assert answer.mimetype == "text/csv"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="refusals-2026-11-25.csv"'
    rows = list(csv.reader(StringIO(answer.text.removeprefix("\ufeff"))))
    assert rows[0] == ["week", "station", "step", "code", "words", "refused", "scans at the station"]
    assert {row[1] for row in rows[1:]} == {"'=1+1", "Filing"}
    assert ["2026-W48", "'=1+1", "take-out", "too-early", "Before its time under weight was over", "2"] in [
        r[:6] for r in rows
    ]


@pytest.mark.parametrize("role", ["reader", "volunteer"])
def test_it_is_for_those_who_teach(client_as: ClientAs, role: str) -> None:
    browser = client_as(role)
    assert browser.get("/refusals").status_code == 403 and browser.get("/refusals.csv").status_code == 403
