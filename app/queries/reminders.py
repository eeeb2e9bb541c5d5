"""What is worth reading once more before the next sheet: short lists for each step. Common practice, no source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.domain.stages import Step


@dataclass(frozen=True, slots=True)
class Reminder:
    """A short list for one kind of work."""

    title: str
    lines: tuple[str, ...]


def reminders_for(steps: Sequence[Step]) -> tuple[Reminder, ...]:
    """The lists for what is done at a station, each once, in the order of the work."""
    return tuple(reminder for about, reminder in REMINDERS if about & set(steps))


REMINDERS: tuple[tuple[frozenset[Step], Reminder], ...] = (
    (
        frozenset({Step.TAKE_IN}),
        Reminder("At intake", ("Slip and label stay in the fold with the plant.", "Fresh plants go to dry today.",
                               "Mould, spines or a smell of mothballs: say so before it goes on.",
                               "Insects or frass: close it in a bag here. Do not carry it open through the room.")),
    ),
    (
        frozenset({Step.PASS_AS_DRY, Step.PAPERS_CHANGED}),
        Reminder("Is it dry?", ("Brittle, not limp.", "Not cool to the touch.", "Held up by its stem it does not droop.",
                                "Feel the thickest part last: fruit, buds, roots.")),
    ),
    (
        frozenset({Step.TAKE_UP, Step.MOUNT}),
        Reminder("Before you glue", ("Label bottom right.", "Top right corner stays free for the seal.",
                                     "Some leaves face up, some face down.", "Flowers and fruit in view.",
                                     "Does it fit with the packet?")),
    ),
    (
        frozenset({Step.PUT_UNDER_WEIGHT, Step.WEIGHTS_ON}),
        Reminder("At the press", ("Release paper, foam and a board on every sheet.", "Bulky sheets on top.",
                                  "One weight at a time. Never move a stack with its weights on.",
                                  "Weights on: card with “on” upward, and scan it.")),
    ),
    (
        frozenset({Step.INSPECT}),
        Reminder("Look for", ("Loose parts, and parts over the edge.", "Label, packet and number are right and right way up.",
                              "Nothing stuck to the release paper.", "Lifting and cockling.",
                              "Not your own work: somebody else passes it.")),
    ),
    (
        frozenset({Step.FILE}),
        Reminder("Filing", ("All sheets of a specimen together.", "Into the folder of its name, label to the right.",
                            "The slip comes back.")),
    ),
)  # fmt: skip
