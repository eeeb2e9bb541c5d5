"""What lies ahead, in a few words for each stage: until when what waits is done, and how long sheets usually stay."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.domain.calendar import local_day
from app.domain.language import mark, say
from app.domain.words import date_said
from app.queries.board import Board
from app.queries.forecast import StageForecast, forecast_lines
from app.queries.usual import usual_lines
from app.queries.waiting import Judge

# Of the certainties of a forecast (50, 85 and 95 %) the one that the board says.
SAID = 1
SAID_WORDS = mark("85\u00a0%\u00a0sure")


@dataclass(frozen=True, slots=True)
class Outlook:
    """The lines for each stage's place on the board, by its slug; a stage of which nothing can be said has none."""

    lines: dict[str, tuple[str, ...]]

    def of(self, slug: str) -> tuple[str, ...]:
        """The lines for one stage."""
        return self.lines.get(slug, ())


NOTHING = Outlook({})


def outlook(session: Session, judged: Judge, found: Board) -> Outlook:
    """What lies ahead of the stages as the board has counted them; of use for some minutes, and dearer than the board."""
    usual = usual_lines(session, judged.now, judged.calendar.zone)
    year = local_day(judged.now, judged.calendar.zone).year
    lines = {each.slug: _done(each, year) for each in forecast_lines(session, judged, found.stages)}
    for slug, words in usual.items():
        lines[slug] = (*lines.get(slug, ()), words)
    return Outlook(lines)


def _done(stage: StageForecast, year: int) -> tuple[str, ...]:
    day = stage.dates[SAID] if stage.dates else None
    if day is None:
        return ()
    return (say("done by {day} ({sure})", day=date_said(day, with_year=day.year != year), sure=SAID_WORDS),)
