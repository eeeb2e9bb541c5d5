"""Taking in a parcel by its list: what a CSV file would do to the room, and doing it whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from sqlalchemy import insert
from sqlalchemy.engine import RowMapping
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.db.models import Sheet, table_of
from app.domain.errors import Refusal, Refused
from app.domain.parcel import USED, ListedSheet
from app.domain.sheet import NOWHERE, Standing
from app.domain.stages import Stage, Step
from app.domain.table import BadRow
from app.services.custody import Writing, enter_many
from app.services.desk import Desk, Occasion, ScanRequest
from app.services.naming import Names, learn_collectors, learn_plants
from app.services.opening import open_desk
from app.services.parcels import Judged, in_chunks, judge, new_sheets

SHEET = table_of(Sheet)

_ADD_SHEETS = insert(SHEET).returning(SHEET.c.number, SHEET.c.id)

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class ImportPlan:
    """What importing a file would do: how many sheets are new, how many are here already, and every bad row.

    `used` are the columns that the room reads, `kept` those kept with the sheet as they came; `fresh` says whether
    the plants arrive fresh, and `file` is short for the file's content. Nothing is new while a row is bad.
    """

    consignment: str
    name: str
    fresh: bool
    new: int
    unchanged: int
    bad: tuple[BadRow, ...]
    used: tuple[str, ...]
    kept: tuple[str, ...]
    file: str

    @property
    def said(self) -> str:
        """The plan in one line."""
        bad = f", {len(self.bad):,} that cannot be imported" if self.bad else ""
        return f"{self.new:,} new, {self.unchanged:,} already here{bad}."


@dataclass(frozen=True, slots=True)
class ImportDone:
    """What an import did: how many sheets it took in, and how many were here already."""

    consignment: str
    new: int
    unchanged: int

    @property
    def said(self) -> str:
        """What was done, in one line."""
        return f"{self.new:,} new, {self.unchanged:,} already here."


def plan_import(session: Session, data: bytes, consignment_code: str, occasion: Occasion) -> ImportPlan:
    """Look through a file without writing: what is new, what is here already, and every row that cannot be imported.

    Refused: unknown-consignment, no-pattern. A fault of the file as a whole is a bad row of the plan.
    """
    judged = judge(session, data, consignment_code, occasion)
    bad = tuple(sorted(judged.bad, key=lambda each: each.line))
    used = tuple(column for column in judged.columns if column in USED)
    kept = tuple(column for column in judged.columns if column not in USED)
    row, new = judged.consignment, 0 if bad else judged.new
    return ImportPlan(
        row["code"], row["name"], _is_fresh(row), new, len(judged.here), bad, used, kept, _short(data)
    )  # fmt: skip


def run_import(session: Session, data: bytes, consignment_code: str, occasion: Occasion, worker_ids: tuple[int, ...],
               token_id: int | None = None, progress: Progress | None = None) -> ImportDone:  # fmt: skip
    """Take in every sheet of a file that is not here yet, with an entry for each; `progress` hears done and total.

    Refused, before anything is written: what `plan_import` refuses, bad-rows, retired-worker; number-taken where
    somebody else took one of the numbers in at the same moment.
    """
    judged = judge(session, data, consignment_code, occasion)
    if judged.bad:
        raise Refused(_refusal(judged.bad))
    if judged.new:
        request = ScanRequest("", "", worker_ids=worker_ids, token_id=token_id)
        desk, refusal = open_desk(session, request, occasion)
        if refusal is not None:
            raise Refused(refusal)
        _write(desk, data, judged, progress)
    return ImportDone(judged.consignment["code"], judged.new, len(judged.here))


def _refusal(bad: Sequence[BadRow]) -> Refusal:
    first = min(bad, key=lambda each: each.line).said
    more = f" {len(bad) - 1:,} more cannot be imported." if len(bad) > 1 else ""
    return Refusal("bad-rows", f"Nothing is imported. {first}{more}", "Put it right in the file, then import it again.")


def _write(desk: Desk, data: bytes, judged: Judged, progress: Progress | None) -> None:
    names, file, done = Names(), _short(data), 0
    for chunk in in_chunks(new_sheets(data, judged, desk.occasion)):
        learn_plants(desk.session, names, (sheet.plant for sheet in chunk))
        learn_collectors(desk.session, names, (sheet.collector for sheet in chunk))
        _take_in(desk, judged.consignment, chunk, names, file)
        done += len(chunk)
        if progress is not None:
            progress(done, judged.new)


def _take_in(desk: Desk, consignment: RowMapping, chunk: Sequence[ListedSheet], names: Names, file: str) -> None:
    rows = [_sheet_row(desk, consignment, sheet, names) for sheet in chunk]
    try:
        sheet_ids = {row.number: row.id for row in desk.session.execute(_ADD_SHEETS, rows)}
    except IntegrityError as error:
        words = "Somebody else took one of these numbers in at the same moment."
        raise Refused(Refusal("number-taken", words, "Import the file again.")) from error
    sets, nowhere = {"fresh": _is_fresh(consignment), "bulk": "ordinary"}, Standing()
    told = [{"file": file, "line": sheet.line, "content": sheet.content} for sheet in chunk]
    writings = [Writing(Step.TAKE_IN, Stage.INTAKE, NOWHERE, sets, facts=facts) for facts in told]
    enter_many(desk, [(sheet_ids[sheet.number], nowhere, each) for sheet, each in zip(chunk, writings, strict=True)])


def _sheet_row(desk: Desk, consignment: RowMapping, sheet: ListedSheet, names: Names) -> dict[str, Any]:
    return {
        "number": sheet.number, "consignment_id": consignment["id"], "added_at": desk.now,
        "plant_name_id": names.plants.get(sheet.plant), "collector_id": names.collectors.get(sheet.collector),
        **sheet.known,
    }  # fmt: skip


def _is_fresh(consignment: RowMapping) -> bool:
    return bool(consignment["kind"] == "fieldwork")


def _short(data: bytes) -> str:
    return sha256(data).hexdigest()[:12]
