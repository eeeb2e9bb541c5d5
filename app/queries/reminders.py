"""What is worth reading once more before the next sheet: short lists for each step. Common practice, no source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.domain.language import mark, say
from app.domain.stages import Step


@dataclass(frozen=True, slots=True)
class Reminder:
    """A short list for one kind of work."""

    title: str
    lines: tuple[str, ...]


def reminders_for(steps: Sequence[Step]) -> tuple[Reminder, ...]:
    """The lists for what is done at a station, each once, in the order of the work."""
    found = (reminder for about, reminder in REMINDERS if about & set(steps))
    return tuple(Reminder(say(each.title), tuple(map(say, each.lines))) for each in found)


REMINDERS: tuple[tuple[frozenset[Step], Reminder], ...] = (
    (
        frozenset({Step.TAKE_IN}),
        Reminder(
            mark("At intake"),
            (
                mark("Slip and label stay in the fold with the plant."),
                mark("Fresh plants go to dry today."),
                mark("Mould, spines or a smell of mothballs: say so before it goes on."),
                mark("Insects or frass: close it in a bag here. Do not carry it open through the room."),
            ),
        ),
    ),
    (
        frozenset({Step.PASS_AS_DRY, Step.PAPERS_CHANGED}),
        Reminder(
            mark("Is it dry?"),
            (
                mark("Brittle, not limp."),
                mark("Not cool to the touch."),
                mark("Held up by its stem it does not droop."),
                mark("Feel the thickest part last: fruit, buds, roots."),
            ),
        ),
    ),
    (
        frozenset({Step.TAKE_UP, Step.MOUNT}),
        Reminder(
            mark("Before you glue"),
            (
                mark("Label bottom right."),
                mark("Top right corner stays free for the seal."),
                mark("Some leaves face up, some face down."),
                mark("Flowers and fruit in view."),
                mark("Does it fit with the packet?"),
            ),
        ),
    ),
    (
        frozenset({Step.PUT_UNDER_WEIGHT, Step.WEIGHTS_ON}),
        Reminder(
            mark("At the press"),
            (
                mark("Release paper, foam and a board on every sheet."),
                mark("Bulky sheets on top."),
                mark("One weight at a time. Never move a stack with its weights on."),
                mark("Weights on: card with “on” upward, and scan it."),
            ),
        ),
    ),
    (
        frozenset({Step.INSPECT}),
        Reminder(
            mark("Look for"),
            (
                mark("Loose parts, and parts over the edge."),
                mark("Label, packet and number are right and right way up."),
                mark("Nothing stuck to the release paper."),
                mark("Lifting and cockling."),
                mark("Not your own work: somebody else passes it."),
            ),
        ),
    ),
    (
        frozenset({Step.FILE}),
        Reminder(
            mark("Filing"),
            (
                mark("All sheets of a specimen together."),
                mark("Into the folder of its name, label to the right."),
                mark("The slip comes back."),
            ),
        ),
    ),
)
