"""Transitions of known steps, exact and simulated."""

import dataclasses
import math
import subprocess
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from backprobe.core.waveform.levels import StateLevels, state_levels
from backprobe.core.waveform.transitions import measure_transitions, transitions_of

Array = NDArray[np.float64]

TAU = 1e3 * 100e-9  # s: 1 kohm, 100 nF
LEVELS = dataclasses.replace(
    state_levels(np.array([0.0, 1.0])),
    low_uncertainty=0.0,
    high_uncertainty=0.0,
    amplitude_uncertainty=0.0,
    noise_low=0.0,
    noise_high=0.0,
)


def between(low: float, high: float, noise: float = 0.0) -> StateLevels:
    return dataclasses.replace(
        LEVELS, state_level_low=low, state_level_high=high, noise_low=noise, noise_high=noise
    )


def charging(interval: float, n: int, lead: int = 50) -> Array:
    t = (np.arange(n) - lead) * interval
    return np.asarray(np.where(t > 0.0, 1.0 - np.exp(-np.maximum(t, 0.0) / TAU), 0.0))


@pytest.mark.parametrize(
    ("lower", "upper", "times"), [(10.0, 90.0, math.log(9.0)), (20.0, 80.0, math.log(4.0))]
)
def test_capacitor_charges_as_the_logarithm_has_it(
    lower: float, upper: float, times: float
) -> None:
    # RC step, theory: 10-90 % in RC ln 9 = 2.197225 RC = 219.72 us, 20-80 % in RC ln 4.
    interval = TAU / 5000
    found = transitions_of(
        charging(interval, 60_000), between(0.0, 1.0), interval=interval, lower=lower, upper=upper
    )
    assert found.is_rising.tolist() == [True]
    # A straight line over a 5000th of the time constant: (h / RC)^2 / 8 = 5e-9.
    assert found.transition_duration[0] == pytest.approx(times * TAU, rel=1e-7)
    assert found.slew[0] == pytest.approx((upper - lower) / 100.0 / (times * TAU), rel=1e-7)
    assert math.log(9.0) == pytest.approx(2.197225, abs=1e-6)
    assert math.log(4.0) == pytest.approx(1.386294, abs=1e-6)


def test_transition_duration_times_bandwidth() -> None:
    # First-order system, theory: ln 9 / (2 pi) = 0.34970.
    interval = TAU / 5000
    found = transitions_of(charging(interval, 60_000), between(0.0, 1.0), interval=interval)
    bandwidth = 1.0 / (2.0 * math.pi * TAU)
    assert found.transition_duration[0] * bandwidth == pytest.approx(0.34970, abs=1e-5)


@pytest.mark.needs_ngspice
def test_simulated_capacitor_charges_alike(tmp_path: Path) -> None:
    # The circuit simulator ngspice, transient of 1 kohm and 100 nF: 219.72 us to 0.01 %.
    deck, table = tmp_path / "step.cir", tmp_path / "step.txt"
    deck.write_text(
        "step\nV1 in 0 PULSE(0 5 10u 1n 1n 10m 20m)\nR1 in out 1k\nC1 out 0 100n\n"
        ".options reltol=1e-6\n.control\ntran 0.5u 1.6m 0 0.5u\nset wr_vecnames\n"
        f"wrdata {table} v(out)\nquit\n.endc\n.end\n",
        encoding="utf-8",
    )
    subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, check=False)
    time, volts = np.loadtxt(table, skiprows=1, unpack=True)
    interval = 0.5e-6
    even = np.interp(np.arange(0.0, 1.6e-3, interval), time, volts)
    found = transitions_of(even, between(0.0, 5.0), interval=interval)
    assert found.transition_duration[0] == pytest.approx(219.72e-6, rel=1e-4)


@given(st.floats(2.5, 20.0), st.floats(-5.0, 5.0), st.floats(0.5, 20.0), st.floats(0.0, 1.0))
@settings(max_examples=60, deadline=None)
def test_straight_edges_are_given_back(
    edge: float, low: float, amplitude: float, shift: float
) -> None:
    # 10 to 90 % of a straight edge is 0.8 of it, whatever the scale, offset and place.
    t = np.arange(400.0)
    corners = np.array([100.0, 100.0 + edge, 250.0, 250.0 + 2 * edge]) + shift
    x = low + amplitude * np.interp(t, corners, [0.0, 1.0, 1.0, 0.0])
    levels = between(low, low + amplitude)
    found = transitions_of(x, levels, interval=1e-3, lower=45.0, upper=55.0)
    assert found.is_rising.tolist() == [True, False]
    # Lines through samples off the edge's ends miss it; near its middle they meet it exactly.
    np.testing.assert_allclose(found.transition_duration, [0.1e-3 * edge, 0.2e-3 * edge], rtol=1e-6)
    turned = transitions_of(
        -x, between(-low - amplitude, -low), interval=1e-3, lower=45.0, upper=55.0
    )
    assert turned.is_rising.tolist() == [False, True]
    np.testing.assert_allclose(turned.transition_duration, found.transition_duration, rtol=1e-9)
    np.testing.assert_allclose(turned.slew, -found.slew, rtol=1e-9)


