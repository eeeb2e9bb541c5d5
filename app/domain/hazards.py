"""Dangers that travel with a sheet, each with the usual caution; local rules and licensed practice come first."""

from __future__ import annotations

DEFERS = "General cautions only. Your institution's safety rules, its risk assessment and licensed practice come first."

CAUTIONS: dict[str, str] = {
    "historic": "May have been treated with mercury or arsenic. Do not open it here; ask the manager.",
    "irritant": "Sap or hairs irritate the skin: gloves on.",
    "spines": "Spines: thick gloves.",
    "mould": "Mould: gloves and mask, away from the others.",
    "naphthalene": "Smells of mothballs: air it, gloves on.",
    "pins": "Sharp pins in the folder.",
}
