import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.demodulation import ModulationVerdict, demodulated
from backprobe.errors import ValueOutOfRange
from tests.core.waveform.signals import Array, sent_falling_edges, switching_edges, wheel_edges


@given(st.floats(30.0, 12_000.0), st.floats(0.1, 0.9), st.integers(1, 10))
def test_a_steady_signal_comes_back(frequency: float, duty: float, n_cycle: int) -> None:
    up, down = switching_edges(lambda t: frequency + 0.0 * t, 40.0 / frequency, duty=duty)
    found = demodulated(up, down, n_cycle)
    assert found.verdict is ModulationVerdict.CLEAR
    # Instants come from an interpolated integral of frequency: 1e-6.
    np.testing.assert_allclose(found.frequency, frequency, rtol=1e-5)
    np.testing.assert_allclose(found.duty, duty, atol=1e-4)


def test_an_air_mass_frequency_is_followed() -> None:
    # From idle, 2.2 kHz, to a snap of 6 kHz within a tenth of a second (a published table of one
    # sensor: 20 kg/h 2.21 kHz, 370 kg/h 6.03 kHz).
    def frequency(time: Array) -> Array:
        return np.asarray(2200.0 + 1900.0 * (1.0 + np.tanh((time - 0.5) / 0.05)))

    found = demodulated(*switching_edges(frequency, 1.0), n_cycle=4)
    true = frequency(found.instants)
    # Four cycles are 2 ms at most: the curvature over them is below 0.1 %.
    np.testing.assert_allclose(found.frequency, true, rtol=2e-3)
    assert found.gaps == ()


def test_smoothing_by_cycles_and_its_uncertainty() -> None:
    up, down = switching_edges(lambda t: 2000.0 + 0.0 * t, 2.0, jitter=2e-6)
    for n_cycle in (1, 5, 20):
        found = demodulated(up, down, n_cycle)
        # Two edges of 2 us each over n periods; the estimate is from thousands of cycles.
        expected = 2000.0**2 * 2e-6 * np.sqrt(2.0) / n_cycle
        assert found.frequency_uncertainty == pytest.approx(expected, rel=0.1)
        assert found.frequency.std() == pytest.approx(expected, rel=0.15)


def test_a_gap_is_no_low_frequency() -> None:
    up, down = switching_edges(lambda t: 1000.0 + 0.0 * t, 1.0)
    keep = (up < 0.4) | (up > 0.45)
    keep_down = (down < 0.4) | (down > 0.45)
    found = demodulated(up[keep], down[keep_down], 3)
    assert found.verdict is ModulationVerdict.GAPS
    assert len(found.gaps) == 1
    assert found.gaps[0].start == pytest.approx(0.4, abs=2e-3)
    assert found.gaps[0].cycles == pytest.approx(50.0, abs=2.0)
    np.testing.assert_allclose(found.frequency, 1000.0, rtol=1e-5)


def test_healthy_signals_raise_no_alarm() -> None:
    rng = np.random.default_rng(41)
    alarms = 0
    for seed in range(200):
        base, change = rng.uniform(100.0, 10_000.0), rng.uniform(0.0, 0.6)

        def frequency(time: Array, base: float = base, change: float = change) -> Array:
            return np.asarray(base * (1.0 + change * np.sin(2.0 * np.pi * base / 60.0 * time)))

        up, down = switching_edges(
            frequency,
            300.0 / base,
            duty=float(rng.uniform(0.2, 0.8)),
            jitter=float(rng.uniform(0.0, 0.03)) / base,
            seed=seed,
        )
        alarms += demodulated(up, down).verdict is not ModulationVerdict.CLEAR
    assert alarms <= 3


def test_other_kinds_are_said_to_be_so() -> None:
    wheel = wheel_edges(speed_rpm=900.0, duration=1.0)
    found = demodulated(wheel, wheel[:-1] + 0.5e-3)
    assert found.verdict is ModulationVerdict.EVEN_GAPS
    rng = np.random.default_rng(42)
    sent = sent_falling_edges(rng.integers(0, 16, (60, 6)).tolist())
    assert demodulated(sent, sent + 15e-6).verdict is ModulationVerdict.IRREGULAR
    irregular = np.cumsum(rng.exponential(1e-3, 1000))
    middle = 0.5 * (irregular[1:] + irregular[:-1])
    assert demodulated(irregular, middle).verdict is ModulationVerdict.IRREGULAR


def test_too_few_edges_and_no_cycles() -> None:
    up = np.linspace(0.0, 3e-3, 4)
    assert demodulated(up, up + 1e-4).verdict is ModulationVerdict.TOO_SHORT
    with pytest.raises(ValueOutOfRange, match="a mean of 0 cycles doesn't exist"):
        demodulated(up, up, 0)
