"""The weights of a stack: what they weigh, in how many pieces, and how they are lifted."""

from __future__ import annotations

import math

LIFTING = "Lift one piece at a time, and never move a stack with its weights on."
HEAVIEST_KG = 200


def mass_said(value: object) -> float:
    """A mass in kilograms as somebody says it: a number, or one typed with a point or a comma.

    ValueError, in a sentence, for what is no number, or does not lie between 0 and 200 kg.
    """
    text = str(value).strip().casefold().removesuffix("kg").strip().replace(",", ".")
    try:
        mass_kg = float(text) if text.isascii() and "_" not in text else math.nan
    except ValueError:
        mass_kg = math.nan
    if not 0 <= mass_kg <= HEAVIEST_KG:
        raise ValueError(f"Weights are said in kilograms, from 0 to {HEAVIEST_KG}, as 12 or 12.5.")
    return mass_kg


def mass_words(mass_kg: float, pieces: int) -> str:
    """What the weights are, in a few words: "12 kg in 4 pieces, 3 kg each"; empty where nobody has weighed them."""
    if not mass_kg:
        return ""
    many = f" in {pieces} pieces, {mass_kg / pieces:.3g} kg each" if pieces > 1 else " in 1 piece"
    return f"{mass_kg:g} kg{many}"


def too_heavy(mass_kg: float, pieces: int, stack_kg: int, piece_kg: int) -> tuple[str, ...]:
    """A sentence for each of the house's limits, in kilograms, that these weights are over: on a stack, and in one piece."""
    said = []
    if mass_kg > stack_kg:
        said.append(
            f"{mass_kg:g} kg is more than the house's {stack_kg} kg on one stack: lighten it, one piece at a time."
        )
    if mass_kg / max(pieces, 1) > piece_kg:
        each = f"{mass_kg / max(pieces, 1):.3g} kg"
        said.append(f"A piece of {each} is more than the house's {piece_kg} kg to lift: two people, or smaller pieces.")
    return tuple(said)
