"""Rows of what was measured: each in its own unit, the truth within its uncertainty."""

import math

import numpy as np
import pytest

from backprobe.services.measured_rows import measured_rows, said

STEP = 1e-5


def square(noise: float = 0.0) -> np.ndarray:
    """4 ms high of 10 ms, 0.2 and 5 V, edges of 80 us, 5 % overshoot for 50 us after a rise."""
    t = (np.arange(100_000) * STEP) % 10e-3
    x = np.interp(t, [0, 80e-6, 81e-6, 130e-6, 131e-6, 4e-3, 4.08e-3, 10e-3],
                  [0.2, 5.0, 5.24, 5.24, 5.0, 5.0, 0.2, 0.2])  # fmt: skip
    return np.asarray(x + np.random.default_rng(1).normal(0.0, noise, x.size))


def test_each_quantity_in_its_own_unit() -> None:
    rows = {row.key: row for row in measured_rows(square(), STEP, 0.0, unit="V", error_share=0.03)}
    truth = {
        "state_level_high": 5.0,
        "state_level_low": 0.2,
        "amplitude": 4.8,
        "frequency": 100.0,
        "period": 10e-3,
        "pulse_duration": 4e-3,
        "duty": 40.0,
        "transition_duration_falling": 64e-6,  # 80 % of 80 us
        "overshoot_rising": 5.0,  # per cent of the amplitude
        "dropouts": 0.0,
        "glitches": 0.0,
    }
    for key, value in truth.items():
        assert rows[key].number == pytest.approx(value, rel=0.02, abs=1e-9), key
    assert rows["overshoot_rising"].value.endswith("%")
    assert rows["frequency"].value == "100 Hz"


def test_an_error_of_the_instrument_is_in_the_levels() -> None:
    """A limit of 3 % is a rectangle: 5 V x 0.03 / root 3 = 87 mV (JCGM 100:2008, 4.3.7)."""
    rows = {r.key: r for r in measured_rows(square(0.01), STEP, 0.0, unit="V", error_share=0.03)}
    assert rows["state_level_high"].deviation == pytest.approx(0.0866, rel=0.02)


def test_what_does_not_switch_has_its_alternating_part() -> None:
    t = np.arange(50_000) * 1e-4
    rows = {
        row.key: row
        for row in measured_rows(
            14.0 + 0.05 * np.sin(2 * math.pi * 120 * t), 1e-4, 0.0, unit="V", error_share=0.03
        )
    }
    assert rows["ac_rms"].number == pytest.approx(0.05 / math.sqrt(2), rel=1e-3)
    assert rows["ac_frequency"].number == pytest.approx(120.0, rel=1e-4)
    assert "state_level_high" not in rows


def test_values_as_they_are_said() -> None:
    assert said(float("nan"), "V") == ""
    assert (said(0.012, "V"), said(310e-6, "s"), said(3.5, "A")) == ("12 mV", "310 µs", "3.5 A")
