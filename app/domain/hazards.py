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

# What each is called, in a word or two: on pages and in the history. The sign stands on a cabinet's label.
HAZARD_WORDS: dict[str, str] = {
    "historic": "mercury or arsenic suspected",
    "irritant": "irritant plant",
    "spines": "spines",
    "mould": "mould",
    "naphthalene": "naphthalene or PDB smell",
    "pins": "sharp pins",
}
SIGN = "Suspected sheets: mercury or arsenic. Ask the manager before you open it."
