"""The sheets as the demo's people have them before their eyes: on shelves, in presses, on tables and in stacks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from app.domain.house import House
from app.domain.press import Span, Stay, minimum_s, under_weight
from seed_demo.names import Species
from seed_demo.room import StackCards

HOUSE = House()
CLASSES = {"pva": "pva", "paste": "starch-paste", "mc": "methyl-cellulose", "straps": "straps", "spot": "spot"}


@dataclass(slots=True)
class Sheet:
    """One sheet: what it is, and what its people know of it. `story` sets it apart from the daily round."""

    number: str
    species: Species
    cautions: tuple[str, ...] = ()
    bulk: str = "ordinary"
    story: str = ""
    held: bool = False
    mounted_by: str = ""
    mended_by: tuple[str, ...] = ()
    minimum: timedelta = timedelta(0)
    stays: list[Stay] = field(default_factory=list)
    outcome: str = ""
    day: int = 0
    partner: Sheet | None = None

    def is_glued(self, who: str, adhesive: str, bulk: str) -> None:
        """It was glued just now: its time under weight starts at nothing."""
        self.bulk, self.stays, self.outcome = bulk, [], ""
        self.minimum = timedelta(seconds=minimum_s(HOUSE, CLASSES[adhesive], bulk))
        self.mounted_by, self.mended_by = who, ()

    @property
    def is_free(self) -> bool:
        """Whether it may be taken as the next one."""
        return not self.story and not self.held

    def may_be_judged_by(self, who: str) -> bool:
        """Whether this worker may pass it: nobody passes what they mounted or mended themselves."""
        return self.is_free and who not in (self.mounted_by, *self.mended_by)


@dataclass(slots=True)
class Pile:
    """A stack as the press room sees it: what lies in it, and when its weights lay on it."""

    cards: StackCards
    lying: list[Sheet] = field(default_factory=list)
    spans: list[Span] = field(default_factory=list)
    seen_at: datetime | None = None

    @property
    def weights_on(self) -> bool:
        """Whether the weights lie on it."""
        return bool(self.spans) and self.spans[-1].off_at is None

    def turned(self, moment: datetime, on: bool) -> None:
        """The weights went on, or off."""
        self.seen_at = moment
        if on:
            self.spans.append(Span(moment, None))
        elif self.weights_on:
            self.spans[-1] = Span(self.spans[-1].on_at, moment)

    def lays_in(self, sheet: Sheet, moment: datetime) -> None:
        """A sheet was laid on top."""
        self.seen_at = moment
        self.lying.append(sheet)
        sheet.stays.append(Stay(self.cards.stack_id, moment, None))

    def gives_out(self, sheet: Sheet, moment: datetime) -> None:
        """A sheet was taken out."""
        self.lying.remove(sheet)
        stay = sheet.stays[-1]
        sheet.stays[-1] = Stay(stay.stack_id, stay.laid_at, moment)


@dataclass(slots=True)
class Press:
    """A plant press in the dryer: what lies in it, how it is dried, since when, and when its papers were changed."""

    name: str
    sheets: list[Sheet] = field(default_factory=list)
    heated: bool = False
    pressed_at: datetime | None = None
    papers_day: int = 0
    left: bool = False


@dataclass(slots=True)
class Shelves:
    """All that waits, by where it waits."""

    piles: dict[str, Pile]
    presses: dict[str, Press]
    ready: list[Sheet] = field(default_factory=list)
    to_inspect: list[Sheet] = field(default_factory=list)
    to_mend: list[Sheet] = field(default_factory=list)
    to_file: list[Sheet] = field(default_factory=list)
    filed: list[Sheet] = field(default_factory=list)

    def take(self, wanted: Callable[[Sheet], bool] = lambda sheet: True) -> Sheet | None:
        """Take the longest waiting sheet of this kind that may be mounted; None where there is none."""
        found = next((sheet for sheet in self.ready if sheet.is_free and wanted(sheet)), None)
        if found is not None:
            self.ready.remove(found)
        return found

    def is_ready(self, sheet: Sheet, moment: datetime) -> bool:
        """Whether a sheet has lain under weight for its minimum."""
        spans = {pile.cards.stack_id: pile.spans for pile in self.piles.values()}
        return under_weight(sheet.stays, spans, moment) >= sheet.minimum

    def ready_in(self, pile: Pile, moment: datetime) -> list[Sheet]:
        """The sheets of a stack that may come out, the uppermost first; one that is forgotten is passed over."""
        return [sheet for sheet in reversed(pile.lying) if sheet.is_free and self.is_ready(sheet, moment)]

    def free_press(self) -> Press:
        """An empty plant press."""
        return next(press for press in self.presses.values() if not press.sheets)
