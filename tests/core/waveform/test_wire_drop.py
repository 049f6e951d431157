import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.wire_drop import DropVerdict, wire_drop
from backprobe.errors import ValueOutOfRange
from tests.core.waveform.signals import Array

INTERVAL = 1e-4


def loaded(
    rng: np.random.Generator, ohms: float, amps: float, offset: float = 0.0
) -> tuple[Array, Array, Array]:
    """A switched load of constant current behind a wire: both ends and the current."""
    on = np.arange(4000) // 250 % 2 == 1
    current = np.where(on, amps, 0.0)
    up = np.where(on, 12.4, 0.3) + rng.normal(0.0, 0.01, on.size)
    down = np.where(on, 12.4, 0.3) - ohms * current + offset + rng.normal(0.0, 0.01, on.size)
    return up, down, current + rng.normal(0.0, 0.01 * amps, on.size)


@given(st.floats(0.01, 2.0), st.floats(0.5, 5.0), st.floats(-0.05, 0.05), st.integers(0, 1000))
def test_resistance_comes_back_whatever_the_offset(
    ohms: float, amps: float, offset: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    up, down, current = loaded(rng, ohms, amps, offset)
    found = wire_drop(up, down, INTERVAL, current)
    assert found.verdict is DropVerdict.OHMS
    # Noise of 1 % in the current flattens the slope by (0.01 / 0.5)² = 0.04 %.
    assert abs(found.resistance - ohms) < 5.0 * found.resistance_uncertainty + 1e-3 * ohms
    assert abs(found.at_high - ohms * amps + offset) < 5.0 * found.at_high_uncertainty
    assert abs(found.at_low + offset) < 5.0 * found.at_low_uncertainty


def test_without_current_the_drop_alone_is_told() -> None:
    up, down, _ = loaded(np.random.default_rng(1), 0.5, 2.0)
    found = wire_drop(up, down, INTERVAL)
    assert found.verdict is DropVerdict.VOLTS_ONLY
    assert found.at_high == pytest.approx(1.0, abs=0.01)
    assert np.isnan(found.resistance)


def test_a_steady_supply_has_one_level() -> None:
    rng = np.random.default_rng(2)
    up = 12.4 + rng.normal(0.0, 0.01, 2000)
    found = wire_drop(up, up - 0.3, INTERVAL, 3.0 + rng.normal(0.0, 0.02, 2000))
    assert found.verdict is DropVerdict.OHMS_ONE_LEVEL
    assert found.resistance == pytest.approx(0.1, abs=1e-3)
    assert np.isnan(found.at_low)


def test_edges_that_come_later_are_no_drop() -> None:
    rng = np.random.default_rng(3)
    up, _, _ = loaded(rng, 0.0, 1.0)
    found = wire_drop(up, np.roll(up, 2), INTERVAL)
    assert found.at_high == pytest.approx(0.0, abs=2e-3)


def test_channels_of_different_records_are_refused() -> None:
    with pytest.raises(ValueOutOfRange, match="Take all of them from one record"):
        wire_drop(np.zeros(20), np.zeros(21), INTERVAL)
