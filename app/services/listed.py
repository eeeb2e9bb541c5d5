"""Sheets that a script sends by their Darwin Core names: taken in as a list from a file is, whole or not at all."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from itertools import accumulate
from typing import Any

from app.domain.answer import WORDS, Answer
from app.domain.language import say
from app.domain.numbers import Kind
from app.domain.reading import Exact, read
from app.domain.table import NUMBER_TERM, BadRow
from app.services.desk import Desk
from app.services.intake import plan_import, run_import

Told = Mapping[str, str]


def take_in_list(desk: Desk, sheets: Sequence[Told], consignment: str) -> Answer:
    """Take in these sheets into a consignment; what is here already and told alike stays as it is.

    A sheet that cannot be taken in refuses them all, each with its place in the list. Refused: unknown-consignment.
    """
    data, lines = _as_file(sheets)
    plan = plan_import(desk.session, data, consignment, desk.occasion)
    if plan.bad:
        return _nothing_taken_in([_refusal(desk, bad, sheets, lines) for bad in plan.bad])
    by = tuple(worker.worker_id for worker in desk.by)
    # So that a number that somebody else took in at the same moment leaves nothing half done.
    with desk.session.begin_nested():
        done = run_import(desk.session, data, consignment, desk.occasion, by, desk.request.token_id)
    numbers = tuple(_number(desk, sheet) for sheet in sheets)
    return Answer(
        "done", say("Taken in."), (done.said,), say("Keep slip and label in the fold with each."), moved=numbers
    )


def _as_file(sheets: Sequence[Told]) -> tuple[bytes, list[int]]:
    """The list as a file would have it, and the line on which each sheet begins."""
    columns = list(dict.fromkeys(term for sheet in sheets for term in sheet))
    rows = [_row(columns), *(_row([sheet.get(column, "") for column in columns]) for sheet in sheets)]
    begins = accumulate((row.count("\n") for row in rows), initial=1)
    return "".join(rows).encode(), list(begins)[1:-1]


def _row(cells: Sequence[str]) -> str:
    text = io.StringIO()
    csv.writer(text, quoting=csv.QUOTE_ALL).writerow(cells)
    return text.getvalue()


def _nothing_taken_in(refusals: Sequence[Mapping[str, Any]]) -> Answer:
    lines = (say("Nothing is taken in."), *(str(refusal["words"]) for refusal in refusals[:10]))
    return Answer("stop", WORDS["stop"], lines, say("Put the list right, then send it again."), refusals=tuple(refusals),
                  status=422)  # fmt: skip


def _refusal(desk: Desk, bad: BadRow, sheets: Sequence[Told], lines: Sequence[int]) -> dict[str, Any]:
    refusal: dict[str, Any] = {"code": "bad-rows", "words": bad.reason, "term": bad.column}
    if bad.line in lines:
        place = lines.index(bad.line)
        refusal["sheet"] = place
        if bad.column == NUMBER_TERM:
            refusal["code"] = "number-taken" if _number(desk, sheets[place]) else "misread-number"
    return refusal


def _number(desk: Desk, sheet: Told) -> str:
    reading = read(sheet.get(NUMBER_TERM, ""), desk.patterns)
    return reading.text if isinstance(reading, Exact) and reading.kind is Kind.SHEET else ""
