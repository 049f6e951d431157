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
    offset, ohm = lead_at(LAYOUT, ROUNDS, z, kind, sensitivities=False)
    return offset.value[..., 0], ohm.value[..., 0]


@given(COORDINATES, KINDS, KINDS)
def test_a_lead_of_another_kind_is_lifted_alike(
    coordinates: list[float], old: list[LeadKind], new: list[LeadKind]
) -> None:
    z = np.array([coordinates])
    z[:, LAYOUT.point(0)] = 0.0  # what a sound point adds is another coordinate's
    before, after = np.array([old], dtype=np.int64), np.array([new], dtype=np.int64)
    moved = lifted_alike(LAYOUT, z, before, after)
    assert lifted(moved, after)[0] == pytest.approx(lifted(z, before)[0], rel=1e-9, abs=1e-12)
    of_leads = [place for r in range(2) for place in LAYOUT.lead(r)]
    assert np.array_equal(np.delete(moved, of_leads, axis=1), np.delete(z, of_leads, axis=1))
    bad = (before != LeadKind.SOUND) & (after != LeadKind.SOUND)
    ohm, limit = lifted(z, before)[1], np.array([np.nan, 1e7, 1e8])
    floor = np.array([np.nan, 1e-2, 1.0])
    nearest = np.clip(ohm, floor[after], limit[after])
    assert lifted(moved, after)[1][bad] == pytest.approx(nearest[bad], rel=1e-6)


def test_steady_points_are_lifted_by_tenths_of_a_volt_and_a_few_by_volts() -> None:
    # Common practice, no source: 100 mV is suspect, and a missing strap lifts by volts.
    quantile = {0.5: (0.2, 0.35), 0.9: (1.0, 2.0), 0.99: (2.5, 6.0)}
    for share, (low, high) in quantile.items():
        z = np.zeros((1, LAYOUT.size))
        z[0, LAYOUT.lead(0)[0]] = math.sqrt(2.0) * _inverse_erf(share)
        volt = lifted(z, np.full((1, 2), int(LeadKind.STEADY)))[0][0, 0]
        assert low < volt < high


def test_a_bad_lead_has_anything_from_a_corroded_strap_to_a_clip_that_hangs_free() -> None:
    # Common practice, no source: a clip on paint or rust has ohms to kilohms, one that hangs free
    # the megohms of the insulation around it; a strap that lifts by its current, milliohms.
    z = np.zeros((1, LAYOUT.size))
    kind = np.array([[LeadKind.STEADY, LeadKind.WANDERING]], dtype=np.int64)
    for place, steady, wandering in (
        (-2.0, (1e-3, 0.1), (0.1, 2.0)),
        (0.0, (300.0, 320.0), (9e3, 1.1e4)),
        (2.0, (3e6, 1e8), (5e7, 1e9)),
    ):
        z[0, [LAYOUT.lead(r)[1] for r in range(2)]] = place
        for found, (low, high) in zip(lifted(z, kind)[1][0], (steady, wandering), strict=True):
            assert low < found < high
    assert not lifted(z, np.full((1, 2), int(LeadKind.SOUND)))[1].any()


def _inverse_erf(share: float) -> float:
    """By bisection: the share of a normal distribution within z is erf(z / sqrt 2)."""
    low, high = 0.0, 6.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if math.erf(middle) < share else (low, middle)
    return low
