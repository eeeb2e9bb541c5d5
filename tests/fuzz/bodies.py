"""Bodies of the interface for scripts: every field with what it may and may not hold, and bytes that are no body at all."""

from __future__ import annotations

import itertools
import json
import random
from pathlib import Path
from typing import Any

from sqlalchemy import func, select

from app.db.engine import reading, transaction
from app.db.models import Change, Entry, Scan, Sheet
from app.services import room as furnishing
from app.web.api_fields import CORRECTION, FACTS, HOLDING, SCAN, SHEETS, STEPS, WEIGHTS
from tests.fuzz.readers import is_plain
from tests.room import Room
from tests.web.api_client import STRANGE, Scripts, bearer

ANSWERS = {200, 400, 403, 404, 409, 413, 415, 422}
NAMES = {
    "/scans": SCAN,
    "/stacks/P1/weights": WEIGHTS,
    "/entries/5/correction": CORRECTION,
    "/sheets": SHEETS,
    "/holds": HOLDING,
}
_GOOD: dict[str, tuple[Any, ...]] = {
    "station": ("press", "table-1", "intake"), "workers": (["W02"], ["W04", "W01"], ["W99"], ["W05"]), "reason": ("so", ""),
    "held": (0, 3), "happened_at": ("2026-11-25T08:00:00+00:00", "2026-11-25T09:00:00", "2200-01-01T00:00:00Z", "0001-01-01T00:00:00+14:00"),
    "stack": ("P1", "P9"), "cabinet": ("M1", "F1", "?"), "shelf": ("1", "9"), "early": (True, False), "already_done": (True,),
    "on": (True, False), "found": (True,), "counted": (0, 14), "mass_kg": (12, 0.5), "hold": ("quarantine", "out", "nothing"), "lift": (True,),
    "step": STEPS, "consignment": ("QF-26", "?"), "dryness": (True, False), "felt_again": (True,), "label": (False, True), "fresh": (True,),
    "all": (True,), "drying": ("heated",), "pressed_on": ("2026-11-20", "2300-01-01", "0001-01-01"), "adhesive": ("pva", "none"),
    "bulk": ("bulky",), "hazards": (["irritant"],), "layer": (7,), "beside": ("W02", "W99"), "findings": (["loose-part"], ["x at 1,2"]),
    "outcome": ("passed", "to-be-mended", "bag"), "unmounted": ("packet",), "glued_by": ("W02", "W77"), "read_as": ("TQX0000017",),
    "second": ("Fenwick",), "new_number": ("TQX000050A", ""), "with_whom": ("a specialist",), "due_on": ("2026-12-31", "1900-01-01"),
    "load": ("L1",), "freezer": ("Z",), "reading_c": ("-20", "cold"), "highest_c": ("-18,5",), "begins": ("2026-11-25",), "ends": ("?",),
    "packet": ("paper",), "straps": ("linen",), "sealed": (True,),
}  # fmt: skip
_CELLS = ("scientificName", "recordedBy", "eventDate", "locality", "nothing", "associatedTaxa")


class Interface:
    """One room and its interface, asked with anything at all."""

    def __init__(self, room: Room, folder: Path) -> None:
        self.room, self.scripts = room, Scripts(room, folder)
        with transaction(room.database) as session:
            furnishing.add_consignment(session, "QF-26", "Quillmoor Fells 2026")
        self.numbers = [room.sheet_ready(), room.sheet_mounted(), room.new_number()]
        room.weights("off", "P1")
        self.numbers.append(room.sheet_in("P1", adhesive="straps"))
        self.codes = [
            *self.numbers,
            room.code("on", "P1"),
            room.code("off", "P2"),
            room.code("shelf", "M1/1"),
            room.code("badge", "olwen"),
            "TQX1",
            "",
        ]
        self.keys = [
            self.scripts.key(),
            self.scripts.key("scan", at="press"),
            self.scripts.key("scan", at="intake"),
            self.scripts.key("read"),
        ]
        self._ids = itertools.count(1)

    def ask(self, path: str, body: bytes, key: str, kind: str = "application/json") -> int:
        """Send it: the status. What is not 200 writes no entry, no sheet and no change, and is said as a problem, plainly."""
        before = self._count()
        response = self.scripts.client.post(f"/api{path}", data=body, headers=bearer(key), content_type=kind)
        assert response.status_code in ANSWERS, (path, body[:300], response.status_code, response.text[:300])
        told = response.get_json(force=True)
        if response.status_code != 200:
            assert response.mimetype == "application/problem+json" and told["status"] == response.status_code, told
            is_plain(told["detail"][:900])
            assert self._count() == before, (path, body[:300], told)
        return response.status_code

    def random_body(self, path: str, chance: random.Random) -> bytes:
        """A body for this address: mostly its own fields, mostly with what they may hold."""
        names = NAMES[path]
        body = {
            name: self._value(name, chance) for name in names if chance.random() < (0.98 if name in _NEEDED else 0.2)
        }
        if chance.random() < 0.03:
            body[chance.choice(("scanid", "Code", "", "facts.dryness", "__proto__"))] = chance.choice(STRANGE)
        if chance.random() < 0.12:
            body[chance.choice([*body])] = chance.choice(STRANGE)
        sent = json.dumps(body)
        return self._spoilt(sent, chance) if chance.random() < 0.1 else sent.encode("utf-8", "surrogatepass")

    def _value(self, name: str, chance: random.Random) -> Any:
        if name == "scan_id":
            return f"fuzz-{next(self._ids) if chance.random() < 0.9 else chance.randrange(1, 40)}"
        if name == "code":
            return chance.choice(self.codes)
        if name in ("numbers", "all_but"):
            return [chance.choice(self.codes) for _ in range(chance.randrange(4))]
        if name == "facts":
            return {each: self._value(each, chance) for each in FACTS if chance.random() < 0.06}
        if name == "sheets":
            return [self._listed(chance) for _ in range(chance.randrange(4))]
        good = _GOOD.get(name, STRANGE)
        return good[0] if chance.random() < 0.8 else chance.choice(good)

    def _listed(self, chance: random.Random) -> Any:
        if chance.random() < 0.05:
            return chance.choice(STRANGE)
        number = self.room.new_number() if chance.random() < 0.8 else chance.choice([*self.codes, "TQX00000"])
        return {
            "catalogNumber": number,
            **{
                each: chance.choice(("x", "1997", "", "ß" * 50, *STRANGE[:3]))
                for each in _CELLS
                if chance.random() < 0.2
            },
        }

    def _spoilt(self, sent: str, chance: random.Random) -> bytes:
        way = chance.randrange(7)
        place = chance.randrange(len(sent) + 1)
        spoilt = (
            sent[:place], sent[:place] + chance.choice('{}[]",:\\\0é') + sent[place:], "[" * 20_000 + sent, f"{sent[:-1]}, \"code\": 1}}",
            sent.replace("0", "1e999"), sent.replace("true", "NaN"), sent.replace("fuzz", "\\ud800"),
        )[way]  # fmt: skip
        return spoilt.encode("utf-16" if chance.random() < 0.1 else "utf-8")

    def _count(self) -> tuple[int, ...]:
        with reading(self.room.database) as session:
            return tuple(
                session.execute(select(func.count()).select_from(each)).scalar_one() for each in (Entry, Sheet, Change)
            )

    @property
    def scans(self) -> int:
        """How many scans were answered and kept."""
        with reading(self.room.database) as session:
            return int(session.execute(select(func.count()).select_from(Scan)).scalar_one())


_NEEDED = frozenset({"scan_id", "code", "on", "sheets", "consignment", "hold", "numbers", "reason"})
