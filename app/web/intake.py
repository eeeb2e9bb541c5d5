"""Intake by list: a file of sheets, shown as a plan first, then written whole or not at all."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import PurePath

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.cells import BOM, csv_line
from app.domain.language import mark, say
from app.domain.listing import open_headings
from app.domain.mapping import KEEP, LEAVE, Ways, proposed
from app.domain.parcel import USED
from app.domain.source import Data
from app.domain.table import MOST_BYTES, MOST_COLUMNS, BadTable
from app.domain.terms import TERMS
from app.queries.files import remembered_ways
from app.queries.furniture import ConsignmentLine, consignments
from app.services.column_maps import remember_ways
from app.services.files import Sent, begin_file, keep_whole
from app.services.intake import ImportPlan, plan_import, run_import
from app.web.forms import ImportForm
from app.web.render import house, page, running_house
from app.web.scans import occasion
from app.web.security import visitor
from app.web.uploads import held, hold, let_go, let_lie

bp = Blueprint("intake", __name__)
BAD_SHOWN = 200
# So many sheets are taken in while one waits; more of them in the background, with a page that says how far they are.
AT_ONCE = 500
GONE = mark(
    "The file is no longer held here. If it was written, its sheets are in the list; otherwise choose it again."
)


@bp.url_value_preprocessor
def takes_more(endpoint: str | None, values: object) -> None:
    """A list with its form is larger than what other pages take, and has a field for each column."""
    request.max_content_length = MOST_BYTES + 1024 * 1024
    request.max_form_parts = MOST_COLUMNS + 50


@dataclass(frozen=True, slots=True)
class Asked:
    """Which file is meant, by its key, its name, and how its columns are read, if somebody has said so here or before."""

    key: str
    name: str
    ways: Ways | None
    is_said_before: bool = False


@bp.route("/intake", endpoint="page", methods=["GET", "POST"])
def choose() -> AnyResponse:
    """Choose a file and a consignment, look at the plan, write it."""
    form, found = _form()
    if request.method == "GET":
        return _show(form, found)
    key = request.form.get("held", "")
    if key:
        del form.file
    if not form.validate():
        return _show(form, found, status=422)
    return _write(form, key) if key and form.write.data else _plan(form, found, key)


@bp.get("/intake/bad")
def bad() -> AnyResponse:
    """Every row of a held file that cannot be imported, as a table for other programs."""
    data = held(request.args.get("held", ""))
    if data is None:
        flash(GONE)
        return redirect(url_for("intake.page"))
    with reading(house().database) as session:
        plan = plan_import(
            session, data, request.args.get("consignment", ""), occasion(), _ways(request.args.get("ways", ""))
        )
    lines = [(each.file, str(each.line or ""), each.column, each.reason) for each in plan.bad]
    text = "".join(csv_line(line) for line in (("file", "line", "column", "reason"), *lines))
    answer = Response(BOM + text, mimetype="text/csv")
    answer.headers["Content-Disposition"] = 'attachment; filename="rows-to-put-right.csv"'
    return answer


def _plan(form: ImportForm, found: tuple[ConsignmentLine, ...], key: str) -> AnyResponse:
    held_as = key or _hold(form)
    data = held(held_as)
    if data is None:
        flash(GONE)
        return redirect(url_for("intake.page"))
    name = request.form.get("name", "") if key else PurePath(form.file.data.filename or "").name
    code, asked = form.consignment.data, Asked(held_as, name[:200], _ways_sent(data))
    with reading(house().database) as session:
        if asked.ways is None:
            asked = _as_before(asked, remembered_ways(session, code, _headings(data)))
        plan = plan_import(session, data, code, occasion(), asked.ways)
    return _show(form, found, plan=plan, asked=asked, status=422 if plan.bad else 200)


def _hold(form: ImportForm) -> str:
    # A large one lies in a file of its own meanwhile.
    with form.file.data.stream as sent:
        return hold(sent)


def _write(form: ImportForm, key: str) -> AnyResponse:
    data, who, code = held(key), visitor(), form.consignment.data
    if data is None or who.worker_id is None:
        flash(GONE)
        return redirect(url_for("intake.page"))
    ways, now_ = _ways(request.form.get("ways", "")), occasion()
    sent = Sent(request.form.get("name", "")[:200] or "a list", key, code, ways, who.worker_id)
    with reading(house().database) as session:
        plan = plan_import(session, data, code, now_, ways)
    if plan.new > AT_ONCE and house() is running_house():
        return _begin(sent, plan)
    with transaction(house().database) as session:
        done = run_import(session, data, code, now_, (who.worker_id,), ways=ways)
        if done.new:
            keep_whole(session, sent, now_, done.new)
        _remember(session, sent, plan)
    let_go(key)
    flash(say("Written: {said}", said=done.said))
    return redirect(url_for("intake.page"))


def _begin(sent: Sent, plan: ImportPlan) -> AnyResponse:
    with transaction(house().database) as session:
        file_id = begin_file(session, sent, occasion())
        _remember(session, sent, plan)
    let_lie()
    return redirect(url_for("files.one", file_id=file_id))


def _remember(session: object, sent: Sent, plan: ImportPlan) -> None:
    if sent.ways is not None:
        remember_ways(session, sent.consignment, plan.headings, sent.ways, occasion().now, sent.by)  # type: ignore[arg-type]


def _headings(data: Data) -> tuple[str, ...]:
    try:
        return open_headings(data).headings
    except BadTable:
        return ()


def _as_before(asked: Asked, ways: Ways | None) -> Asked:
    return Asked(asked.key, asked.name, ways, ways is not None)


def _ways_sent(data: Data) -> Ways | None:
    """How the columns are read by the fields of the form; None where it was not asked."""
    if "way-0" not in request.form:
        return None
    return tuple(request.form.get(f"way-{place}", KEEP) for place in range(len(_headings(data))))


def _ways(text: str) -> Ways | None:
    """How columns are read, as a page carries it along; None for what no page of ours has written."""
    try:
        found = json.loads(text) if text else None
    except (ValueError, RecursionError):
        return None
    if not isinstance(found, list) or not all(isinstance(each, str) for each in found):
        return None
    return tuple(found)


def _form() -> tuple[ImportForm, tuple[ConsignmentLine, ...]]:
    form = ImportForm()
    with reading(house().database) as session:
        found = consignments(session)
    open_ = [each for each in found if each.closed_at is None]
    form.consignment.choices = [(each.code, f"{each.name} ({each.code})") for each in open_]
    return form, found


def _show(form: ImportForm, found: tuple[ConsignmentLine, ...], *, plan: ImportPlan | None = None,
          asked: Asked | None = None, status: int = 200) -> AnyResponse:  # fmt: skip
    carried = json.dumps(asked.ways) if asked and asked.ways is not None else ""
    return page("intake/page.html", status, form=form, consignments=found, plan=plan, asked=asked, carried=carried, most=BAD_SHOWN,
                columns=_columns(plan) if plan else (), can_import=bool(form.consignment.choices))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a file as the page shows it: its heading, what stands in it, what it may be, and what it is."""

    heading: str
    samples: tuple[str, ...]
    choices: tuple[tuple[str, str], ...]
    way: str


def _columns(plan: ImportPlan) -> tuple[Column, ...]:
    likely, found = proposed(plan.headings), []
    for place, heading in enumerate(plan.headings):
        samples = tuple(
            dict.fromkeys(row[place][:60] for row in plan.samples if place < len(row) and row[place].strip())
        )
        way = plan.ways[place] if place < len(plan.ways) else KEEP
        terms = dict.fromkeys((*USED, *(term for term in (likely[place], way) if term in TERMS)))
        choices = (*((term, term) for term in terms), (KEEP, say("keep it as it came")), (LEAVE, say("leave it out")))
        found.append(Column(heading.strip() or say("column {place}", place=place + 1), samples, choices, way))
    return tuple(found)
