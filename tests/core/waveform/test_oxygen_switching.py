import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.oxygen_switching import OxygenVerdict, oxygen_switching
from tests.core.waveform.signals import oxygen_signal

INTERVAL = 1e-3


@given(st.floats(0.4, 2.0), st.floats(0.02, 0.08), st.floats(0.35, 0.65), st.integers(0, 1000))
def test_pace_levels_and_times_come_back(
    frequency: float, transition: float, share: float, seed: int
) -> None:
    volts = oxygen_signal(
        frequency=frequency, transition=transition, share_rich=share, noise=0.003, seed=seed
    )
    found = oxygen_switching(volts, INTERVAL)
    whole = transition * 0.8 / 0.3 * frequency
    if whole > 0.9 * min(share, 1.0 - share):
        return  # it would not arrive at its levels
    assert found.verdict is OxygenVerdict.SWITCHING
    # One crossing more or less at the ends of 20 s.
    assert found.crossings_per_second == pytest.approx(2.0 * frequency, abs=0.15)
    # 0.45 V is 0.4625 of the swing up and 0.5375 down: the share shifts by 0.075 of a transition.
    assert found.share_rich == pytest.approx(share + 0.075 * whole, abs=0.03 + 1.0 / 20.0 * 0.5)
    assert (found.rich_level, found.lean_level) == pytest.approx((0.88, 0.08), abs=0.01)
    for times in (found.lean_to_rich, found.rich_to_lean):
        # Noise of 3 mV against a slope of 0.3 V a transition: 1 %; a sample is 1 ms.
        assert times.between_levels == pytest.approx(transition, rel=0.05, abs=1e-3)
        # From a tenth to nine tenths of 0.8 V.
        assert times.ten_to_ninety == pytest.approx(transition * 0.64 / 0.3, rel=0.06, abs=2e-3)


@pytest.mark.parametrize(
    ("change", "flags"),
    [
        ({"rich": 0.7}, (True, False, False)),
        ({"lean": 0.3}, (False, True, False)),
        ({"transition": 0.15, "frequency": 0.5}, (False, False, True)),
    ],
)
def test_lazy_cells(change: dict[str, float], flags: tuple[bool, bool, bool]) -> None:
    found = oxygen_switching(oxygen_signal(**change), INTERVAL)  # type: ignore[arg-type]
    assert found.verdict is OxygenVerdict.LAZY
    assert (found.is_lazy_rich, found.is_lazy_lean, found.is_slow) == flags


@pytest.mark.parametrize(
    ("level", "verdict"),
    [
        (0.45, OxygenVerdict.AT_BIAS),
        (0.85, OxygenVerdict.STUCK_RICH),
        (0.08, OxygenVerdict.STUCK_LEAN),
        (0.62, OxygenVerdict.STEADY),
        (1.4, OxygenVerdict.FOREIGN_VOLTAGE),
        (-0.3, OxygenVerdict.REVERSED),
    ],
)
def test_cells_that_stay(level: float, verdict: OxygenVerdict) -> None:
    volts = level + np.random.default_rng(61).normal(0.0, 0.005, 10_000)
    assert oxygen_switching(volts, INTERVAL).verdict is verdict
    brief = oxygen_switching(volts[:1000], INTERVAL).verdict
    assert brief in (verdict, OxygenVerdict.TOO_SHORT)


def test_healthy_cells_raise_no_alarm() -> None:
    rng = np.random.default_rng(62)
    alarms = 0
    for seed in range(200):
        volts = oxygen_signal(
            duration=10.0,
            interval=2e-3,
            frequency=rng.uniform(0.5, 2.0),
            rich=rng.uniform(0.83, 0.95),
            lean=rng.uniform(0.03, 0.15),
            transition=rng.uniform(0.01, 0.06),
            noise=rng.uniform(0.0, 0.01),
            seed=seed,
        )
        alarms += oxygen_switching(volts, 2e-3).verdict is not OxygenVerdict.SWITCHING
    assert alarms <= 3


def test_a_digital_signal_is_no_cell() -> None:
    time = np.arange(200_000) * 1e-5
    for high in (0.9, 5.0):
        square = np.where(time * 20.0 % 1.0 < 0.5, 0.05, high)
        assert oxygen_switching(square, 1e-5).verdict is OxygenVerdict.NOT_A_CELL
