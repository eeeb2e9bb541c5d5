"""Taking in a parcel by its list: what a file would do to the room, and doing it whole or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256

from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.listing import open_headings
from app.domain.mapping import KEEP, LEAVE, Ways, proposed
from app.domain.parcel import USED
from app.domain.source import Data, as_source, pieces
from app.domain.table import BadRow, BadTable
from app.domain.table_letters import Letters
from app.domain.terms import term_for
from app.services.desk import Occasion, ScanRequest
from app.services.list_rows import in_chunks
from app.services.naming import Names
from app.services.opening import open_desk
from app.services.parcels import SHORT, Judged, judge, new_sheets
from app.services.taking_rows import take_in_rows


@dataclass(frozen=True, slots=True)
class ImportPlan:
    """What importing a file would do: how many sheets are new, how many are here already, and every bad row.

    `used` are the columns that the room reads, `kept` those kept with the sheet as they came, `left` those left out;
    `fresh` says whether the plants arrive fresh, and `file` is short for the file's content. Nothing is new while a row is
    bad. `headings`, `ways` and `samples` say how the columns are read, and `letters` in which encoding.
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
    left: tuple[str, ...] = ()
    headings: tuple[str, ...] = ()
    ways: Ways = ()
    samples: tuple[tuple[str, ...], ...] = ()
    letters: Letters = field(default_factory=lambda: Letters(as_source(b"")))
    title: str = ""

    @property
    def said(self) -> str:
        """The plan in one line."""
        if not self.bad:
            return say("{new:,} new, {unchanged:,} already here.", new=self.new, unchanged=self.unchanged)
        return say("{new:,} new, {unchanged:,} already here, {bad:,} that cannot be imported.",
                   new=self.new, unchanged=self.unchanged, bad=len(self.bad))  # fmt: skip


@dataclass(frozen=True, slots=True)
class ImportDone:
    """What an import did: how many sheets it took in, and how many were here already."""

    consignment: str
    new: int
    unchanged: int

    @property
    def said(self) -> str:
        """What was done, in one line."""
        return say("{new:,} new, {unchanged:,} already here.", new=self.new, unchanged=self.unchanged)


def plan_import(
    session: Session, data: Data, consignment_code: str, occasion: Occasion, ways: Ways | None = None
) -> ImportPlan:
    """Look through a file without writing: what is new, what is here already, and every row that cannot be imported.

    With `ways` the columns are what somebody said they are. Refused: unknown-consignment, no-pattern. A fault of the file
    as a whole is a bad row of the plan.
    """
    judged = judge(session, data, consignment_code, occasion, ways)
    bad = tuple(sorted(judged.bad, key=_where))
    columns = judged.listing.columns if judged.listing else ()
    row, new = judged.consignment, 0 if bad else judged.new
    plan = ImportPlan(
        row["code"], row["name"], is_fresh(row), new, judged.numbers.here, bad,
        tuple(column for column in columns if column in USED),
        tuple(column for column in columns if column and column not in USED), digest(data)[:SHORT],
    )  # fmt: skip
    return _with_columns(plan, data, judged, ways)


def run_import(session: Session, data: Data, consignment_code: str, occasion: Occasion, worker_ids: tuple[int, ...],
               token_id: int | None = None, ways: Ways | None = None) -> ImportDone:  # fmt: skip
    """Take in every sheet of a file that is not here yet, with an entry for each.

    Refused, before anything is written: what `plan_import` refuses, bad-rows, retired-worker; number-taken where
    somebody else took one of the numbers in at the same moment.
    """
    judged = judge(session, data, consignment_code, occasion, ways)
    if judged.bad:
        raise Refused(bad_rows(judged.bad))
    if judged.new:
        request = ScanRequest("", "", worker_ids=worker_ids, token_id=token_id)
        desk, refusal = open_desk(session, request, occasion)
        if refusal is not None:
            raise Refused(refusal)
        names = Names()
        for chunk in in_chunks(new_sheets(session, data, judged, occasion, ways)):
            take_in_rows(desk, judged.consignment, chunk, names, digest(data)[:SHORT])
    return ImportDone(judged.consignment["code"], judged.new, judged.numbers.here)


def bad_rows(bad: Sequence[BadRow]) -> Refusal:
    """Why nothing of a file is imported: its first bad row, and how many more there are."""
    first = min(bad, key=_where).said
    more = say(" {count:,} more cannot be imported.", count=len(bad) - 1) if len(bad) > 1 else ""
    return Refusal(
        "bad-rows",
        say("Nothing is imported. {first}{more}", first=first, more=more),
        say("Put it right in the file, then import it again."),
    )


def _where(bad: BadRow) -> tuple[str, int]:
    return bad.file, bad.line


def is_fresh(consignment: RowMapping) -> bool:
    """Whether the plants of a consignment arrive fresh."""
    return bool(consignment["kind"] == "fieldwork")


def digest(data: Data) -> str:
    """What tells a file from every other."""
    found = sha256()
    for piece in pieces(as_source(data)):
        found.update(piece)
    return found.hexdigest()


def _with_columns(plan: ImportPlan, data: Data, judged: Judged, ways: Ways | None) -> ImportPlan:
    try:
        found = judged.listing or open_headings(data)
    except BadTable:
        return plan
    shown = ways or _ways_of(found.headings, judged)
    left = tuple(heading for heading, way in zip(found.headings, shown, strict=False) if way == LEAVE)
    return replace(plan, left=left, headings=found.headings, ways=shown, samples=found.samples(), letters=found.letters,
                   title=found.title)  # fmt: skip


def _ways_of(headings: tuple[str, ...], judged: Judged) -> Ways:
    """How the columns were read by their headings; where they could not be read, how they probably are."""
    if judged.listing is None:
        return proposed(headings)
    return tuple(term_for(heading) or KEEP for heading in headings)
