"""The week: who did what, fairly told, on a page that can be printed, as a table, a workbook, or for a script."""

from __future__ import annotations

import re
from typing import Any

from flask import Blueprint, Response, abort, make_response, redirect, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.domain.calendar import iso_week
from app.domain.language import say
from app.queries.week import Week, week, weeks_between
from app.queries.week_lines import EXCEPTIONS
from app.web.render import house, now, page
from app.web.security import visitor
from app.web.week_chart import chart_of
from app.web.week_tables import csv_file, hours, label_of, spreadsheet, step_json

bp = Blueprint("week", __name__)
_LABEL = re.compile(r"(\d{4})-W(\d{2})", re.ASCII)
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@bp.get("/week")
def this() -> AnyResponse:
    """The week that runs."""
    return redirect(url_for("week.one", label=_label(iso_week(now(), house().zone))))


@bp.get("/weeks/<label>")
def one(label: str) -> Response:
    """One week; figures on people only for trainer and manager."""
    with reading(house().database) as session:
        first, last = weeks_between(session, now(), house().zone)
    found = read_week(label, named=visitor().sees_names())
    if found is None:
        return page("doors/error.html", 404, code=say("No such week"), what=say("There is no week {label} here.", label=label),
                    do=say("Weeks are written like 2026-W48. Look at the week that runs."))  # fmt: skip
    return page("week/one.html", found=found, label=label_of(found), charts=[(line, chart_of(line)) for line in found.room],
                before=_label(found.before) if found.before >= first else "", after=_label(found.after) if found.after else "",
                kinds=_by_kind(found), names=visitor().sees_names())  # fmt: skip


@bp.get("/weeks/<label>.csv", endpoint="table")
def as_table(label: str) -> Response:
    """One week as a CSV file."""
    found = _named(label)
    return _file(csv_file(found, house().zone).encode(), "text/csv; charset=utf-8", f"{label_of(found)}.csv")


@bp.get("/weeks/<label>.xlsx", endpoint="workbook")
def as_workbook(label: str) -> Response:
    """One week as a workbook."""
    found = _named(label)
    return _file(spreadsheet(found, house().zone), XLSX, f"{label_of(found)}.xlsx")


def read_week(label: str, *, named: bool) -> Week | None:
    """The report of the week with this label; None for one that is not, or that has not begun."""
    match = _LABEL.fullmatch(label)
    if match is None:
        return None
    try:
        with reading(house().database) as session:
            return week(session, int(match[1]), int(match[2]), now(), house().zone, named=named)
    except ValueError:
        return None


def week_json(found: Week) -> dict[str, Any]:
    """A week as the JSON interface gives it; moments in UTC."""
    return {
        "week": label_of(found), "is_over": found.is_over,
        "workers": [
            {"worker": worker.number, "name": worker.name,
             "steps": {line.step.value: step_json(line, hours_kept=found.hours_kept) for line in worker.steps},
             "hours": hours(worker.hours.own_s) if found.hours_kept else None,
             "passed_first": _first_pass(worker.first_pass)} for worker in found.workers
        ],
        "stages": [
            {"stage": stage.stage.value, "in": stage.came, "out": stage.left, "sent_back": stage.sent_back,
             "waiting": stage.waiting, "median_hours": stage.median_h} for stage in found.stages
        ],
        "exceptions": [
            {"kind": each.kind, "entry": each.entry_id, "happened_at": each.happened_at.isoformat(), "subject": each.link,
             "reason": each.reason} for each in found.exceptions
        ],
        "changed_since": [
            {"entry": each.entry_id, "changed_at": each.changed_at.isoformat(), "correction": each.is_correction}
            for each in found.changed
        ],
    }  # fmt: skip


def _first_pass(found: Any) -> dict[str, Any] | None:
    if found is None:
        return None
    interval = [round(found.interval.low, 3), round(found.interval.high, 3)] if found.interval else None
    return {"inspected": found.inspected, "passed": found.passed, "interval": interval}


def _named(label: str) -> Week:
    found = read_week(label, named=True)
    return found if found is not None else abort(404)


def _file(body: bytes, kind: str, name: str) -> Response:
    answer = make_response(body)
    answer.headers["Content-Type"] = kind
    answer.headers["Content-Disposition"] = f'attachment; filename="blotter-{name}"'
    return answer


def _label(which: tuple[int, int]) -> str:
    return f"{which[0]}-W{which[1]:02}"


def _by_kind(found: Week) -> list[tuple[str, list[Any]]]:
    return [
        (say(words), mine)
        for kind, words in EXCEPTIONS.items()
        if (mine := [each for each in found.exceptions if each.kind == kind])
    ]
