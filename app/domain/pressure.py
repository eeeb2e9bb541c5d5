"""What the weights of a stack, and the layers in it, press with on a sheet."""

import math

G = 9.80665  # m/s2, standard gravity: declaration of the 3rd CGPM, 1901
INCH_M = 0.0254
SHEET_AREA_M2 = (11.5 * INCH_M) * (16.5 * INCH_M)  # the usual mounting sheet, 11.5 by 16.5 in


def pressure_pa(mass_kg: float, area_m2: float) -> float:
    """The pressure in pascal of a mass in kg lying evenly on an area in square metres: p = m g / A.

    Raises ValueError for a mass below 0 or an area that is not above 0, and for numbers that are not finite.
    """
    if not 0 <= mass_kg < math.inf:
        raise ValueError(f"Weights of {mass_kg} kg cannot be. Give their mass in kg, 0 or more.")
    if not 0 < area_m2 < math.inf:
        raise ValueError(f"A sheet of {area_m2} m² cannot be. Give its area in square metres, above 0.")
    return mass_kg * G / area_m2


def lowest_pa(mass_kg: float, sheets: int, layer_kg: float, area_m2: float) -> float:
    """The pressure in pascal on the lowest of so many sheets: the weights, and the layers that lie above it.

    A layer is a sheet with its release paper, foam and board, and weighs `layer_kg`. Without sheets nothing is pressed: 0.
    Raises ValueError as `pressure_pa` does.
    """
    return pressure_pa(mass_kg + (sheets - 1) * layer_kg, area_m2) if sheets else 0.0
