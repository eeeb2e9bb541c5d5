"""A room for the tests: one cast, and a builder that speaks in the verbs of the room."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select

from app.db.engine import Database, reading, transaction
from app.db.models import Bundle, Entry, HouseRule, Sheet, Stack, Station, Worker, table_of
from app.domain.answer import Answer
from app.domain.numbers import Pattern, mint
from app.domain.stages import Stage, Step
from app.services import people, room
from app.services.corrections import take_back_from, undo
from app.services.desk import Occasion, ScanRequest
from app.services.scanning import once, scan
from app.services.signing import sign_in
from tests.furniture import furnished

LONDON = ZoneInfo("Europe/London")
WEDNESDAY = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
TQX = Pattern("TQX", 6)
STAY = "idle_sign_out_min"

STATIONS: dict[str, tuple[str, list[Step]]] = {
    "intake": ("Intake", [Step.TAKE_IN, Step.ARRIVE_DRY, Step.ARRIVE_MOUNTED, Step.LAY_TO_DRY, Step.SHELVE]),
    "drying": ("Drying", [Step.LAY_TO_DRY, Step.PAPERS_CHANGED, Step.PASS_AS_DRY]),
    "table-1": ("Mounting table 1", [Step.TAKE_UP, Step.MOUNT, Step.PUT_BACK, Step.ANOTHER_SHEET]),
    "table-2": ("Mounting table 2", [Step.TAKE_UP, Step.MOUNT, Step.PUT_BACK, Step.ANOTHER_SHEET]),
    "press": ("Press", [Step.PUT_UNDER_WEIGHT, Step.TAKE_OUT, Step.WEIGHTS_ON, Step.WEIGHTS_OFF]),
    "inspection": ("Inspection", [Step.INSPECT, Step.RE_GLUE, Step.BACK_TO_TABLE]),
    "filing": ("Filing", [Step.FILE, Step.BRING_BACK, Step.SHELVE]),
}


class Room:
    """A room that is worked in by calling its verbs; `now` moves only when told."""

    def __init__(self, database: Database, now: datetime = WEDNESDAY, zone: ZoneInfo = LONDON) -> None:
        self.database, self.now, self.zone = database, now, zone
        self._ids = itertools.count(1)
        self._serial = 0
        known = furnished(database, (type(self), now, zone), self._anew)
        self.worker, self.stack, self.station = (dict(each) for each in known)

    def _anew(self) -> tuple[dict[str, int], dict[str, int], dict[str, int]]:
        with transaction(self.database) as session:
            self._furnish(session)
        self.sign_in_all()
        return self.worker, self.stack, self.station

    def _furnish(self, session: Any) -> None:
        now = self.now - timedelta(days=200)
        room.add_pattern(session, "TQX", 6, now, mints=True)
        # Time flies in tests, and their cast stays signed in meanwhile. Of version 0, so that the first rule a test sets is 1.
        session.add(HouseRule(version=0, name=STAY, value=0, set_at=now, reason="the cast stays"))
        session.flush()
        self.worker = {}
        for who, name, rights in (
            ("hedda", "Hedda Brackwater", ("manager", "trainer", "volunteer")),
            ("olwen", "Olwen Tarrant", ("volunteer",)),
            ("piet", "Piet Lindqvist", ("volunteer",)),
            ("rosamund", "Rosamund Ashgill", ("trainer", "volunteer")),
            ("ines", "Ines Caldwell", ("reader",)),
        ):
            self.worker[who] = people.add_worker(session, name, rights, now)[0]
        for code, name, class_ in (("pva", "PVA, acid-free", "pva"), ("paste", "Wheat starch paste", "starch-paste"),
                                   ("mc", "Methyl cellulose 4 %", "methyl-cellulose"), ("straps", "Linen straps", "straps")):  # fmt: skip
            room.add_adhesive(session, code, name, class_, now)
        for name, stage in (("A1", Stage.INTAKE), ("M1", Stage.READY), ("D1", Stage.DRY), ("F1", Stage.FILED)):
            room.add_cabinet(session, name, stage, now, shelves=4)
        self.stack = {name: room.add_stack(session, name, now, capacity=8, mass_kg=12) for name in ("P1", "P2", "P3")}
        self.station = {
            slug: room.add_station(session, slug, name, steps, now) for slug, (name, steps) in STATIONS.items()
        }
        for table in ("table-1", "table-2"):
            room.set_at_station(session, self.station[table], adhesive_id=1, bulk=None)

    # -- time ---------------------------------------------------------------------------------------------------
    def wait(self, **span: float) -> None:
        """Let time go by."""
        self.now += timedelta(**span)

    @property
    def occasion(self) -> Occasion:
        return Occasion(self.now, self.zone)

    # -- people -------------------------------------------------------------------------------------------------
    def sign_in_all(self) -> None:
        """Each station's usual worker signs in."""
        usual = {"intake": "rosamund", "drying": "rosamund", "table-1": "olwen", "table-2": "piet", "press": "olwen",
                 "inspection": "rosamund", "filing": "piet"}  # fmt: skip
        with transaction(self.database) as session:
            from app.db.models import Attendance

            for slug, who in usual.items():
                # A test's cast may stand at several stations; a real worker is signed in at one.
                session.add(
                    Attendance(
                        worker_id=self.worker[who], station_id=self.station[slug], signed_in_at=self.now, how="badge"
                    )
                )
                session.flush()

    def signs_in(self, who: str, at: str, with_others: str = "") -> None:
        """Somebody signs in at a station."""
        from app.services.opening import open_desk

        with transaction(self.database) as session:
            request = ScanRequest(self.next_id(), "", self.station[at])
            desk, _ = open_desk(session, request, self.occasion)
            sign_in(desk, self.worker[who], how="badge", with_others=with_others)

    # -- numbers and codes --------------------------------------------------------------------------------------
    def next_id(self) -> str:
        return f"scan-{next(self._ids)}"

    def new_number(self) -> str:
        self._serial, number = mint(TQX, self._serial)
        return number

    def code(self, kind: str, name: str) -> str:
        """The code of a stack's card (`on`, `off`), a shelf ("M1/2"), a worker's badge or a bundle."""
        with reading(self.database) as session:
            if kind in ("on", "off"):
                column = table_of(Stack).c[f"code_{kind}"]
                return str(session.execute(select(column).where(table_of(Stack).c.name == name)).scalar_one())
            if kind == "shelf":
                from app.db.models import Shelf
                from app.services.places import place_by_name

                cabinet, shelf = name.split("/")
                place = place_by_name(session, cabinet, shelf)
                return str(session.execute(select(Shelf.code).where(Shelf.id == place.shelf_id)).scalar_one())
            if kind == "bundle":
                return str(session.execute(select(Bundle.code).where(Bundle.name == name)).scalar_one())
            return str(session.execute(select(Worker.badge_code).where(Worker.id == self.worker[name])).scalar_one())

    # -- scanning -----------------------------------------------------------------------------------------------
    def scans(self, code: str, at: str | None = None, **more: Any) -> Answer:
        """A code is scanned at a station (or sent by a script, without one)."""
        scan_id = more.pop("scan_id", None) or self.next_id()
        who = more.pop("who", None)
        if who is not None:
            more["worker_ids"] = tuple(self.worker[each] for each in ([who] if isinstance(who, str) else who))
        doubtful = more.pop("clock_doubtful", False)
        request = ScanRequest(scan_id, code, self.station[at] if at else None, **more)
        with transaction(self.database) as session:
            return scan(session, request, Occasion(self.now, self.zone, doubtful))

    def undoes(self, entry_id: int, at: str = "table-1", why: str = "wrong sheet", **more: Any) -> Answer:
        """An entry is taken back at a station."""
        request = ScanRequest(self.next_id(), "", self.station[at], **more)
        with transaction(self.database) as session:
            return once(session, request, self.occasion, lambda desk: undo(desk, entry_id, why), f"undo {entry_id}")

    def takes_back(self, entry_id: int, reason: str, who: str = "hedda") -> Answer:
        """The manager takes back an entry and everything after it."""
        request = ScanRequest(self.next_id(), "", worker_ids=(self.worker[who],), manages=who == "hedda")
        with transaction(self.database) as session:
            act = lambda desk: take_back_from(desk, entry_id, reason)  # noqa: E731
            return once(session, request, self.occasion, act, f"take back {entry_id}")

    # -- shortcuts ----------------------------------------------------------------------------------------------
    def sheet_ready(self, **facts: Any) -> str:
        """A sheet that has been taken in, came dry, and waits for mounting on M1, shelf 1."""
        number = self.new_number()
        self.scans(number, "intake", step=Step.TAKE_IN)
        self.scans(
            number,
            "intake",
            step=Step.ARRIVE_DRY,
            facts={"dryness": True, "label": True, **facts},
            cabinet="M1",
            shelf="1",
        )
        return number

    def sheet_mounted(self, table: str = "table-1", **facts: Any) -> str:
        """A sheet that has been taken up and glued."""
        number = self.sheet_ready()
        self.scans(number, table, step=Step.TAKE_UP)
        self.scans(number, table, step=Step.MOUNT, facts=facts)
        return number

    def sheet_in(self, stack: str, **facts: Any) -> str:
        """A glued sheet laid in a stack (the weights must be off)."""
        number = self.sheet_mounted(**facts)
        answer = self.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack=stack)
        assert answer.kind == "done", answer
        return number

    def weights(self, state: str, stack: str, **more: Any) -> Answer:
        """Somebody scans one side of a stack's card at the press."""
        return self.scans(self.code(state, stack), "press", **more)

    def takes_out(self, number: str, **more: Any) -> Answer:
        return self.scans(number, "press", step=Step.TAKE_OUT, **more)

    # -- looking ------------------------------------------------------------------------------------------------
    def row(self, number: str) -> Any:
        with reading(self.database) as session:
            return session.execute(select(table_of(Sheet)).where(table_of(Sheet).c.number == number)).mappings().one()

    def stage(self, number: str) -> str:
        return str(self.row(number)["stage"])

    def log(self, number: str) -> list[Any]:
        with reading(self.database) as session:
            table = table_of(Entry)
            mine = (table.c.subject_kind == "sheet", table.c.subject_id == self.row(number)["id"])
            return list(session.execute(select(table).where(*mine).order_by(table.c.id)).mappings())

    def steps(self, number: str) -> list[str]:
        return [entry["step"] for entry in self.log(number)]

    def station_row(self, slug: str) -> Any:
        with reading(self.database) as session:
            table = table_of(Station)
            return session.execute(select(table).where(table.c.slug == slug)).mappings().one()
