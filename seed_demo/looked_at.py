"""What the demo's inspector finds: five things as they are marked on the drawing, and what two stories say."""

from __future__ import annotations

from typing import Any

# As many as there ever were, so that the demo's dice fall as before.
FOUND = (
    "loose-part@330,360 the lowest leaf",
    "label-crooked@800,890",
    "over-the-edge@500,995 a tip of the root",
    "too-much-adhesive@470,620",
    "packet-missing@170,910",
)
SPRUNG = ("loose-part@470,480 a stem has sprung loose",)
NEIGHBOURS_LABEL = ("label-wrong@800,890 it is its neighbour's",)


def how_it_is(outcome: str, findings: list[str]) -> dict[str, Any]:
    """The facts of a look: a sheet that passes gets its seal at once."""
    return {"outcome": outcome, "findings": findings, **({"sealed": True} if outcome == "passed" else {})}
