"""Air that a fuel needs: from atoms, against textbook tables."""

import pytest

from backprobe.core.engine.stoichiometry import FUELS, stoichiometric_ratio
from backprobe.errors import ValueOutOfRange

# Heywood (1988), appendix D (from memory), and computed from molar masses; methane 17.2 also in
# public tables. 0.02: two abridgements of the atomic masses.
RATIOS = {
    (8, 18, 0): 15.13,  # iso-octane
    (7, 16, 0): 15.18,  # n-heptane
    (7, 8, 0): 13.50,  # toluene
    (1, 4, 0): 17.24,  # methane
    (2, 6, 1): 9.00,  # ethanol
    (1, 4, 1): 6.47,  # methanol
    (3, 8, 0): 15.68,  # propane
    (0, 2, 0): 34.29,  # hydrogen
    (1, 1.87, 0): 14.60,  # petrol
}


@pytest.mark.parametrize(("atoms", "ratio"), RATIOS.items())
def test_ratio(atoms: tuple[float, float, float], ratio: float) -> None:
    assert stoichiometric_ratio(*atoms) == pytest.approx(ratio, abs=0.02)


def test_fuels_as_sold_lie_between_their_parts() -> None:
    petrol, alcohol = stoichiometric_ratio(1, 1.87), stoichiometric_ratio(2, 6, 1)
    tenth = 0.9 * petrol + 0.1 * alcohol * 789.0 / 745.0
    assert tenth < FUELS["petrol"].ratio < petrol
    assert alcohol < FUELS["ethanol"].ratio < petrol
    assert FUELS["cng"].ratio < stoichiometric_ratio(1, 4)
    assert FUELS["diesel"].ratio == pytest.approx(14.5, abs=0.1)  # common practice, no source


def test_ash_does_not_burn() -> None:
    with pytest.raises(ValueOutOfRange, match="need of oxygen"):
        stoichiometric_ratio(1, 0, 2)
