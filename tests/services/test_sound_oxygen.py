"""Sound oxygen cells on a lifted sensor ground, their swings counted.

Invented sheets. A control unit may hold a cell's return some volts above ground; a warm cell swings
between some tenths of a volt a few times in a second (common practice, no source).
"""

from dataclasses import replace

import pytest

from backprobe.job import Indication, Job, Round
from backprobe.services.explain import explain, posterior_of
from backprobe.vocabulary import NO_FAULT
from tests.services.sheets import job, taken, unplugged
from tests.services.test_sound_habits import first

DIAGRAM = {
    "A": "generator-signal",
    "B": "supply-battery",
    "C": "heater-control",
    "D": "generator-return",
}


def lifted_cell(shift: float, driver: float, ohm: float, swings: float) -> Job:
    """A heated cell whose return stands at 1.49 V and ``shift``; its heater is pulsed."""
    signal, back = 1.910 + shift, 1.492 + shift
    apart = unplugged(
        "A",
        {"A": signal, "B": 12.56, "C": 2.40, "D": back},
        loaded={"B": 12.57, "C": 0.209},
        battery=12.68,
        check=12.68,
    )
    apart = replace(apart, black_lead="engine block", sensor_ohms={("B", "C"): Indication(ohm)})
    standing = {"A": signal + 0.008, "B": 12.58, "C": driver, "D": back + 0.008}
    mated = Round(
        "B",
        plugged=True,
        key="on",
        black_lead="engine block",
        battery_volts=Indication(12.74),
        black_lead_check=Indication(12.75),
        volts=taken(standing),
    )
    turning = replace(
        mated,
        name="C",
        key="run",
        rpm=820.0,
        battery_volts=Indication(12.44),
        black_lead_check=Indication(12.40),
        volts=taken({"A": signal - 0.02, "B": 12.20, "C": 1.01, "D": back - 0.028}),
        hertz=taken({"A": swings}),
        duty_percent=taken({"A": 45.0}),
    )
    whole = job("ABCD", apart, mated, turning)
    terminals = tuple(replace(t, diagram=DIAGRAM[t.pin]) for t in whole.connector.terminals)
    return replace(whole, connector=replace(whole.connector, terminals=terminals))


@pytest.mark.parametrize(
    ("shift", "driver", "ohm", "swings"),
    [(0.0, 6.73, 15.1, 2.18), (-0.02, 6.60, 14.8, 2.20), (0.0, 6.70, 15.0, 2.0)],
)
def test_a_cell_whose_swings_are_counted_is_sound_though_its_return_is_lifted(
    shift: float, driver: float, ohm: float, swings: float
) -> None:
    assert first(explain(lifted_cell(shift, driver, ohm, swings))).fault == "none"


def test_no_fault_of_a_circuit_comes_far_nearer_than_the_circuit_without_it() -> None:
    # Its sheet is sound: what a fault finds in it, the circuit unharmed explains as well.
    posterior = posterior_of(lifted_cell(-0.02, 6.60, 14.8, 2.20))
    fits, pairs = posterior.fits[0], posterior.bench.hypotheses.pairs
    total = fits.log_evidence + posterior.bench.hypotheses.table.log_prior[fits.hypothesis]
    best = int(total.argmax())
    family = pairs[int(fits.hypothesis[best])][0].id
    is_sound = [
        pairs[int(h)][0].id == family and pairs[int(h)][1].kind == NO_FAULT for h in fits.hypothesis
    ]
    assert fits.log_posterior[is_sound].max() > fits.log_posterior[best] - 4.0
