"""The weights of a stack: what they weigh, in how many pieces, and how they are lifted."""

from __future__ import annotations

import math

from app.domain.language import mark, say, say_n

LIFTING = mark("Lift one piece at a time, and never move a stack with its weights on.")
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
        raise ValueError(
            say("Weights are said in kilograms, from 0 to {most}, as 12 or {example}.", most=HEAVIEST_KG, example=12.5)
        )
    return mass_kg


def mass_words(mass_kg: float, pieces: int) -> str:
    """What the weights are, in a few words: "12 kg in 4 pieces, 3 kg each"; empty where nobody has weighed them."""
    if not mass_kg:
        return ""
    if pieces <= 1:
        return say("{mass:g} kg in 1 piece", mass=mass_kg)
    return say_n(
        "{mass:g} kg in {n} piece, {each:.3g} kg each", "{mass:g} kg in {n} pieces, {each:.3g} kg each",
        pieces, mass=mass_kg, each=mass_kg / pieces,
    )  # fmt: skip


def too_heavy(mass_kg: float, pieces: int, stack_kg: int, piece_kg: int) -> tuple[str, ...]:
    """A sentence for each of the house's limits, in kilograms, that these weights are over: on a stack, and in one piece."""
    said = []
    if mass_kg > stack_kg:
        said.append(
            say(
                "{mass:g} kg is more than the house's {most} kg on one stack: lighten it, one piece at a time.",
                mass=mass_kg,
                most=stack_kg,
            )
        )
    if mass_kg / max(pieces, 1) > piece_kg:
        said.append(
            say(
                "A piece of {mass:.3g} kg is more than the house's {most} kg to lift: two people, or smaller pieces.",
                mass=mass_kg / max(pieces, 1),
                most=piece_kg,
            )
        )
    return tuple(said)
