"""The report of a week as tables: one row for each fact in a CSV file, one leaf for each part in a spreadsheet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from io import BytesIO
from zoneinfo import ZoneInfo

from app.domain.cells import BOM, csv_line
from app.domain.language import mark, say
from app.queries.week import Week
from app.queries.week_lines import EXCEPTIONS, Exceptional, Rate, RoomLine, StepLine, WorkerWeek

Cell = str | int | float | None
HOUR_S = 3600
LONGEST_NAME = 31  # of a leaf, by the workbook format
TIDY = ("week", "part", "who or what", "step", "measure", "value", "low", "high")


@dataclass(frozen=True, slots=True)
class Leaf:
    """One part of the report: its name, its headings and its rows."""

    name: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


def label_of(found: Week) -> str:
    """The week as ISO 8601 writes it, 2026-W48."""
    return f"{found.year}-W{found.week:02}"


def hours(seconds: int) -> float:
    """Seconds as hours with two decimals."""
    return round(seconds / HOUR_S, 2)


def share(credit: Fraction) -> float:
    """A credit as a decimal number, with two decimals."""
    return round(float(credit), 2)


def leaves(found: Week, zone: ZoneInfo) -> tuple[Leaf, ...]:
    """The parts of the report as a spreadsheet shows them; those that name people only where the week has them."""
    people = (Leaf(say("Workers"), _WORKER_HEAD, tuple(_worker_rows(found))),) if found.workers else ()
    return (*people, Leaf(say("Stages"), _STAGE_HEAD, tuple(_stage_rows(found, zone))),
            Leaf(say("Room"), _ROOM_HEAD, tuple(_room_rows(found))),
            Leaf(say("Exceptions"), _EXCEPTION_HEAD, tuple(_exception_row(each, zone) for each in found.exceptions)),
            Leaf(say("Changed since"), _CHANGED_HEAD, tuple(_changed_rows(found, zone))))  # fmt: skip


def csv_file(found: Week, zone: ZoneInfo) -> str:
    """The whole report as a CSV file, a row for each fact, so that many weeks can be put under one another."""
    lines = (csv_line("" if cell is None else str(cell) for cell in row) for row in (TIDY, *_facts(found, zone)))
    return BOM + "".join(lines)


def spreadsheet(found: Week, zone: ZoneInfo) -> bytes:
    """The whole report as an Office Open XML workbook; texts are texts, whatever they begin with."""
    import xlsxwriter  # type: ignore[import-untyped]

    file = BytesIO()
    asked = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(file, asked) as book:
        bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        for leaf in leaves(found, zone):
            sheet = book.add_worksheet(leaf.name[:LONGEST_NAME])
            sheet.write_row(0, 0, [say(each) for each in leaf.head], bold)
            for place, row in enumerate(leaf.rows, 1):
                sheet.write_row(place, 0, row)
            sheet.freeze_panes(1, 0)
            sheet.autofit()
            sheet.repeat_rows(0)
            sheet.set_landscape()
            sheet.fit_to_pages(1, 0)
            sheet.set_header(f"&LBlotter&C{leaf.name}&R{label_of(found)}")
    return file.getvalue()


def _worker_rows(found: Week) -> Iterator[tuple[Cell, ...]]:
    for worker in found.workers:
        for line in worker.steps:
            yield (worker.number, worker.name, line.words, line.sheets, share(line.credit), line.learning,
                   hours(line.hours_s) if found.hours_kept else None, *_rate(line.rate))  # fmt: skip
        for what, seconds in _hours_of(worker) if found.hours_kept else ():
            yield (worker.number, worker.name, what, None, None, None, hours(seconds), None, None, None)


def _hours_of(worker: WorkerWeek) -> tuple[tuple[str, int], ...]:
    apart = ((say("hours learning"), worker.hours.learning_s), (say("hours teaching"), worker.hours.teaching_s))
    return (say("hours in all"), worker.hours.own_s), *(each for each in apart if each[1])


def _rate(rate: Rate | None) -> tuple[Cell, Cell, Cell]:
    if rate is None:
        return None, None, None
    return round(rate.per_hour, 2), round(rate.interval.low, 2), round(rate.interval.high, 2)


def _stage_rows(found: Week, zone: ZoneInfo) -> Iterator[tuple[Cell, ...]]:
    for stage in found.stages:
        oldest = _at(stage.oldest_since, zone) if stage.oldest_since else None
        days = round(stage.median_h / 24, 2) if stage.median_h is not None else None
        yield (stage.name, stage.came, stage.left, stage.sent_back, stage.waiting, oldest, days, stage.stays,
               stage.waiting_now, stage.stalled_now, stage.held_now)  # fmt: skip


def _room_rows(found: Week) -> Iterator[tuple[Cell, ...]]:
    for line in found.room:
        yield say(line.what), round(line.value, 2), *_limits(line), line.chart.weeks, line.chart.words


def _exception_row(each: Exceptional, zone: ZoneInfo) -> tuple[Cell, ...]:
    return (
        say(EXCEPTIONS[each.kind]),
        _at(each.happened_at, zone),
        each.subject,
        each.what,
        each.reason,
        ", ".join(each.by),
    )


def _changed_rows(found: Week, zone: ZoneInfo) -> Iterator[tuple[Cell, ...]]:
    for each in found.changed:
        how = say("taken back") if each.is_correction else say("written late")
        yield _at(each.changed_at, zone), _at(each.happened_at, zone), each.subject, each.what, how, each.reason


def _facts(found: Week, zone: ZoneInfo) -> Iterator[tuple[Cell, ...]]:
    facts = (*_people_facts(found), *_stage_facts(found), *_line_facts(found), *_exception_facts(found, zone))
    label = label_of(found)
    return ((label, *fact) for fact in facts)


def _people_facts(found: Week) -> Iterator[tuple[Cell, ...]]:
    for worker in found.workers:
        for fact in _worker_facts(worker, hours_kept=found.hours_kept):
            yield ("worker", f"{worker.number} {worker.name}", *fact)


def _stage_facts(found: Week) -> Iterator[tuple[Cell, ...]]:
    for stage in found.stages:
        measures: dict[str, Cell] = {
            "came": stage.came, "left": stage.left, "sent back": stage.sent_back, "waiting": stage.waiting,
            "stays ended": stage.stays, "median hours": stage.median_h,
        }  # fmt: skip
        for measure, value in measures.items():
            yield "stage", stage.stage.value, None, measure, value, None, None


def _line_facts(found: Week) -> Iterator[tuple[Cell, ...]]:
    for line in found.room:
        _, low, high = _limits(line)
        # Rows for programs: in English whatever is spoken.
        yield "room", line.what + "", line.step.value if line.step else None, "value", round(line.value, 2), low, high


def _exception_facts(found: Week, zone: ZoneInfo) -> Iterator[tuple[Cell, ...]]:
    for each in found.exceptions:
        yield "exception", each.subject, each.kind, _at(each.happened_at, zone), each.reason, None, None


def _limits(line: RoomLine) -> tuple[Cell, Cell, Cell]:
    mean, low, high = (
        None if each is None else round(each, 2) for each in (line.chart.mean, line.chart.low, line.chart.high)
    )
    return mean, low, high


def _at(moment: datetime, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).isoformat(timespec="minutes")


def _worker_facts(worker: WorkerWeek, *, hours_kept: bool) -> Iterator[tuple[Cell, ...]]:
    for line in worker.steps:
        yield line.step.value, "sheets", line.sheets, None, None
        yield line.step.value, "credit", share(line.credit), None, None
        if hours_kept:
            yield line.step.value, "hours", hours(line.hours_s), None, None
        if line.rate is not None:
            yield line.step.value, "per hour", *_rate(line.rate)
    if hours_kept:
        yield None, "hours", hours(worker.hours.own_s), None, None
        yield None, "hours learning", hours(worker.hours.learning_s), None, None
        yield None, "hours teaching", hours(worker.hours.teaching_s), None, None


def step_json(line: StepLine, *, hours_kept: bool) -> dict[str, object]:
    """One step of one worker as the JSON interface gives it; no hours where they are no longer kept by person."""
    rate = line.rate
    return {
        "sheets": line.sheets, "credit": share(line.credit), "learning": line.learning,
        "hours": hours(line.hours_s) if hours_kept else None,
        "per_hour": round(rate.per_hour, 3) if rate else None,
        "interval": [round(rate.interval.low, 3), round(rate.interval.high, 3)] if rate else None,
    }  # fmt: skip


_WORKER_HEAD = (
    mark("Number"),
    mark("Name"),
    mark("Step"),
    mark("Sheets"),
    mark("Credit"),
    mark("Of these learning"),
    mark("Hours"),
    mark("Sheets an hour, 8 weeks"),
    mark("from"),
    mark("to"),
)
_STAGE_HEAD = (
    mark("Stage"),
    mark("Came"),
    mark("Left"),
    mark("Sent back"),
    mark("Waiting"),
    mark("Oldest since"),
    mark("Median days"),
    mark("Stays ended"),
    mark("Waiting now"),
    mark("Stalled now"),
    mark("Held now"),
)
_ROOM_HEAD = (
    mark("What"),
    mark("This week"),
    mark("Mean of the weeks before"),
    mark("Low"),
    mark("High"),
    mark("Weeks"),
    mark("Said"),
)
_EXCEPTION_HEAD = (mark("Kind"), mark("When"), mark("Sheet or stack"), mark("What"), mark("Reason"), mark("By"))
_CHANGED_HEAD = (
    mark("Changed at"),
    mark("Happened at"),
    mark("Sheet or stack"),
    mark("What"),
    mark("How"),
    mark("Reason"),
)
