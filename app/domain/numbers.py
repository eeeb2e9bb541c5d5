"""What the numbers of sheets and the codes of cards are made of: shape, check character, the next free one."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from app.domain.language import say

CHECK_CHARACTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
# A star cannot be told from a smudge, nor I and O from 1 and 0: serials that would end in one are passed over.
NEVER_MINTED = frozenset("*IO")

_VALUES = {character: value for value, character in enumerate(CHECK_CHARACTERS[:36])}
_PREFIX = re.compile(r"[A-Z]{1,8}")
_WIDEST = 12
_DRAWS = 100


class Kind(StrEnum):
    """What a code stands for."""

    SHEET = "sheet"
    CABINET = "cabinet"
    SHELF = "shelf"
    STACK_ON = "stack-on"
    STACK_OFF = "stack-off"
    BADGE = "badge"
    STATION = "station"
    COMMAND = "command"
    BUNDLE = "bundle"
    LOAD = "load"
    LOT = "lot"


@dataclass(frozen=True)
class Shape:
    """A prefix, digits of one fixed width (so that a lost digit shows), and as a rule a check character."""

    prefix: str
    width: int
    check: bool = True

    def spell(self, serial: int) -> str:
        """The number of this serial as it is kept, without space or dot; ValueError where the digits do not hold it."""
        if not 0 <= serial < 10**self.width:
            raise ValueError(
                say(
                    "{serial} does not fit into the {width} digits of a {prefix} number: widen it.",
                    serial=serial,
                    width=self.width,
                    prefix=self.prefix,
                )
            )
        body = f"{self.prefix}{serial:0{self.width}d}"
        return body + check_character(body) if self.check else body

    def holds(self, text: str) -> bool:
        """Whether this text, as it stands, is a number of this shape in every place, its check character included."""
        end = len(self.prefix) + self.width
        if len(text) != end + self.check or not text.startswith(self.prefix) or not text.isascii():
            return False
        return text[len(self.prefix) : end].isdigit() and (not self.check or check_character(text[:end]) == text[end])

    def serial_of(self, text: str) -> int | None:
        """The serial in a number of this shape as it is kept; None for any other text."""
        start = len(self.prefix)
        return int(text[start : start + self.width]) if self.holds(text) else None


@dataclass(frozen=True)
class Pattern(Shape):
    """The shape of this room's sheet numbers, or of older ones; ValueError, in a sentence, where it makes no sense."""

    def __post_init__(self) -> None:
        """Refuse a prefix that is no prefix or was always a card's, and a width that no label has.

        What became a card's later may be a room's own since before; `may_be_chosen` refuses it to others.
        """
        if not _PREFIX.fullmatch(self.prefix):
            raise ValueError(say("A number begins with one to eight capital letters, A to Z: choose such a prefix."))
        if self.prefix in PREFIXES.values() and self.prefix != PREFIXES[Kind.LOT]:
            raise ValueError(_kept_for_cards(self.prefix))
        if not 1 <= self.width <= _WIDEST:
            raise ValueError(
                say(
                    "A number has 1 to {most} digits, not {width}: choose a width between them.",
                    most=_WIDEST,
                    width=self.width,
                )
            )


def check_character(body: str) -> str:
    """The check character of prefix and digits (ISO/IEC 7064, MOD 37-2); ValueError unless all is 0-9 and A-Z."""
    total = 0
    try:
        for character in body:
            total = (total * 2 + _VALUES[character]) % 37
    except KeyError:
        raise ValueError(
            say("Only the digits 0-9 and the letters A-Z have a check character: take the rest out.")
        ) from None
    if not body:
        raise ValueError(say("Nothing has no check character: give the prefix and the digits."))
    return CHECK_CHARACTERS[(1 - 2 * total) % 37]


def may_be_chosen(prefix: str, patterns: Sequence[Shape]) -> None:
    """Whether a room with these patterns may begin new numbers so; ValueError, in a sentence, where its cards do."""
    if prefix in PREFIXES.values() or prefix in {shape.prefix for shape in card_shapes(tuple(patterns)).values()}:
        raise ValueError(_kept_for_cards(prefix))


