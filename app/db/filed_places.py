"""Where the like of a sheet lies filed by the log: its name, else its genus, else its family; for the list and for the scan."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sqlalchemy import bindparam, func, or_, select
from sqlalchemy.orm import Session

from app.db.models import Cabinet, FamilyOrder, PlantName, Sheet, table_of
from app.db.near import AFTER_ALL
from app.db.prepared import prepared
from app.domain.stages import Stage

SHEET, PLANT, CABINET, ORDER = table_of(Sheet), table_of(PlantName), table_of(Cabinet), table_of(FamilyOrder)
# So many filed sheets of a genus or family are looked at: enough to say where most of it lies.
MOST = 2000
AT_ONCE = 400
Shelf = tuple[int, int | None]
Places = Mapping[Shelf, int]

_LIES = (
    SHEET.c.stage == Stage.FILED, SHEET.c.closed_as.is_(None), CABINET.c.closed_at.is_(None),
    SHEET.c.cabinet_id == CABINET.c.id,
)  # fmt: skip
_NAMES = prepared(
    select(PLANT.c.search_key, SHEET.c.cabinet_id, SHEET.c.shelf_id, func.count())
    .where(PLANT.c.search_key.in_(bindparam("names", expanding=True)), SHEET.c.plant_name_id == PLANT.c.id, *_LIES)
    .group_by(PLANT.c.search_key, SHEET.c.cabinet_id, SHEET.c.shelf_id)
)
_PLACE = select(SHEET.c.cabinet_id, SHEET.c.shelf_id)
# Asked by the names in it: joined, SQLite would rather look at every sheet of the collection.
_GENUS_NAMES = select(PLANT.c.id).where(
    or_(PLANT.c.search_key == bindparam("genus"),
        (PLANT.c.search_key >= bindparam("low")) & (PLANT.c.search_key < bindparam("high")))
)  # fmt: skip
_FAMILY_NAMES = select(PLANT.c.id).where(PLANT.c.family == bindparam("family"))
_OF_GENUS, _OF_FAMILY = (
    _PLACE.where(SHEET.c.plant_name_id.in_(names), *_LIES).limit(MOST).subquery()
    for names in (_GENUS_NAMES, _FAMILY_NAMES)
)
_GENUS, _FAMILY = (
    prepared(select(each.c.cabinet_id, each.c.shelf_id, func.count()).group_by(each.c.cabinet_id, each.c.shelf_id))
    for each in (_OF_GENUS, _OF_FAMILY)
)


@dataclass(frozen=True, slots=True)
class Likeness:
    """What is looked for: a name and its genus by their folded keys, its family as it is written; empty for none."""

    name: str = ""
    genus: str = ""
    family: str = ""


@dataclass(frozen=True, slots=True)
class Lies:
    """Where the like of it lies: `by` is name, genus or family; how many filed sheets on each shelf, most first."""

    by: str
    places: tuple[tuple[Shelf, int], ...]


class Filed:
    """The filed sheets, asked of one session; what was asked once is remembered as long as this is used."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._known: dict[tuple[str, str], Places] = {}

    def learn(self, names: Iterable[str]) -> None:
        """Ask of many names at once, by their folded keys."""
        wanted = sorted({name for name in names if name and ("name", name) not in self._known})
        for start in range(0, len(wanted), AT_ONCE):
            found: dict[str, Counter[Shelf]] = defaultdict(Counter)
            for name, cabinet, shelf, many in self._session.execute(_NAMES, {"names": wanted[start : start + AT_ONCE]}):
                found[name][cabinet, shelf] += many
            self._known.update({("name", name): found[name] for name in wanted[start : start + AT_ONCE]})

    def of_name(self, name: str) -> Places:
        """How many filed sheets of this name lie on each shelf."""
        self.learn([name])
        return self._known.get(("name", name), {})

    def like(self, it: Likeness, but: Shelf | None = None) -> Lies | None:
        """Where the nearest like of it lies, without one sheet on the shelf `but`; None where nothing like it is filed."""
        for by, places in (("name", self.of_name), ("genus", self._of_genus), ("family", self._of_family)):
            text = getattr(it, by)
            found = Counter(places(text)) - Counter([but] if but is not None else []) if text else Counter[Shelf]()
            if found:
                ordered = sorted(found.items(), key=lambda each: (-each[1], each[0][0], each[0][1] or 0))
                return Lies(by, tuple(ordered))
        return None

    def _of_genus(self, genus: str) -> Places:
        asked = {"genus": genus, "low": f"{genus} ", "high": f"{genus} {AFTER_ALL}"}
        return self._ask("genus", genus, _GENUS, asked)

    def _of_family(self, family: str) -> Places:
        return self._ask("family", family, _FAMILY, {"family": family})

    def _ask(self, by: str, text: str, statement: object, asked: dict[str, str]) -> Places:
        if (by, text) not in self._known:
            rows = self._session.execute(statement, asked)  # type: ignore[call-overload]
            self._known[by, text] = Counter({(cabinet, shelf): many for cabinet, shelf, many in rows})
        return self._known[by, text]


def family_places(session: Session) -> dict[str, int]:
    """The places in the room's own order of families, by the folded name; empty where families go by the alphabet."""
    return {row.family_key: row.place for row in session.execute(select(ORDER.c.family_key, ORDER.c.place))}
