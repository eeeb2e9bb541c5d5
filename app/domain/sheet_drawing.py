"""Where things go on a mounting sheet, to the house's own proportions: the zones that are drawn and tapped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.domain.house import House
from app.domain.language import mark, say


@dataclass(frozen=True, slots=True)
class Size:
    """A mounting sheet, in millimetres, and whether the room's lasting code goes top left or along the top edge."""

    width_mm: int
    height_mm: int
    code_top_left: bool = True


@dataclass(frozen=True, slots=True)
class Zone:
    """A part of the sheet, in thousandths of its width (x, width) and of its height (y, height), from the top left."""

    name: str
    words: str
    x: int
    y: int
    width: int
    height: int

    @property
    def centre(self) -> tuple[int, int]:
        """The middle of the zone, in thousandths of the sheet's width and height."""
        return self.x + self.width // 2, self.y + self.height // 2

    def holds(self, x: int, y: int) -> bool:
        """Whether a place of the sheet, in thousandths, lies in the zone; what touches its edge does."""
        return self.x <= x <= self.x + self.width and self.y <= y <= self.y + self.height


# Millimetres. The label stands about 5 mm from the edges (New Zealand Plant Conservation Network, "Mounting specimens"), and
# so do seal and packet; the code a finger's width from them (Natural History Museum London, digitisation workflow, 2022). A
# label of about 4 by 3 in is taught, and 5 to 8 cm above it are kept for slips (both common practice).
GAP = 5
FINGER = 15
LABEL = (102, 76)
SLIPS_HIGH = 65
SEAL = (45, 45)
CODE = (55, 18)
PACKET = (90, 60)
MARGIN = 8
# What label and packet side by side, and seal, slips and label above each other, need; on a smaller sheet all of it is smaller.
LEAST = (212, 206)


def size_of(house: House) -> Size:
    """The size of sheet that the room mounts on."""
    return Size(house.sheet_width_mm, house.sheet_height_mm, house.code_top_left)


def zones(size: Size) -> tuple[Zone, ...]:
    """The parts of a sheet of that size: the plant first, then what lies clear of each other and is kept clear of it.

    Code top left (or along the top edge), seal top right, packet bottom left, label bottom right with room for later slips
    above it.
    """
    share = min(1.0, size.width_mm / LEAST[0], size.height_mm / LEAST[1])
    # As if on a sheet on which all of it has its full size: in thousandths it is the same.
    wide, high = size.width_mm / share, size.height_mm / share
    left, foot = wide - GAP - LABEL[0], high - GAP - LABEL[1]
    code_from = FINGER if size.code_top_left else (wide - GAP - SEAL[0] - CODE[0]) / 2
    boxes = (
        ("plant", say("Plant"), MARGIN, MARGIN, wide - 2 * MARGIN, high - 2 * MARGIN),
        ("code", say("Code"), code_from, FINGER if size.code_top_left else GAP, *CODE),
        ("seal", say("Seal"), wide - GAP - SEAL[0], GAP, *SEAL),
        ("slips", say("Room for slips"), left, foot - GAP - SLIPS_HIGH, LABEL[0], SLIPS_HIGH),
        ("packet", say("Packet"), GAP, high - GAP - PACKET[1], *PACKET),
        ("label", say("Label"), left, foot, *LABEL),
    )
    return tuple(Zone(name, words, *_thousandths(wide, high, *box)) for name, words, *box in boxes)


def zone_at(found: Sequence[Zone], x: int, y: int) -> Zone | None:
    """The zone at a place in thousandths: what lies upon the plant before the plant; None beside all, along the edge."""
    return next((zone for zone in reversed(found) if zone.holds(x, y)), None)


def place_words(found: Sequence[Zone], x: int | None, y: int | None) -> str:
    """A place of the sheet said in words: "label", "plant, upper left", "along the edge"; empty for no place."""
    if x is None or y is None:
        return ""
    zone = zone_at(found, x, y)
    if zone is None:
        return say("along the edge")
    return zone.words.lower() if zone.name != "plant" else say("plant, {where}", where=_quarter(x, y))


def _quarter(x: int, y: int) -> str:
    return say(_QUARTERS[min(y * 3 // 1000, 2)][min(x * 3 // 1000, 2)])


def _thousandths(
    wide: float, high: float, x: float, y: float, width: float, height: float
) -> tuple[int, int, int, int]:
    return round(x * 1000 / wide), round(y * 1000 / high), round(width * 1000 / wide), round(height * 1000 / high)


_QUARTERS = (
    (mark("upper left"), mark("upper centre"), mark("upper right")),
    (mark("middle left"), mark("in the middle"), mark("middle right")),
    (mark("lower left"), mark("lower centre"), mark("lower right")),
)
