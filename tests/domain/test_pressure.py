"""What the weights press with."""

import math

import pytest

from app.domain.pressure import SHEET_AREA_M2, G, lowest_pa, pressure_pa

POUND_KG = 0.45359237  # international pound of 1959, from memory
PSI_PA = 6894.757293168  # follows from pound, inch and standard gravity


def test_standard_gravity_is_that_of_the_third_general_conference() -> None:
    assert pytest.approx(980.665, rel=1e-15) == G * 100  # cm/s2: 3rd CGPM 1901, declaration, point 3 (BIPM)


def test_a_sheet_of_eleven_and_a_half_by_sixteen_and_a_half_inches_has_its_area() -> None:
    # The size "most herbaria use": a conservator's page. The area follows from 25.4 mm to the inch.
    assert pytest.approx(0.12241911, abs=1e-12) == SHEET_AREA_M2
    assert pytest.approx(189.75, rel=1e-12) == SHEET_AREA_M2 / 0.0254**2


@pytest.mark.parametrize(
    ("mass_kg", "pascal"),  # derived from p = m g / A, recomputed with scipy.constants
    [(0, 0), (1, 80.10718), (5, 400.53591), (10, 801.07183), (20, 1602.14365), (25, 2002.67957), (12.483275, 1000)],
)
def test_weights_press_by_their_mass(mass_kg: float, pascal: float) -> None:
    assert pressure_pa(mass_kg, SHEET_AREA_M2) == pytest.approx(pascal, abs=5e-5)


@pytest.mark.parametrize(("pounds", "psi", "pascal"), [(10, 0.0527009, 363.36007), (20, 0.1054018, 726.72014)])
def test_pounds_on_square_inches_give_the_same(pounds: float, psi: float, pascal: float) -> None:
    pressure = pressure_pa(pounds * POUND_KG, SHEET_AREA_M2)
    assert pressure == pytest.approx(pascal, abs=6e-6)
    assert pressure / PSI_PA == pytest.approx(psi, abs=6e-8)


def test_twice_the_area_halves_the_pressure() -> None:
    assert pressure_pa(10, 2 * SHEET_AREA_M2) == pytest.approx(pressure_pa(5, SHEET_AREA_M2), rel=1e-15)


@pytest.mark.parametrize("mass_kg", [-0.001, math.nan, math.inf])
def test_a_mass_that_cannot_be_is_refused(mass_kg: float) -> None:
    with pytest.raises(ValueError, match="Give their mass in kg, 0 or more"):
        pressure_pa(mass_kg, SHEET_AREA_M2)


@pytest.mark.parametrize("area_m2", [0, -0.1, math.nan, math.inf])
def test_an_area_that_cannot_be_is_refused(area_m2: float) -> None:
    with pytest.raises(ValueError, match="Give its area in square metres, above 0"):
        pressure_pa(10, area_m2)


@pytest.mark.parametrize(("sheets", "pascal"), [(0, 0), (1, 961.28619), (2, 977.30763), (20, 1265.69349)])
def test_on_the_lowest_sheet_lie_the_layers_above_it_too(sheets: int, pascal: float) -> None:
    # By hand: (12 + (n - 1) 0.2) kg x 9.80665 m/s2 / (0.2921 m x 0.4191 m).
    assert lowest_pa(12, sheets, 0.2, SHEET_AREA_M2) == pytest.approx(pascal, abs=5e-5)


def test_a_single_sheet_is_pressed_by_the_weights_alone() -> None:
    assert lowest_pa(12, 1, 0.2, SHEET_AREA_M2) == pressure_pa(12, SHEET_AREA_M2)
