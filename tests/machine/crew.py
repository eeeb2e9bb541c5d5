"""Whoever does a deed in the room and in the model alike, and holds the two answers against each other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import select
from stdnum.iso7064 import mod_37_2

from app.db.engine import reading
from app.domain.numbers import COMMANDS
from tests.machine import stations
from tests.machine.checks import CABINET, ENTRY, LOAD, SHEET, STACK, all_agrees, rows_agree
from tests.machine.counts import close
from tests.machine.doors import CONSIGNMENT, Doors, Sent, number_of
from tests.machine.model import STILL_THERE, Entry, Sheet, World
from tests.machine.stations import Code
from tests.machine.steps import DONE_SAID, WHICH, Desk, Refuse, Said, after, take, write
from tests.room import LONDON, Room

FULL_EVERY, IDLE = 25, "idle_sign_out_min"
# Who stands where in a room of the tests when it opens.
AT_WORK = {"intake": "rosamund", "drying": "rosamund", "table-1": "olwen", "table-2": "piet", "press": "olwen",
           "inspection": "rosamund", "filing": "piet"}  # fmt: skip


class Crew:
    """One room and its model, side by side."""

    def __init__(self, room: Room, folder: Path) -> None:
        self.room, self.world, self.doors = room, World(LONDON), Doors(room, folder)
        for slug, who in AT_WORK.items():
            self.world.stations[slug].here, self.world.stations[slug].came = [(who, None)], {who: room.now}
        self.answered: list[tuple[Sent, Said]] = []
        self.done, self.checked = Counter[str](), 0
        self._last_id, self._serial, self._folder = 0, 0, folder
        self._read_log()
        assert not self.world.log

    # -- things to name -----------------------------------------------------------------------------------------
    @property
    def steps_done(self) -> int:
        return sum(self.done.values())

    def new_number(self) -> str:
        """A number that nobody has used, with its check character by another library than the program's own."""
        while True:
            self._serial += 1
            body = f"TQX{self._serial:06d}"
            character = mod_37_2.calc_check_digit(body)
            if character not in "*IO":
                return str(body + character)

    def text_of(self, code: Code) -> str:
        """What a scanner reads off this thing."""
        kind, *names = code
        if kind in ("on", "off"):
            return self.doors.codes[kind, names[0]]
        if kind == "badge":
            return self.doors.badges[names[0]]
        if kind == "bundle":
            return self.room.code("bundle", names[0])
        if kind in ("load", "freezer"):
            return self.doors.card_of(LOAD if kind == "load" else CABINET, names[0])
        if kind == "shelf":
            return self.room.code("shelf", "/".join(names))
        return COMMANDS[names[0]] if kind == "card" else names[0]

    # -- desks --------------------------------------------------------------------------------------------------
    def desk(self, scan: str, **more: Any) -> Desk:
        station = more.get("station")
        if station is not None:
            self.world.is_used(station.slug, self.room.now)
        given = {"by": station.by if station else (), "at": station.slug if station else None, **more}
        return Desk(
            self.world, self.room.now, given.pop("happened_at", self.room.now), scan=scan, **{"station": None, **given}
        )

    # -- deeds --------------------------------------------------------------------------------------------------
    def scans(self, door: str, slug: str, code: Code, *, by: tuple[str, ...] | None = None, step: str | None = None, stack: str = "",
              shelf: tuple[str, str] | None = None, facts: dict[str, Any] | None = None, early: bool = False,
              already_done: bool = False, reason: str = "", late_min: int | None = None, kept_s: int | None = None) -> Said:  # fmt: skip
        """A code is scanned on a station's page, or sent with a station's key or the manager's."""
        told = dict(facts or {})
        given: dict[str, Any] = {"step": step, "stack": stack, "facts": told, "already_done": already_done}
        if door == "page":
            sent = self.doors.scan_on_page(slug, self.text_of(code), **given)
            desk = self.desk(sent.fields["scan_id"], station=self.world.stations[slug], **given)
            return self.both(sent, desk, lambda: stations.scan(desk, code, self.text_of(code)))
        moment = self.room.now - timedelta(minutes=late_min) if late_min is not None else None
        fields = {name: value for name, value in given.items() if value} | ({"early": True} if early else {})
        fields |= {"cabinet": shelf[0], "shelf": shelf[1]} if shelf else {}
        fields |= {"reason": reason} if reason else {}
        given |= {"shelf": shelf, "early": early, "reason": reason}
        if door == "manager":
            hands = by if by is not None else ("hedda",)
            fields |= {"workers": number_of(hands)} if by is not None else {}
            fields |= {"station": slug} if slug else {}
            fields |= {"happened_at": moment.isoformat()} if moment else {}
            sent = self.doors.scan_by_key("manager", self.text_of(code), **fields)
            desk = self.desk(sent.fields["scan_id"], by=hands, at=slug or None, manages=True, is_late=moment is not None,
                             happened_at=moment or self.room.now, **given)  # fmt: skip
        else:
            fields |= {"workers": number_of(by)} if by is not None else {}
            if kept_s is not None:
                moment = self.room.now - timedelta(seconds=kept_s)
                fields |= {"happened_at": moment.isoformat(), "held": 1}
                given |= {
                    "happened_at": moment,
                    "told_late": True,
                    "is_held": True,
                    "by": self.world.stations[slug].then(moment),
                }
            sent = self.doors.scan_by_key(slug, self.text_of(code), **fields)
            desk = self.desk(sent.fields["scan_id"], station=self.world.stations[slug], **given)
        return self.both(sent, desk, lambda: self._by_key(desk, code, door, by))

    def _by_key(self, desk: Desk, code: Code, door: str, by: tuple[str, ...] | None) -> Said:
        """What a key is answered before the code is even looked at, then what any station is."""
        said = self._nobody(desk, door, by)
        if door == "manager" and (said is None or "unknown-worker" not in said.codes):
            self.world.is_used(desk.at, desk.now)
        if said is None and desk.told_late and desk.station is not None:
            clear_at = desk.station.clear_at
            desk.told_late = clear_at is not None and clear_at <= desk.happened_at <= desk.now
            said = None if desk.told_late else Said("stop", frozenset({"too-old"}))
        if said is None and desk.early and door != "manager":
            said = Said("stop", frozenset({"manager-only"}))
        if said is None and desk.step in ("put-hold", "lift-hold"):
            said = (
                self._of_page(desk, code[1], desk.step)
                if door == "manager"
                else Said("stop", frozenset({"manager-only"}))
            )
        if said is None:
            return stations.scan(desk, code, self.text_of(code))
        desk.keep(last_said=said)
        return said

    def _nobody(self, desk: Desk, door: str, by: tuple[str, ...] | None) -> Said | None:
        """Whom a key may name: a station's, only those who are signed in there; and nobody who has left."""
        if door == "manager":
            is_ahead = desk.is_late and desk.happened_at > desk.now
            why = (
                "unknown-worker"
                if "ines" in desk.by
                else "retired-worker"
                if "tove" in desk.by
                else "too-old"
                if is_ahead
                else ""
            )
            return Said("stop", frozenset({why})) if why else None
        if by is None:
            return None
        here = [who for who, _ in desk.station.here] if desk.station else []
        if not set(by) <= set(here):
            desk.told_late = False
            return Said("stop", frozenset({"not-signed-in"}))
        desk.by = by
        return None

    def _of_page(self, desk: Desk, number: str, step: str) -> Said:
        """A deed with one sheet, away from what is in hand anywhere."""
        sheet = self.world.sheets.get(number)
        try:
            if sheet is None:
                raise Refuse(("unknown-number", "stop"))
            return take(desk, sheet, step)
        except Refuse as refuse:
            return refuse.said

    def on_its_page(
        self, who: str, number: str, step: str, *, reason: str, facts: dict[str, Any] | None = None
    ) -> None:
        """The manager's or the trainer's deed on the page of a sheet; whoever may not is turned away."""
        deeds = {"put-hold": "hold", "lift-hold": "lift", "withdraw": "withdraw", "take-out": "early"}
        told = dict(facts or {})
        sent = self.doors.of_sheet(who, number, deeds[step], reason=reason, **told)
        may = ("hedda", "rosamund") if step in ("put-hold", "lift-hold") else ("hedda",)
        if who not in may:
            self.refused_at_the_door(sent, 403)
            return
        desk = self.desk(sent.fields["scan_id"], by=(who,), manages=who == "hedda", step=step, facts=told, reason=reason,
                         early=step == "take-out")  # fmt: skip
        if step in ("put-hold", "lift-hold"):
            self.both(sent, desk, lambda: self._of_page(desk, number, step))
        else:
            self.both(sent, desk, lambda: stations.scan(desk, ("sheet", number), number))

    def takes_back(self, entry: Entry, reason: str, who: str = "hedda") -> None:
        """The manager takes back an entry of a sheet, and all after it."""
        sent = self.doors.of_sheet(who, entry.subject[1], f"entries/{entry.id}/back", reason=reason)
        if who != "hedda":
            self.refused_at_the_door(sent, 403)
            return
        desk = self.desk(sent.fields["scan_id"], by=(who,), manages=True, reason=reason)
        self.both(sent, desk, lambda: self._or_refused(lambda: stations.take_back(desk, entry)))

    def undoes(self, door: str, slug: str, entry: Entry, why: str = "wrong-sheet") -> None:
        """A station, or a key, takes back the last that was done with something."""
        if door == "page":
            station = self.world.stations[slug]
            sent = Sent(
                "page", slug, "/station/undo", {"scan_id": self.doors.next_id(), "entry": str(entry.id), "reason": why}
            )
            desk = self.desk(sent.fields["scan_id"], station=station)
            self.both(sent, desk, lambda: self._undone_on_page(desk, entry, why))
            return
        sent = Sent("key", slug, f"/entries/{entry.id}/correction", {"scan_id": self.doors.next_id(), "reason": why})
        manages = slug == "manager"
        desk = self.desk(
            sent.fields["scan_id"],
            **({"by": ("hedda",), "manages": True} if manages else {"station": self.world.stations[slug]}),
        )
        self.both(sent, desk, lambda: self._kept_said(desk, self._or_refused(lambda: stations.undo(desk, entry))))

    def _undone_on_page(self, desk: Desk, entry: Entry, why: str) -> Said:
        if why == "not-me":
            desk.keep(pending={"not_me": entry.id})
            return self._kept_said(desk, WHICH)
        said = self._or_refused(lambda: stations.undo(desk, entry))
        if said.kind == "done":
            waits = {"next_step": entry.step} if why == "wrong-sheet" and entry.subject[0] == "sheet" else None
            desk.keep(pending=waits)
        return self._kept_said(desk, said)

    def _kept_said(self, desk: Desk, said: Said) -> Said:
        """Something else than a code was done at a station: the same code again is no double read of what came before."""
        desk.keep(last_said=said, last_code=None)
        return said

    def checks(self, slug: str, shelf: tuple[str, str], numbers: list[str]) -> None:
        """A shelf is checked at a station, to its end, and the manager closes the check."""
        self.room.now += timedelta(seconds=25)
        if self.scans("page", slug, ("card", "check")).kind != "which-one":
            return
        self.scans("page", slug, ("shelf", *shelf))
        check = self.world.stations[slug].check
        for number in numbers:
            self.scans("page", slug, ("sheet", number))
        if self.scans("page", slug, ("card", "done")).kind == "which-one":
            self.scans("page", slug, ("card", "check"), facts={"check": "all"})
        # Nothing that is scanned here next is the scanner's double read.
        self.room.now += timedelta(seconds=25)
        self.checked += 1
        sent = Sent("form", "hedda", f"/checks/{self.checked}/close", {"scan_id": self.doors.next_id()})
        desk = self.desk(sent.fields["scan_id"], by=("hedda",), manages=True)
        self.both(sent, desk, lambda: close(desk, check))

    def sets_idle(self, minutes: int) -> None:
        """The manager says after how many minutes without a scan those at a station are signed out; 0 for never."""
        response = self.doors.send(
            Sent("form", "hedda", f"/room/rules/{IDLE}", {"value": str(minutes), "reason": "they forget"})
        )
        assert response.status_code == 302, response.text[:500]
        self.world.idle = timedelta(minutes=minutes) if minutes else None
        self._compare(DONE_SAID, DONE_SAID, len(self.world.log))

    def signs_in(self, slug: str, who: str, how: str) -> None:
        """Somebody signs in at a station by their name."""
        if who == "tove":
            return
        fields = {"worker": str(self.room.worker[who]), "with": how}
        desk = self.desk("", station=self.world.stations[slug])
        said = self._kept_said(desk, self._or_refused(lambda: self._signed_in(desk, who, how)))
        self._heard(desk, said)
        response = self.doors.send(Sent("page", slug, "/station/sign-in", fields))
        assert response.headers["X-Answer"] == said.kind, (slug, who, how, said, response.text[:500])
        self._compare(said, said, len(self.world.log))

    def _signed_in(self, desk: Desk, who: str, how: str) -> Said:
        stations.sign_in(desk, who, how)
        return DONE_SAID

    def weights_by_key(
        self, key: str, name: str, *, on: bool, found: bool, by: tuple[str, ...] | None, late_min: int | None
    ) -> None:
        """A script says that weights went on, or came off."""
        moment = self.room.now - timedelta(minutes=late_min) if late_min is not None and key == "manager" else None
        fields: dict[str, Any] = {"scan_id": self.doors.next_id(), "on": on, **({"found": True} if found else {})}
        fields |= {"workers": number_of(by)} if by is not None else {}
        fields |= {"happened_at": moment.isoformat()} if moment else {}
        sent = Sent("key", key, f"/stacks/{name}/weights", fields)
        code: Code = ("on" if on else "off", name)
        facts = {"found": True} if found else {}
        if key == "manager":
            desk = self.desk(fields["scan_id"], by=by if by is not None else ("hedda",), manages=True, is_late=moment is not None,
                             happened_at=moment or self.room.now, facts=facts)  # fmt: skip
        else:
            desk = self.desk(fields["scan_id"], station=self.world.stations[key], facts=facts)
        self.both(sent, desk, lambda: self._by_key(desk, code, "manager" if key == "manager" else "key", by))

    def again(self, which: int, *, otherwise: bool) -> None:
        """Something that was sent is sent once more: as it was, or with another code under the same id."""
        if not self.answered:
            return
        sent, said = self.answered[which % len(self.answered)]
        if otherwise and "code" in sent.fields:
            other = Sent(
                sent.door,
                sent.who,
                sent.path,
                {**sent.fields, "code": "TQX999999" if sent.fields["code"] != "TQX999999" else "X"},
            )
            self.refused_at_the_door(other, 409)
            return
        self._compare(said, self.doors.said(sent), len(self.world.log))

    def lists(self, numbers: list[str]) -> None:
        """A script takes in a list of new sheets."""
        if not numbers:
            return
        fields = {
            "scan_id": self.doors.next_id(),
            "consignment": CONSIGNMENT,
            "sheets": [{"catalogNumber": each} for each in numbers],
        }
        before = len(self.world.log)
        said = self.doors.said(Sent("key", "manager", "/sheets", fields))
        self._taken_in(numbers)
        self._compare(DONE_SAID, said, before)

    def imports(self, numbers: list[str], bad_line: bool) -> None:
        """A file of new sheets is taken in by the command line: all of it, or with a bad line nothing."""
        if not numbers:
            return
        path = self._folder / "list.csv"
        path.write_text("\n".join(["catalogNumber,scientificName", *(f"{each},Bellis perennis L." for each in numbers),
                                   *(["TQX00000,Bellis"] if bad_line else [])]) + "\n", encoding="utf-8")  # fmt: skip
        before = len(self.world.log)
        status, said = self.doors.command("import", str(path), "--consignment", CONSIGNMENT)
        assert status == (1 if bad_line else 0), said
        if not bad_line:
            self._taken_in(numbers)
        self._compare(DONE_SAID, DONE_SAID, before)

    def _taken_in(self, numbers: list[str]) -> None:
        for number in dict.fromkeys(numbers):
            sheet = self.world.sheets.get(number, Sheet(number))
            if sheet.stage is None:
                desk = self.desk("", by=("hedda",), step="take-in")
                write(desk, sheet, "take-in", after(desk, sheet, "take-in"))

    # -- comparing ----------------------------------------------------------------------------------------------
    def _or_refused(self, deed: Callable[[], Said]) -> Said:
        try:
            return deed()
        except Refuse as refuse:
            return refuse.said

    def both(self, sent: Sent, desk: Desk, predict: Callable[[], Said]) -> Said:
        """Send it, and hold what is answered and written against what was predicted."""
        before = len(self.world.log)
        expected = predict()
        self._heard(desk, expected)
        said = self.doors.said(sent)
        self.answered.append((sent, said))
        self._compare(expected, said, before, sent)
        return said

    def _heard(self, desk: Desk, said: Said) -> None:
        """The station was heard of; nobody reads what is answered to a scan that it had kept for long."""
        desk.keep(seen_at=desk.now)
        if not desk.is_held:
            desk.keep(clear_at=desk.now)
        if desk.told_late and said.kind != "done" and desk.now - desk.happened_at > STILL_THERE:
            desk.keep(pending=None)

    def refused_at_the_door(self, sent: Sent, status: int) -> None:
        """Whoever may not is turned away, and nothing is written."""
        response = self.doors.send(sent)
        assert response.status_code == status, (sent, response.status_code, response.text[:300])
        self._compare(Said("stop"), Said("stop"), len(self.world.log))

    def _compare(self, expected: Said, said: Said, before: int, sent: Sent | None = None) -> None:
        assert (said.kind, sorted(said.codes)) == (expected.kind, sorted(expected.codes)), (sent, said, expected)
        made, found = self.world.log[before:], self._read_log()
        assert [each[1:] for each in found] == [(each.step, *each.subject) for each in made], (sent, found, made)
        for entry, row in zip(made, found, strict=True):
            entry.id = row[0]
        touched = {each.subject[1] for each in made if each.subject[0] == "sheet"}
        rows_agree(self.room, self.world, sorted(touched))
        self.done[said.kind] += 1
        if self.steps_done % FULL_EVERY == 0:
            all_agrees(self.room, self.world, self.doors)

    def _read_log(self) -> list[tuple[int, str, str, str]]:
        """The entries since the last look: id, step, and what they are about."""
        found = (
            select(ENTRY.c.id, ENTRY.c.step, ENTRY.c.subject_kind, SHEET.c.number, STACK.c.name, CABINET.c.name.label("cabinet"), LOAD.c.name.label("load"))
            .outerjoin(SHEET, (SHEET.c.id == ENTRY.c.subject_id) & (ENTRY.c.subject_kind == "sheet"))
            .outerjoin(STACK, (STACK.c.id == ENTRY.c.subject_id) & (ENTRY.c.subject_kind == "stack"))
            .outerjoin(CABINET, (CABINET.c.id == ENTRY.c.subject_id) & (ENTRY.c.subject_kind == "cabinet"))
            .outerjoin(LOAD, (LOAD.c.id == ENTRY.c.subject_id) & (ENTRY.c.subject_kind == "load"))
            .where(ENTRY.c.id > self._last_id).order_by(ENTRY.c.id)
        )  # fmt: skip
        with reading(self.room.database) as session:
            rows = session.execute(found).all()
        self._last_id = rows[-1].id if rows else self._last_id
        return [(row.id, row.step, row.subject_kind, row.number or row.name or row.cabinet or row.load) for row in rows]
