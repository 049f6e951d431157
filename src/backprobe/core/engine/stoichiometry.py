"""How much air a fuel needs to burn just so."""

from dataclasses import dataclass
from typing import Final

from backprobe.core.engine.array_checks import require_between

# Dry air: molar mass and share of oxygen, [picard2008]; atomic masses of IUPAC, abridged.
_AIR_MOLAR_MASS: Final = 28.96546e-3  # kg/mol
_OXYGEN_SHARE: Final = 0.2095
_CARBON, _HYDROGEN, _OXYGEN = 12.011e-3, 1.008e-3, 15.999e-3  # kg/mol


@dataclass(frozen=True, slots=True)
class Fuel:
    """What is known of a fuel as it is sold.

    Parameters
    ----------
    ratio : float
        Stoichiometric air-fuel ratio by mass.
    ratio_uncertainty : float
        Its standard uncertainty as a share: blends differ from pump to pump.
    density : float
        kg/m³ at 15 °C; of the liquid.
    density_uncertainty : float
        Its standard uncertainty as a share.
    """

    ratio: float
    ratio_uncertainty: float
    density: float
    density_uncertainty: float


def stoichiometric_ratio(carbon: float, hydrogen: float, oxygen: float = 0.0) -> float:
    """Mass of air that burns a mass of fuel without rest of either.

    Parameters
    ----------
    carbon, hydrogen, oxygen : float
        Atoms in the fuel's molecule, or mean numbers of a blend.

    Returns
    -------
    float
        Air-fuel ratio by mass.

    Raises
    ------
    ValueOutOfRange
        A number is negative, or the fuel can't burn.

    Notes
    -----
    C_c H_h O_o + (c + h/4 - o/2) O2; air is counted with its own molar mass (argon included), not
    as 28 for nitrogen and 3.76 to 1, which gives 0.6 % less. [heywood1988, section 3.4].
    """
    c = float(require_between(carbon, 0.0, 1e3, "number of carbon atoms", ""))
    h = float(require_between(hydrogen, 0.0, 1e3, "number of hydrogen atoms", ""))
    o = float(require_between(oxygen, 0.0, 1e3, "number of oxygen atoms", ""))
    need = c + h / 4.0 - o / 2.0  # mol of oxygen a mol of fuel
    require_between(need, 0.0, 1e4, "need of oxygen", "mol", is_open=True)
    fuel = c * _CARBON + h * _HYDROGEN + o * _OXYGEN
    return need / _OXYGEN_SHARE * _AIR_MOLAR_MASS / fuel


# Compositions: petrol CH1.87 and diesel CH1.80 ([heywood1988], appendix D, from memory); liquefied
# gas as propane, natural gas as methane, ethanol fuel as 85 % ethanol. Petrol is sold with up to a
# tenth of ethanol, which takes 4 % off its ratio, so petrol lies between 14.0 and 14.6. Densities
# and uncertainties: common practice, no source.
FUELS: Final[dict[str, Fuel]] = {
    "petrol": Fuel(14.4, 0.015, 745.0, 0.015),
    "diesel": Fuel(stoichiometric_ratio(1, 1.80), 0.010, 835.0, 0.012),
    "lpg": Fuel(stoichiometric_ratio(3, 8), 0.010, 540.0, 0.03),
    "cng": Fuel(16.8, 0.030, 0.74, 0.06),
    "ethanol": Fuel(9.8, 0.040, 785.0, 0.015),
}
