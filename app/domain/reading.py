"""What a scan or a typed number says: forgiving in how it is written, strict in what it names."""

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice

from app.domain.numbers import CHECK_CHARACTERS, Kind, Pattern, Shape, card_shapes

MOST_CANDIDATES = 300

_LONGEST_TEXT = 80
_LONGEST_TYPED = 24
_FOLDED = str.maketrans("OIL", "011")
_DIGITS = "0123456789"
_KEPT_APART = frozenset({"Zs", "Pd"})  # every space and every dash that Unicode knows
_PASSED_OVER = frozenset(
    ".\u00b7\u2022\u2027\u2219\u22c5\u30fb"  # full stop and the dots that stand at mid height
    "\u00ad\u2043\u2212\u30fc"  # soft hyphen, hyphen bullet, minus, and the long mark of a Japanese keyboard
    "\u200b\u200c\u200d\u2060\ufeff\u200e\u200f\u202a\u202b\u202c\u2066\u2067\u2068\u2069"  # no width at all
)
_SYMBOLOGY = re.compile(r"\][A-Za-z][0-9A-Za-z]")  # ISO/IEC 15424: what kind of bar code the scanner saw
_CODE_LIKE = re.compile(r"([A-Z]{0,8})([0-9]{3,14})[0-9A-Z]?")


@dataclass(frozen=True)
class Exact:
    """It reads right; `text` is the number as it is kept."""

    kind: Kind
    text: str


@dataclass(frozen=True)
class Misread:
    """Something in it is wrong; `could_be` are the numbers one slip away, whether or not they exist."""

    typed: str
    could_be: tuple[str, ...]


@dataclass(frozen=True)
class Partial:
    """Something was left out, or two patterns fit: only ever "which one?", never done."""

    typed: str
    could_be: tuple[str, ...]


@dataclass(frozen=True)
class Unreadable:
    """Nothing of ours; `kept` is the text only where it is a code and cannot well be a password or a PIN."""

    length: int
    kept: str | None


Reading = Exact | Misread | Partial | Unreadable


@dataclass(frozen=True)
class _Known:
    """A shape with its kind, its length and what may stand at each place of it."""

    kind: Kind
    shape: Shape
    length: int
    places: tuple[str, ...]


@dataclass(frozen=True)
class _Table:
    """All shapes of a room, found by their prefix."""

    by_prefix: dict[str, tuple[_Known, ...]]
    sizes: tuple[int, ...]
    every: tuple[_Known, ...]


def read(text: str, patterns: Sequence[Pattern]) -> Reading:
    """Read a scan or a typed text of any length and content: only a number right in every place is `Exact`."""
    if len(text) > _LONGEST_TEXT:
        return Unreadable(len(text), None)
    table = _table(tuple(patterns))
    plain = _tidied(text)
    if not (plain.isascii() and plain.isprintable()) or len(plain) > _LONGEST_TYPED:
        return Unreadable(len(text), None)
    return _read_tidied(plain.upper(), table) or _unreadable(text, plain, table)


@lru_cache(maxsize=64)
def _table(patterns: tuple[Pattern, ...]) -> _Table:
    every = [_known(Kind.SHEET, pattern) for pattern in patterns]
    every += [_known(kind, shape) for kind, shape in card_shapes(patterns).items()]
    prefixes = dict.fromkeys(known.shape.prefix for known in every)
    by_prefix = {prefix: tuple(known for known in every if known.shape.prefix == prefix) for prefix in prefixes}
    return _Table(by_prefix, tuple(sorted({len(prefix) for prefix in prefixes})), tuple(every))


def _known(kind: Kind, shape: Shape) -> _Known:
    places = (*shape.prefix, *[_DIGITS] * shape.width, *[CHECK_CHARACTERS] * shape.check)
    return _Known(kind, shape, len(places), places)


def _tidied(text: str) -> str:
    stripped = text.strip()
    if stripped.isascii() and stripped.isalnum():
        return stripped
    apart = unicodedata.normalize("NFKC", stripped)
    joined = "".join(c for c in apart if c not in _PASSED_OVER and unicodedata.category(c) not in _KEPT_APART).strip()
    return joined[3:].lstrip() if _SYMBOLOGY.match(joined) else joined


