"""The rules of the freezer: nothing damp and nothing freshly glued goes in, and a load is closed before it does."""

from __future__ import annotations

from app.domain.attempt import Attempt
from app.domain.errors import Refusal
from app.domain.language import say
from app.domain.stages import STAGES, Stage

DAMP = (Stage.INTAKE, Stage.DRYING)
WET = (Stage.MOUNTED, Stage.UNDER_PRESS)


def may_be_frozen(attempt: Attempt) -> Refusal | None:
    """A plant that is not fully dry must not be frozen (MuseumPests.net, low temperature treatment), nor wet adhesive."""
    stage = attempt.sheet.stage
    return why_not_frozen(stage) if stage is not None else None


def why_not_frozen(stage: Stage) -> Refusal | None:
    """Why what stands in this stage may not go into a freezer; None where it may."""
    if stage in DAMP:
        words = say(
            "It {stands}, and nobody has felt yet that it is dry. A damp plant must not be frozen.",
            stands=STAGES[stage].stands,
        )
        next_ = say("Lay it to dry, or say at intake that it came dry. Then it may be frozen.")
        return Refusal("damp", words, next_ if stage is Stage.INTAKE else say("Lay it back to dry."))
    if stage in WET:
        words = say("It {stands}: its adhesive is wet. It must not be frozen.", stands=STAGES[stage].stands)
        do = (
            say("Lay it under weight now.")
            if stage is Stage.MOUNTED
            else say("Lay it back in its stack until it may come out.")
        )
        return Refusal("wet-adhesive", words, do)
    return None


def has_a_load(attempt: Attempt) -> Refusal | None:
    """What is frozen goes into a bag or a box that has a card."""
    if attempt.load is not None:
        return None
    return Refusal("no-load", say("Into which load?"), say("Scan the card of the bag or box it goes in."), "which-one")


def load_is_being_filled(attempt: Attempt) -> Refusal | None:
    """Nothing is added to a load that is in the freezer, came out of it, or was opened."""
    load = attempt.load
    if load is None or not load.is_closed:
        return None
    return Refusal(
        "load-closed",
        say("{load} is closed: it was put into the freezer already.", load=load.name),
        say("Begin another load for this one."),
    )


def is_not_in_it(attempt: Attempt) -> Refusal | None:
    """A sheet is put into a load once."""
    load = attempt.load
    if load is None or attempt.sheet.place.bundle_id != load.bundle_id:
        return None
    return Refusal("wrong-stage", say("It is in {load} already.", load=load.name), say("Scan the next one."), "not-yet")
