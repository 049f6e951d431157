"""Coordinates carried from one circuit to another: names, volts, ohms and options stay."""

import numpy as np
import pytest
from numpy.typing import NDArray

from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import Layout, layout_of
from backprobe.core.inference.prior import to_values
from backprobe.services.bank_cache import Workbench
from backprobe.services.shared_values import FURTHEST, carried_over, moved
from backprobe.vocabulary import NO_FAULT
from tests.services.sheets import after

Array = NDArray[np.float64]


def bench_and_layout(name: str) -> tuple[Workbench, Layout]:
    posterior = after(name)
    table = posterior.bench.hypotheses.table
    return posterior.bench, layout_of(table, posterior.problem.sheet)


def static_values(table: HypothesisTable, h: int, z: Array, layout: Layout) -> Array:
    return np.asarray(to_values(table.rows(np.array([h])).static, z[None, : layout.n_free])[0][0])


def of_family(bench: Workbench, name: str) -> tuple[int, NDArray[np.int64]]:
    """Unharmed circuit of a family, and all of it."""
    own = bench.hypotheses.of_family(name)
    pairs = bench.hypotheses.pairs
    return next(int(h) for h in own if pairs[h][1].kind == NO_FAULT), own


def test_values_carried_to_another_fault_keep_their_names() -> None:
    posterior = after("thermistor")
    bench, sheet = posterior.bench, posterior.problem.sheet
    table = bench.hypotheses.table
    family = bench.hypotheses.pairs[int(posterior.fits[0].hypothesis[0])][0]
    same = bench.hypotheses.of_family(family.id)
    source, z = int(posterior.fits[0].hypothesis[0]), posterior.fits[0].z[0]
    layout = layout_of(table, sheet)
    carried = moved(bench, layout, source, z, np.array([source]))
    known = bench.hypotheses.free_name[source] >= 0
    assert carried[0, : layout.n_free][known] == pytest.approx(z[: layout.n_free][known])
    # Carried back and forth, nothing is lost that both have.
    back = moved(bench, layout, int(same[1]), moved(bench, layout, source, z, same[1:2])[0], same)
    mine = list(same).index(source)
    shared = np.isin(bench.hypotheses.free_name[source], bench.hypotheses.free_name[same[1]])
    assert back[mine, : layout.n_free][known & shared] == pytest.approx(
        z[: layout.n_free][known & shared]
    )


def test_a_value_stays_however_likely_it_is_with_another_fault() -> None:
    bench, layout = bench_and_layout("thermistor")
    table, hypotheses = bench.hypotheses.table, bench.hypotheses
    sound, own = of_family(bench, "thermistor-two-wire")
    z = np.random.default_rng(1).normal(0.0, 1.5, layout.size)
    carried, told = carried_over(bench, layout, sound, z, own)
    known = static_values(table, sound, z, layout)
    names = [int(n) for n in hypotheses.free_name[sound]]
    compared = moved_on = 0
    for row, h in enumerate(own):
        found = static_values(table, int(h), carried[row], layout)
        for f, free in enumerate(hypotheses.free_name[h]):
            is_told = free >= 0 and int(free) in names
            assert told[row, f] == is_told
            if not is_told or f == table.severity_at[h] or abs(carried[row, f]) == FURTHEST:
                continue
            assert found[f] == pytest.approx(known[names.index(int(free))], rel=1e-6)
            compared += 1
            moved_on += carried[row, f] != z[names.index(int(free))]
    assert compared > 20
    assert moved_on > 0  # a drifted one is drawn from a wider range


def test_an_output_that_stands_still_starts_where_it_was_read() -> None:
    # Nearly five deviations beyond a sound sensor's: in the middle of what a stuck one may show.
    bench, layout = bench_and_layout("unchecked and low")
    table, pairs = bench.hypotheses.table, bench.hypotheses.pairs
    sound, own = of_family(bench, "air-mass-voltage-three-wire")
    stuck = next(int(h) for h in own if pairs[h][1].kind == "sensor-stuck")
    q = _narrowest(table, sound)
    name = int(bench.hypotheses.driven_name[sound, q])
    to = list(bench.hypotheses.driven_name[stuck]).index(name)
    state = layout.states[0]
    z = np.zeros(layout.size)
    z[layout.base(state).start + q] = 3.0
    carried = moved(bench, layout, sound, z, np.array([stuck]))[0]
    value = _driven_value(table, sound, state, q, 3.0)
    at = carried[layout.base(state).start + to]
    assert abs(at) < 1.5
    assert _driven_value(table, stuck, state, to, at) == pytest.approx(value, rel=1e-6)


def _narrowest(table: HypothesisTable, h: int) -> int:
    """The driven quantity that is known best with the key on: an air-mass sensor's, of no flow."""
    width = np.where(table.driven_slot[h] >= 0, table.driven_prior.scale[h, 0], np.inf)
    width = np.where(width > 0, width, np.inf)
    return int(np.argmin(np.where(table.driven_prior.is_uniform[h, 0], np.inf, width)))


def _driven_value(table: HypothesisTable, h: int, state: int, q: int, z: float) -> float:
    prior = table.driven_prior
    row = type(prior)(*(getattr(prior, n)[h, state, [q]] for n in type(prior).__dataclass_fields__))
    return float(to_values(row, np.array([z]))[0][0])
