"""All tables of the room."""

from app.db.models.base import Base, Moment, table_of
from app.db.models.checks import CabinetCheck, CheckExpected, CheckSeen, NamedFor, PestSeen
from app.db.models.custody import Doubt, Entry, EntryWorker, RefusedScan, Scan, Sighting, TallyDay, TallyStay
from app.db.models.files import ColumnMap, TakenFile, TakenRow
from app.db.models.handing import HandedSheet, HandOver, HandOverWord
from app.db.models.people import Attendance, HoursSum, LogIn, SignOff, Station, Token, Worker
from app.db.models.press import Finding, FreezerLoad, Inspection, Layer, LoadBundle, Stack, WeightSpan
from app.db.models.room import (
    Adhesive,
    Cabinet,
    CalendarDay,
    Change,
    FamilyOrder,
    Heartbeat,
    HouseRule,
    NumberPattern,
    PutAside,
    Setting,
    Shelf,
    Temperature,
)
from app.db.models.sheets import (
    Bundle,
    Collector,
    Consignment,
    FormerNumber,
    Gathering,
    Hazard,
    Hold,
    NearName,
    PlantName,
    Sheet,
    Specimen,
    Wanted,
)
from app.db.models.supplies import Lot, LotOpening, Supply, SupplyEntry

__all__ = [
    "Adhesive", "Attendance", "Base", "Bundle", "Cabinet", "CabinetCheck", "CalendarDay", "Change", "CheckExpected",
    "CheckSeen", "Collector", "ColumnMap", "Consignment", "Doubt", "Entry", "EntryWorker", "FamilyOrder", "Finding",
    "FormerNumber", "FreezerLoad", "Gathering", "HandOver", "HandOverWord",
    "HandedSheet", "Hazard", "Heartbeat", "Hold", "HoursSum", "HouseRule", "Inspection",
    "Layer", "LoadBundle", "LogIn", "Moment", "NamedFor", "NearName", "NumberPattern", "PestSeen", "PlantName",
    "PutAside", "RefusedScan", "Scan", "Setting", "Sheet", "Shelf", "Sighting", "SignOff", "Specimen", "Stack",
    "Station", "TakenFile", "TakenRow", "TallyDay", "TallyStay", "Temperature", "Token", "Wanted", "WeightSpan",
    "Lot", "LotOpening", "Supply", "SupplyEntry",
    "Worker", "table_of",
]  # fmt: skip
