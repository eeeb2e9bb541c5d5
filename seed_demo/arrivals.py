"""What arrives: parcels with their lists, and plants fresh from the fells, pressed the same day."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from app.domain.stages import Step
from app.services.registering import collector_id, mint_number, plant_name_id, register
from app.services.room import add_consignment, add_hazard
from app.services.wanted import want
from seed_demo.dangers import clears_the_backlog
from seed_demo.files import keep_list
from seed_demo.hands import Work
from seed_demo.life import Life
from seed_demo.names import SPECIES, Species, in_season
from seed_demo.people import COLLECTORS, LOCALITIES, OLD_COLLECTORS
from seed_demo.rounds import lays_to_dry
from seed_demo.sheets import Sheet

HEADINGS = ("catalogNumber", "scientificName", "scientificNameAuthorship", "family", "recordedBy", "recordNumber",
            "eventDate", "locality")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Parcel:
    """A parcel of dry sheets: from whom, of which kind, how many plants and how many sheets mounted elsewhere.

    `left` of its plants stay at intake and half as many of the mounted are never inspected, `behind` are passed over
    later. `years_ago` is when they were collected.
    """

    code: str
    name: str
    source: str
    kind: str
    plants: tuple[int, int]
    mounted: tuple[int, int] = (0, 0)
    left: tuple[int, int] = (0, 0)
    behind: tuple[int, int] = (0, 0)
    years_ago: int = 2
    hazards: tuple[str, ...] = ()
    cabinet: str = "M2"


@dataclass(frozen=True, slots=True)
class Trip:
    """One day in the field: how many plants, with or without heat. `left` wait at intake; the story of the press."""

    where: str
    plants: tuple[int, int]
    heated: bool = False
    left: int = 0
    story: str = ""


def parcel_arrives(life: Life, parcel: Parcel) -> Work:
    """A parcel is taken in by its list, then each sheet is felt and put where it waits."""
    plants, mounted = life.size(*parcel.plants), life.size(*parcel.mounted)
    consignment = add_consignment(life.hands.session, parcel.code, parcel.name, source=parcel.source, kind=parcel.kind,
                                  arrived_on=life.date)  # fmt: skip
    for kind in parcel.hazards:
        add_hazard(life.hands.session, kind, life.moment, consignment_id=consignment)
    who = life.crew.round
    life.hands.signs_in(who, "intake")
    yield 300
    sheets = [Sheet(_number(life), life.dice.choice(SPECIES)) for _ in range(plants + mounted)]
    text = _list_of(life, parcel, sheets)
    keep_list(life.hands, text, parcel.code, who, life.hands.takes_in_list(text, parcel.code, who))
    if parcel.kind == "backlog":
        clears_the_backlog(life)
    yield 600
    left, behind = life.size(*parcel.left), life.size(*parcel.behind)
    for place, sheet in enumerate(sheets[plants:]):
        yield from _came_mounted(life, sheet, "uninspected" if place < left // 2 else "")
    for place, sheet in enumerate(sheets[left:plants]):
        yield from _came_dry(life, sheet, parcel, "left behind" if place < behind else "")


def trip_arrives(life: Life, trip: Trip) -> Work:
    """Fresh plants come in: each is named, taken in and pressed, and the press is laid to dry."""
    life.hands.signs_in(life.crew.round, "intake")
    yield 120
    sheets = _named(life, trip)
    for sheet in sheets[: trip.left]:
        facts = {"hazards": _hazards(sheet.species)}
        life.hands.scans(sheet.number, "intake", step=Step.TAKE_IN, facts=facts, cabinet="A1", shelf="1")
        yield life.between(50, 90)
    press = life.shelves.free_press()
    life.hands.scans(life.hands.room.bundles[press.name], "intake")
    yield 30
    for sheet in sheets[trip.left :]:
        life.hands.scans(sheet.number, "intake", step=Step.TAKE_IN, facts={"hazards": _hazards(sheet.species)})
        press.sheets.append(sheet)
        yield life.between(50, 90)
    life.hands.all_leave("intake")
    press.heated, press.left = trip.heated, trip.story == "left"
    life.hands.begin(max(life.moment, life.at(13, 35)), lays_to_dry(life, press))


def _named(life: Life, trip: Trip) -> list[Sheet]:
    """The plants of a trip get their numbers and names from the field book, before they are scanned one by one."""
    desk, season = life.hands.desk("intake"), in_season(life.date.month)
    alike = {"consignment_id": _trips_of_the_year(life, trip), "collector_id": collector_id(desk, COLLECTORS[0]),
             "event_date": (life.date - timedelta(days=1)).isoformat()}  # fmt: skip
    names: dict[Species, int | None] = {}
    sheets = []
    for place in range(trip.left + life.size(*trip.plants)):
        species = life.dice.choice(season)
        if species not in names:
            names[species] = plant_name_id(desk, species.name, species.authorship, species.family)
        sheet = Sheet(mint_number(desk), species, bulk=species.bulk, story=_story(trip, place))
        known = {**alike, "plant_name_id": names[species], "bulk": species.bulk, "is_sensitive": species.is_sensitive,
                 "record_number": _record(life, COLLECTORS[0]), "locality": life.dice.choice(LOCALITIES)}  # fmt: skip
        row = register(desk, sheet.number, **known)
        if sheet.story == "wanted":
            want(desk.session, row["id"], "for the members' evening", life.moment)
        sheets.append(sheet)
    return sheets


def _story(trip: Trip, place: int) -> str:
    """One plant is wanted, and lies in one folder with two others."""
    if trip.story != "wanted" or place > 2:
        return ""
    return "with the wanted" if place else "wanted"


def _came_dry(life: Life, sheet: Sheet, parcel: Parcel, story: str) -> Work:
    facts = {"dryness": True, "label": True, "hazards": _hazards(sheet.species)}
    shelf = "6" if story else str(life.between(1, 4))
    life.hands.scans(sheet.number, "intake", step=Step.ARRIVE_DRY, facts=facts, cabinet=parcel.cabinet, shelf=shelf)
    sheet.bulk, sheet.day = sheet.species.bulk, life.day
    sheet.story = story or ("historic" if "historic" in parcel.hazards else "")
    life.shelves.ready.append(sheet)
    yield life.between(30, 60)


def _came_mounted(life: Life, sheet: Sheet, story: str) -> Work:
    facts = {"dryness": True, "label": True}
    life.hands.scans(sheet.number, "intake", step=Step.ARRIVE_MOUNTED, facts=facts, cabinet="D1", shelf="1")
    sheet.day, sheet.story = life.day, story
    life.shelves.to_inspect.append(sheet)
    yield life.between(30, 60)


def _list_of(life: Life, parcel: Parcel, sheets: Sequence[Sheet]) -> str:
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(HEADINGS)
    collectors = OLD_COLLECTORS if parcel.years_ago > 50 else COLLECTORS[1:]
    for sheet in sheets:
        collector, species = life.dice.choice(collectors), sheet.species
        writer.writerow((sheet.number, species.name, species.authorship, species.family, collector, _record(life, collector),
                         _collected(life, parcel, species), life.dice.choice(LOCALITIES)))  # fmt: skip
    return text.getvalue()


def _collected(life: Life, parcel: Parcel, species: Species) -> str:
    year = life.date.year - parcel.years_ago + life.between(-1, 1)
    return date(year, life.between(species.first, species.last), life.between(1, 28)).isoformat()


def _number(life: Life) -> str:
    return mint_number(life.hands.desk("intake"))


def _record(life: Life, collector: str) -> str:
    life.records[collector] = life.records.get(collector, 100 + 37 * len(life.records)) + 1
    return str(life.records[collector])


def _hazards(species: Species) -> tuple[str, ...]:
    return (species.caution,) if species.caution else ()


def _trips_of_the_year(life: Life, trip: Trip) -> int:
    known = life.consignments
    if trip.where not in known:
        name = f"{trip.where} {life.date.year}"
        known[trip.where] = add_consignment(life.hands.session, f"FW-{len(known) + 1}", name, source="A. Birkrigg and students",
                                            arrived_on=life.date)  # fmt: skip
    return known[trip.where]


PARCELS: dict[int, Parcel] = {
    -69: Parcel("BACKLOG-1", "Found in the backlog, store 2", "", "backlog", (46, 12), behind=(6, 2), years_ago=20),
    -67: Parcel("GIFT-1", "Gift of the Harrowgill family", "S. Harrowgill", "gift", (48, 9), years_ago=12),
    -45: Parcel("EXCHANGE-1", "Exchange with the Brannholt Botanic Garden", "Brannholt", "exchange", (14, 2), (22, 5),
                years_ago=3, cabinet="M1"),
    -35: Parcel("BEQUEST-1", "Askerdale bequest", "Estate of T. Askerdale", "bequest", (26, 3), years_ago=118,
                hazards=("historic", "naphthalene"), cabinet="H1"),
    -14: Parcel("GIFT-2", "Gift of M. Thornlea", "M. Thornlea", "gift", (16, 5), (6, 2), left=(4, 2), years_ago=2, cabinet="M1"),
}  # fmt: skip
FELLS, TARN, MEADOWS = "Quillmoor Fells survey", "Skarn Tarn shore plants", "Oxholme Meadows recording"
TRIPS: dict[int, Trip] = {
    -66: Trip(FELLS, (21, 0)),
    -60: Trip(TARN, (20, 3), heated=True),
    -54: Trip(FELLS, (19, 0)),
    -48: Trip(MEADOWS, (21, 3)),
    -41: Trip(FELLS, (19, 0), heated=True),
    -34: Trip(TARN, (21, 3)),
    -27: Trip(MEADOWS, (20, 3)),
    -21: Trip(FELLS, (21, 3), heated=True),
    -16: Trip(MEADOWS, (20, 6)),
    -10: Trip(TARN, (21, 8)),
    -6: Trip(FELLS, (19, 5), heated=True, story="wanted"),
    -3: Trip(MEADOWS, (12, 3), story="left"),
    -2: Trip(FELLS, (14, 3)),
    -1: Trip(TARN, (12, 3), heated=True, left=3),
}
