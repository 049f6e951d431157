"""What is looked at beside the explanations that are known."""

from dataclasses import replace

import numpy as np
import pytest

from backprobe.core.inference.fit import Fit
from backprobe.job import Indication, Round
from backprobe.services.engine import Posterior
from backprobe.services.explain import explain, posterior_of
from backprobe.services.nearby import (
    N_FAMILY,
    best_of_families,
    gone_around,
    nearest_rivals,
)
from backprobe.vocabulary import NO_FAULT
from tests.services.sheets import after, job, taken, unplugged


def test_terminals_are_exchanged_in_more_families_than_the_best() -> None:
    # Both wires near ground: which of two is the return is open in every family alike.
    posterior = posterior_of(job("12", unplugged("A", {"1": 0.004, "2": 0.003})))
    bench, sheet, fits = posterior.bench, posterior.problem.sheet, posterior.fits[0]
    leading = best_of_families(bench, fits, N_FAMILY)
    rivals = nearest_rivals(bench, sheet, fits)
    for row in leading:
        same = rivals.hypothesis == fits.hypothesis[row]
        kept = {tuple(wires) for wires in rivals.assigned[same].tolist()}
        own = fits.assigned[row].tolist()
        assert tuple(own[::-1]) in kept, bench.hypotheses.pairs[int(fits.hypothesis[row])][0].id


def total(posterior: Posterior, fits: Fit) -> np.ndarray:
    return fits.log_evidence + posterior.bench.hypotheses.table.log_prior[fits.hypothesis]


def known(posterior: Posterior, fits: Fit) -> dict[tuple[str, str, tuple[int, ...]], float]:
    """The best of each explanation: its family, fault and wires."""
    best: dict[tuple[str, str, tuple[int, ...]], float] = {}
    for h, wires, value in zip(fits.hypothesis, fits.assigned, total(posterior, fits), strict=True):
        family, fault = posterior.bench.hypotheses.pairs[int(h)]
        key = (family.id, fault.title, tuple(wires.tolist()))
        best[key] = max(value, best.get(key, -np.inf))
    return best


def ratiometric() -> Posterior:
    """A signal at a quarter of its 5 V: a track's, or a pressure sensor's of several ranges."""
    free = unplugged("A", {"1": 5.0, "2": 0.005, "3": 0.001}, loaded={"1": 4.98})
    rest = Round("B", plugged=True, key="on", volts=taken({"1": 5.0, "2": 0.006, "3": 1.24}))
    return posterior_of(job("123", free, rest))


@pytest.mark.parametrize("given", range(4))
def test_from_one_of_the_best_its_relatives_are_found(given: int) -> None:
    # Whatever a search hits on first, what stands next to it is found from there as well.
    posterior = ratiometric()
    fits, pairs = posterior.fits[0], posterior.bench.hypotheses.pairs
    whole = known(posterior, fits)
    likely = {k for k, v in whole.items() if v > max(whole.values()) - 1.5 and k[1] == NO_FAULT}
    assert len({family for family, *_ in likely}) > 2
    sound = [n for n, h in enumerate(fits.hypothesis) if pairs[int(h)][1].kind == NO_FAULT]
    row = sorted(sound, key=lambda n: -total(posterior, fits)[n])[given]
    one = fits.rows(np.array([row]))
    found = known(posterior, gone_around(posterior.bench, posterior.problem.sheet, one))
    assert {k for k in likely if found.get(k, -np.inf) > whole[k] - 0.5} == likely


def test_nothing_is_lost_around() -> None:
    posterior = after("thermistor")
    fits = posterior.fits[0].rows(np.arange(5))
    further = gone_around(posterior.bench, posterior.problem.sheet, fits)
    np.testing.assert_array_equal(further.hypothesis[:5], fits.hypothesis)
    np.testing.assert_array_equal(further.log_evidence[:5], fits.log_evidence)


@pytest.mark.parametrize("battery", [11.8, 12.4])
def test_a_dead_supply_may_have_been_of_either_kind(battery: float) -> None:
    # Common practice, no source: what is missing has no voltage that tells what it was.
    volts = {"1": -0.004, "2": 5.02, "3": 0.16}
    apart = unplugged("A", volts, loaded={"2": 1.72}, battery=battery, check=battery)
    mated = replace(apart, name="B", plugged=True, volts=taken(volts | {"3": -0.003}))
    turning = replace(mated, name="C", key="crank", rpm=170.0, volts_loaded={})
    low = Indication(10.6)
    turning = replace(turning, battery_volts=low, black_lead_check=low)
    answer = explain(job("123", apart, replace(mated, volts_loaded={}), turning))
    roles = next(terminal for terminal in answer.terminals if terminal.pin == "3").roles
    assert min(roles["supply-battery"], roles["supply-regulated"]) > 0.2
    dead = [f.probability for f in answer.faults if f.fault.startswith("open:supply")]
    assert len(dead) == 2
    assert sum(dead) > 0.9
