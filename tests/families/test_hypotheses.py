"""How far the values of stacked circuits go."""

import numpy as np
import pytest
from scipy.special import ndtr

from backprobe.core.inference.prior import to_values
from backprobe.families.circuit import compile_family
from backprobe.families.faults import HEALTHY, faults_of
from backprobe.families.hypotheses import stack_circuits
from backprobe.families.loader import load_families
from backprobe.families.schema import STATES

FAMILIES = {family.id: family for family in load_families()}
# A semiconductor maker's tutorial: a sound output clamps at about 4 and 96 % of its supply.
LEAST, MOST = 0.03, 0.96
OUTPUTS = [
    (family.id, name)
    for family in FAMILIES.values()
    for name in sorted({e.parameters["ratio"] for e in family.elements if "ratio" in e.parameters})
    if not family.id.startswith("air-mass")  # amplifiers without clamps
]


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize(("family", "name"), OUTPUTS)
def test_a_sound_output_keeps_off_both_ends_of_its_supply(
    family: str, name: str, state: str
) -> None:
    circuit = compile_family(FAMILIES[family], HEALTHY)
    prior = stack_circuits([circuit], np.zeros(1), len(FAMILIES[family].wires)).driven_prior
    place = sorted(circuit.driven, key=lambda each: each != "battery-volts").index(name)
    z = np.linspace(-5.0, 5.0, 2001)
    row = prior.in_states(np.array([STATES.index(state)])).laid_out().rows(np.zeros(2001, int))
    values, _ = to_values(row, np.repeat(z[:, None], row.centre.shape[1], axis=1))
    mine = values[:, place]
    assert LEAST <= mine.min() < mine.max() <= MOST
    # Hardly heaped on them: a uniform prior's soft edges alone reach that far.
    chance = np.diff(ndtr(z), append=1.0)
    assert chance[(mine == LEAST) | (mine == MOST)].sum() < 0.2


@pytest.mark.parametrize(("family", "name"), OUTPUTS)
def test_one_that_is_stuck_may_stand_at_either_end(family: str, name: str) -> None:
    stuck = next(f for f in faults_of(FAMILIES[family]) if f.kind == "sensor-stuck")
    moved = [d for d in compile_family(FAMILIES[family], stuck).driven.values() if d.always]
    of_output = [d for d in moved if d.unit == "share" and d.limits is None]
    assert of_output, name
    for each in of_output:
        assert each.always is not None
        assert each.always.a < LEAST < MOST < each.always.b