def _read_tidied(typed: str, table: _Table) -> Reading | None:
    right = _exact(typed, table)
    if len(right) == 1:
        return right[0]
    could_be = [exact.text for exact in right] or _completed(typed, table)
    if could_be:
        return Partial(typed, tuple(could_be[:MOST_CANDIDATES]))
    slips = tuple(islice(_one_slip_away(typed, table), MOST_CANDIDATES))
    return Misread(typed, slips) if slips else None


def _exact(typed: str, table: _Table) -> list[Exact]:
    found: list[Exact] = []
    for size in table.sizes:
        for known in table.by_prefix.get(typed[:size], ()):
            text = _right(typed, known)
            if text and Exact(known.kind, text) not in found:
                found.append(Exact(known.kind, text))
    return found


def _right(typed: str, known: _Known) -> str | None:
    """The number as it is kept, if this text is one of this shape once O, I and L among the digits are digits."""
    shape = known.shape
    if len(typed) != known.length or not typed.startswith(shape.prefix):
        return None
    start, end = len(shape.prefix), len(shape.prefix) + shape.width
    text = typed[:start] + typed[start:end].translate(_FOLDED) + typed[end:]
    return text if shape.holds(text) else None


def _completed(typed: str, table: _Table) -> list[str]:
    """What it is with its zeros filled in, its prefix supplied or its check character worked out."""
    found: dict[str, None] = {}
    for known in table.every:
        found.update(dict.fromkeys(_with_check_character(typed, known)))
        filled = (_right(text, known) for text in _filled(typed, known))
        found.update(dict.fromkeys(text for text in filled if text))
    return list(found)


def _with_check_character(typed: str, known: _Known) -> Iterator[str]:
    if known.kind is not Kind.SHEET or not known.shape.check:
        return
    for rest in _without_prefix(typed, known):
        digits = _as_digits(rest, known.shape.width)
        if digits:
            yield known.shape.spell(int(digits))


def _filled(typed: str, known: _Known) -> Iterator[str]:
    shape = known.shape
    for rest in _without_prefix(typed, known):
        end = len(rest) - shape.check
        digits = _as_digits(rest[:end], shape.width)
        if digits:
            yield shape.prefix + digits.zfill(shape.width) + rest[end:]


def _without_prefix(typed: str, known: _Known) -> Iterator[str]:
    if typed.startswith(known.shape.prefix):
        yield typed[len(known.shape.prefix) :]
    if known.kind is Kind.SHEET:
        yield typed


def _as_digits(text: str, width: int) -> str | None:
    """O, I and L stand for digits only beside a real one, so that a word is never a number."""
    digits = text.translate(_FOLDED)
    fits = len(digits) <= width and digits.isdigit()
    return digits if fits and any(c in _DIGITS for c in text) else None


def _one_slip_away(typed: str, table: _Table) -> Iterator[str]:
    seen = set()
    for known in table.every:
        for text in _near(typed, known):
            right = _right(text, known)
            if right and right not in seen:
                seen.add(right)
                yield right


def _near(typed: str, known: _Known) -> Iterator[str]:
    """Without a check character nothing tells a near miss from another sheet, so such a pattern offers none."""
    if not known.shape.check:
        return
    texts = [typed]
    if typed.startswith(known.shape.prefix) or len(typed) == known.shape.width + 1:
        texts += _filled(typed, known)
    for text in dict.fromkeys(texts):
        yield from _slips(text, known.places)


def _slips(text: str, places: tuple[str, ...]) -> Iterator[str]:
    """Undo one slip: one character wrong, two neighbours swapped, one left out, one put in."""
    missing = len(places) - len(text)
    if missing == 0:
        yield from (text[:i] + text[i + 1] + text[i] + text[i + 2 :] for i in range(len(text) - 1))
    if missing in (0, 1):
        yield from (text[:i] + c + text[i + 1 - missing :] for i, some in enumerate(places) for c in some)
    if missing == -1:
        yield from (text[:i] + text[i + 1 :] for i in range(len(text)))


def _unreadable(text: str, plain: str, table: _Table) -> Unreadable:
    match = _CODE_LIKE.fullmatch(plain.upper())
    if not match:
        return Unreadable(len(text), None)
    prefix, digits = match.groups()
    ours = prefix in table.by_prefix
    safe = plain == plain.upper() and (ours or _is_printed_code(prefix, digits))
    return Unreadable(len(text), plain if safe else None)


def _is_printed_code(prefix: str, digits: str) -> bool:
    """A bar code of another house or a shop; a word with a year behind it, or a PIN, may be somebody's secret."""
    return len(prefix) <= 3 and len(digits) >= (6 if prefix else 9)
