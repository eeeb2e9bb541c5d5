"""The order of work at a mounting table: a few steps, each with what its small picture points at."""

from __future__ import annotations

from dataclasses import dataclass

from app.domain.language import mark, say

# A ring in the picture, in millimetres of a sheet of 292 by 419: where its middle is, and how wide it reaches.
Ring = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class WorkStep:
    """One step: what to do, and why or how. `lit` are the zones that its picture points at, `rings` what of the plant;
    on a `bare` sheet there is no plant yet.
    """

    words: str
    more: str
    lit: tuple[str, ...] = ()
    rings: tuple[Ring, ...] = ()
    bare: bool = False


BOTH_FACES: tuple[Ring, ...] = ((64, 226, 38), (212, 196, 38))
FLOWERS: tuple[Ring, ...] = ((154, 74, 46),)


def order_of_work(code_top_left: bool) -> tuple[WorkStep, ...]:
    """The steps in their order; where the lasting code goes is the house's choice."""
    if code_top_left:
        more = say("Top left, a finger's width from both edges. Before any glue touches the plant.")
    else:
        more = say("Along the top edge, clear of the seal. Before any glue touches the plant.")
    return (WorkStep(say("The lasting code first"), more, ("code",), bare=True), *_AFTER_THE_CODE)


# The code before glue, and what is kept free: the house's own. Laying out before any glue, nothing over the edge, both leaf
# faces: New Zealand Plant Conservation Network. Label and slips: Carnegie Museum of Natural History. Packet on every sheet:
# Florida Museum. Weight: common practice, no source.
_AFTER_THE_CODE = (
    WorkStep(mark("Lay all of it out"), mark("Plant, label and packet together, before any glue."), ("label", "packet")),
    WorkStep(mark("Keep free"), mark("The corner of the seal, and the room for slips above the label."), ("seal", "slips")),
    WorkStep(mark("Nothing over the edge"), mark("What does not fit is folded back, or takes another sheet."), ("plant",)),
    WorkStep(mark("Both faces of the leaf"), mark("Some leaves face up, at least one face down."), rings=BOTH_FACES),
    WorkStep(mark("Flowers and fruit seen"), mark("No glue where they are studied, no leaf over them."), rings=FLOWERS),
    WorkStep(mark("Close the packet"), mark("Loose pieces in it, its flap shut and right way up, then fix it."), ("packet",)),
    WorkStep(mark("Glue, then weight"), mark("Label straight. Scan it as mounted, and lay it in at once."), ("label",)),
)  # fmt: skip