@lru_cache(maxsize=64)
def card_shapes(patterns: tuple[Shape, ...]) -> dict[Kind, Shape]:
    """The shapes of the codes on cards in a room whose sheets are numbered so.

    Lots got cards when rooms had numbers already: where some begin as those cards would, the cards begin otherwise.
    """
    taken = {pattern.prefix for pattern in patterns}
    lot = CODES[Kind.LOT]
    if lot.prefix not in taken:
        return CODES
    free = next((prefix for prefix in SPARE_FOR_LOTS if prefix not in taken), lot.prefix)
    return {**CODES, Kind.LOT: Shape(free, lot.width)}


def mint(pattern: Shape, after: int) -> tuple[int, str]:
    """The first serial above `after` that may be used, and its number; ValueError when the digits are used up."""
    for serial in range(max(after + 1, 0), 10**pattern.width):
        number = pattern.spell(serial)
        if _may_be_used(pattern, number):
            return serial, number
    raise ValueError(
        say(
            "The {width} digits of {prefix} are used up: set up a pattern with more digits.",
            width=pattern.width,
            prefix=pattern.prefix,
        )
    )


def mint_code(kind: Kind, after: int) -> tuple[int, str]:
    """The first serial above `after` that may be used for this kind, and its code; ValueError when used up."""
    return mint(_shape_of(kind), after)


def random_code(kind: Kind, draw: Callable[[int], int]) -> str:
    """A code nobody can guess (a badge: ten digits); `draw(n)` gives a number below n, as `secrets.randbelow` does."""
    shape = _shape_of(kind)
    for _ in range(_DRAWS):
        code = shape.spell(draw(10**shape.width))
        if _may_be_used(shape, code):
            return code
    raise ValueError(f"{_DRAWS} draws gave no usable code: the source of random numbers is stuck.")


def shown(text: str, patterns: Sequence[Shape]) -> str:
    """A number as people read it, `TQX 004217·1`; a text that is no number known here comes back as it is."""
    for shape in (*patterns, *_ANY_CARD):
        if shape.holds(text):
            start, end = len(shape.prefix), len(shape.prefix) + shape.width
            return f"{shape.prefix} {text[start:end]}" + (f"·{text[end:]}" if shape.check else "")
    return text


def _kept_for_cards(prefix: str) -> str:
    return say("{prefix} is kept for the codes on cards and cabinets: choose another prefix.", prefix=prefix)


def _may_be_used(shape: Shape, number: str) -> bool:
    return not shape.check or number[-1] not in NEVER_MINTED


def _shape_of(kind: Kind) -> Shape:
    if kind not in CODES:
        raise ValueError(say("A sheet's number is made by the room's own pattern: ask the pattern for it."))
    return CODES[kind]


def _command_codes(*names: str) -> dict[str, str]:
    codes, serial = {}, 0
    for name in names:
        serial, codes[name] = mint_code(Kind.COMMAND, serial)
    return codes


# Bundles and loads come and go by the thousand; a badge is long so that it cannot be guessed.
CODES: dict[Kind, Shape] = {
    Kind.CABINET: Shape("KC", 4),
    Kind.SHELF: Shape("KS", 4),
    Kind.STACK_ON: Shape("WN", 4),
    Kind.STACK_OFF: Shape("WF", 4),
    Kind.BADGE: Shape("VB", 10),
    Kind.STATION: Shape("VS", 4),
    Kind.COMMAND: Shape("VC", 4),
    Kind.BUNDLE: Shape("KB", 6),
    Kind.LOAD: Shape("KL", 6),
    Kind.LOT: Shape("VG", 4),
}
PREFIXES: dict[Kind, str] = {kind: shape.prefix for kind, shape in CODES.items()}
# How lots' cards begin where a room's own numbers begin as they do elsewhere; the first that is free.
SPARE_FOR_LOTS = ("VH", "VJ", "VK", "VM", "VP", "VQ", "VR", "VT")
_ANY_CARD = (*CODES.values(), *(Shape(prefix, CODES[Kind.LOT].width) for prefix in SPARE_FOR_LOTS))

# Printed cards hang in the room for years: a new command is added at the end, none is moved or taken out.
COMMANDS: dict[str, str] = _command_codes(
    "undo",
    "done",
    "help",
    "no-number",
    "another-sheet",
    "already-done",
    "yes",
    "no",
    "closing",
    "pest",
    "round",
    "unmounted",
    "morning",
    "whole-shelf",
    "check",
    "cannot-be-read",
    "new-load",
    "same-number",
    "two-plants",
    "same-specimen",
    "damp",
    "danger",
    "label-here",
)
