"""What the black lead's point does to a round: how far it lifts, and what it leaves."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.inference.black_lead import LeadKind, lead_at, lifted_alike
from backprobe.core.inference.layout import Layout
from backprobe.core.inference.sheet import Array, IntArray
from tests.core.inference.small_sheets import KEY_ON, UNPLUGGED, sheet

ROUNDS = sheet(2, (UNPLUGGED, KEY_ON))
LAYOUT = Layout(n_free=1, states=(0,), n_driven=1, ends=((0,), (0,)))
KINDS = st.lists(st.sampled_from(LeadKind), min_size=2, max_size=2)
COORDINATES = st.lists(st.floats(-4.0, 4.0), min_size=LAYOUT.size, max_size=LAYOUT.size)


def lifted(z: Array, kind: IntArray) -> tuple[Array, Array]:
    offset, gain = lead_at(LAYOUT, ROUNDS, z, kind, sensitivities=False)
    return offset.value[..., 0], gain.value[..., 0]


@given(COORDINATES, KINDS, KINDS)
def test_a_lead_of_another_kind_is_lifted_alike(
    coordinates: list[float], old: list[LeadKind], new: list[LeadKind]
) -> None:
    z = np.array([coordinates])
    z[:, LAYOUT.point(0)] = 0.0  # what a sound point adds is another coordinate's
    before, after = np.array([old], dtype=np.int64), np.array([new], dtype=np.int64)
    moved = lifted_alike(LAYOUT, z, before, after)
    assert lifted(moved, after)[0] == pytest.approx(lifted(z, before)[0], rel=1e-9, abs=1e-12)
    of_leads = [LAYOUT.lead(r)[0] for r in range(2)]
    assert np.array_equal(np.delete(moved, of_leads, axis=1), np.delete(z, of_leads, axis=1))


def test_steady_points_are_lifted_by_tenths_of_a_volt_and_a_few_by_volts() -> None:
    # Common practice, no source: 100 mV is suspect, and a missing strap lifts by volts.
    quantile = {0.5: (0.2, 0.35), 0.9: (1.0, 2.0), 0.99: (2.5, 6.0)}
    for share, (low, high) in quantile.items():
        z = np.zeros((1, LAYOUT.size))
        z[0, LAYOUT.lead(0)[0]] = math.sqrt(2.0) * _inverse_erf(share)
        volt = lifted(z, np.full((1, 2), int(LeadKind.STEADY)))[0][0, 0]
        assert low < volt < high


def test_only_a_lead_that_hardly_touches_divides() -> None:
    z = np.zeros((1, LAYOUT.size))
    for place, low, high in ((-2.5, -0.05, 0.05), (0.0, 0.5, 0.6), (2.0, 0.95, 1.1)):
        z[0, [LAYOUT.lead(r)[1] for r in range(2)]] = place
        kind = np.array([[LeadKind.STEADY, LeadKind.WANDERING]], dtype=np.int64)
        steady, wandering = lifted(z, kind)[1][0]
        assert steady == 1.0
        assert low < wandering < high


def _inverse_erf(share: float) -> float:
    """By bisection: the share of a normal distribution within z is erf(z / sqrt 2)."""
    low, high = 0.0, 6.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if math.erf(middle) < share else (low, middle)
    return low