@pytest.mark.parametrize("damping", [0.2, 0.4, 0.6])
def test_overshoot_of_a_second_order_step(damping: float) -> None:
    # Textbook of control: peak exp(-pi z / sqrt(1 - z^2)) above the final value; the first trough
    # lies below it by the square of that.
    omega, interval = 1.0, 0.002
    own = omega * math.sqrt(1.0 - damping**2)
    t = (np.arange(40_000) - 2000) * interval
    late = np.maximum(t, 0.0)
    ring = np.exp(-damping * omega * late) * (
        np.cos(own * late) + damping * omega / own * np.sin(own * late)
    )
    x = np.where(t > 0.0, 1.0 - ring, 0.0)
    peak = math.exp(-math.pi * damping / math.sqrt(1.0 - damping**2))
    found = transitions_of(x, between(0.0, 1.0), interval=interval)
    assert found.overshoot[0] == pytest.approx(100.0 * peak, abs=1e-3)
    assert found.preshoot[0] == pytest.approx(0.0, abs=1e-9)
    # Undershoot counts from the end of the transition, at 90 %.
    assert found.undershoot[0] == pytest.approx(max(100.0 * peak**2, 10.0), abs=0.2)
    outside = np.flatnonzero(np.abs(x - 1.0) > 0.05)[-1]
    expected = t[outside + 1] - (found.instants[0] - 2000 * interval)
    assert found.settling_duration[0] == pytest.approx(expected, abs=1e-9)
    turned = transitions_of(-x, between(-1.0, 0.0), interval=interval)
    assert turned.overshoot[0] == pytest.approx(found.overshoot[0], abs=1e-9)
    assert turned.undershoot[0] == pytest.approx(found.undershoot[0], abs=1e-9)
    assert turned.settling_duration[0] == pytest.approx(found.settling_duration[0], abs=1e-9)


def test_preshoot_and_falls() -> None:
    x = np.interp(
        np.arange(200.0),
        [0, 40, 45, 50, 55, 60, 110, 115, 120, 125, 130, 199],
        [0, 0, -0.2, 0, 1, 1, 1, 1.3, 1, 0, 0, 0],
    )
    found = transitions_of(x, between(0.0, 1.0), interval=1.0)
    np.testing.assert_allclose(found.preshoot, [20.0, 30.0], atol=1e-9)
    np.testing.assert_allclose(found.overshoot, [0.0, 0.0], atol=1e-9)


def test_runts_from_either_state() -> None:
    corners = [0, 20, 22, 24, 40, 42, 60, 62, 64, 80, 82, 99]
    x = np.interp(np.arange(100.0), corners, [0, 0, 0.7, 0, 0, 1, 1, 0.4, 1, 1, 0, 0])
    found = transitions_of(x, between(0.0, 1.0), interval=1.0)
    # By hand: 10 % of a rise of 0.35 a sample, 90 % of a fall of 0.3 a sample.
    np.testing.assert_allclose(found.runt_instants, [20 + 0.1 / 0.35, 60 + 0.1 / 0.3], rtol=1e-9)
    np.testing.assert_allclose(found.runt_durations, [4 - 0.2 / 0.35, 4 - 0.2 / 0.3], rtol=1e-9)
    assert np.isnan(found.transition_duration).sum() == 4  # to and from either runt


@pytest.mark.parametrize("noise", [0.005, 0.02])
def test_uncertainty_covers_the_true_duration(noise: float) -> None:
    rng = np.random.default_rng(31)
    hits = []
    for _ in range(60):
        period, edge = 200.0, rng.uniform(30.0, 60.0)
        phase = (np.arange(4000) + rng.uniform(0.0, 200.0)) % period
        x = np.clip(np.minimum(phase, 100.0 + edge - phase) / edge, 0.0, 1.0)
        x += rng.normal(0.0, noise, x.size)
        found = transitions_of(x, between(0.0, 1.0, noise), interval=1.0)
        there = ~np.isnan(found.transition_duration)
        off = np.abs(found.transition_duration - 0.8 * edge)[there]
        hits.append(np.mean(off <= 1.96 * found.duration_uncertainty[there]))
    assert 0.90 < np.mean(hits) < 0.99


def test_long_record_is_measured_in_pieces() -> None:
    phase = np.arange(1_200_000) % 5000.0
    x = np.clip(np.minimum(phase / 10.0, (2500.0 - phase) / 40.0), 0.0, 1.0)
    levels = between(0.0, 1.0)
    found = measure_transitions(x, levels, interval=1e-6, start=3.0)
    rising, falling = found.transition_duration
    assert rising.count == pytest.approx(240, abs=2)
    assert rising.mean == pytest.approx(8e-6, rel=1e-6)
    assert falling.mean == pytest.approx(32e-6, rel=1e-6)
    assert found.slew[1].mean == pytest.approx(-0.8 / 32e-6, rel=1e-6)
    assert rising.instants[0] == pytest.approx(3.0 + 5e-6, abs=1e-9)
    assert found.runts.count == 0
    streamed = measure_transitions(iter(np.split(x, [7, 99_999])), levels, interval=1e-6, start=3.0)
    assert streamed.transition_duration[0].values.tolist() == rising.values.tolist()


def test_one_level_has_no_transitions() -> None:
    found = transitions_of(np.full(50, 2.0), state_levels(np.full(50, 2.0)), interval=1.0)
    assert found.instants.size == 0
    assert found.settling_duration.size == 0
