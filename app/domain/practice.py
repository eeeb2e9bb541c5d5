"""What people practise with: slips of a prefix of their own, and where in the work each practice sheet begins."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from app.domain.language import SaidEnum, mark, say
from app.domain.numbers import Pattern, mint

# Four digits: a room's own numbers are longer, and a few dozen practice sheets are enough.
WIDTH = 4
PREFIXES = ("TRY", "TRYOUT", "TRYSHEET")
REAL = "real"


class Start(SaidEnum):
    """Where in the work a practice sheet lies when practice begins; the value is how its slip says it in English."""

    ANNOUNCED = mark("not taken in yet")
    INTAKE = mark("at intake")
    DRYING = mark("drying")
    JUST_PRESSED = mark("drying since yesterday")
    READY = mark("ready for mounting")
    NO_LABEL = mark("ready, label to come")
    MOUNTED = mark("mounted")
    PRESS_READY = mark("under press, ready")
    PRESS_NOT_YET = mark("under press, not yet")
    INSPECT = mark("dry, to inspect")
    FILE = mark("dry and passed")
    FILED = mark("filed")


@dataclass(frozen=True, slots=True)
class PracticeSheet:
    """One practice sheet: its number as it is kept, where it begins, and what is on its label."""

    number: str
    start: Start
    plant: str
    family: str
    collector: str
    record_number: str
    bulk: str


def practice_pattern(taken: Collection[str]) -> Pattern:
    """The shape of the practice slips' numbers, with a prefix that the room does not use; ValueError where all are in use."""
    free = next((prefix for prefix in PREFIXES if prefix not in taken), None)
    if free is None:
        raise ValueError(
            say(
                "The prefixes {prefixes} are all in use here, so practice slips have none of their own.",
                prefixes=", ".join(PREFIXES),
            )
        )
    return Pattern(free, WIDTH)


def practice_sheets(pattern: Pattern) -> tuple[PracticeSheet, ...]:
    """The practice sheets, the same each time practice begins, so that printed slips can be used again and again."""
    plants = _plants()
    found: list[PracticeSheet] = []
    serial = 0
    for start, many in HOW_MANY.items():
        for _ in range(many):
            serial, number = mint(pattern, serial)
            plant, family, bulk = next(plants)
            collector = COLLECTORS[len(found) % len(COLLECTORS)]
            found.append(PracticeSheet(number, start, plant, family, collector, str(201 + len(found)), bulk))
    return tuple(found)


def _plants() -> Iterator[tuple[str, str, str]]:
    while True:
        yield from PLANTS


HOW_MANY: dict[Start, int] = {
    Start.ANNOUNCED: 2, Start.INTAKE: 4, Start.DRYING: 3, Start.JUST_PRESSED: 1, Start.READY: 5, Start.NO_LABEL: 1,
    Start.MOUNTED: 2, Start.PRESS_READY: 2, Start.PRESS_NOT_YET: 2, Start.INSPECT: 3, Start.FILE: 2, Start.FILED: 1,
}  # fmt: skip
COLLECTORS = ("M. Thornquill", "E. Vasslund", "J. Peverell-Oake")
PLANTS: tuple[tuple[str, str, str], ...] = (
    ("Geranium robertianum", "Geraniaceae", "ordinary"),
    ("Silene dioica", "Caryophyllaceae", "ordinary"),
    ("Carex sylvatica", "Cyperaceae", "thin"),
    ("Ilex aquifolium", "Aquifoliaceae", "bulky"),
    ("Primula veris", "Primulaceae", "ordinary"),
    ("Poa nemoralis", "Poaceae", "thin"),
    ("Digitalis purpurea", "Plantaginaceae", "ordinary"),
    ("Dryopteris filix-mas", "Dryopteridaceae", "ordinary"),
)
