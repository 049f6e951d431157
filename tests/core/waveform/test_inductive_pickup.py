import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.core.waveform.inductive_pickup import (
    AmplitudeLaw,
    PickupVerdict,
    Polarity,
    ToothSlope,
    inductive_pickup,
)
from tests.core.waveform.signals import Array, oxygen_signal, pickup_signal

INTERVAL = 2e-5


@settings(max_examples=25)
@given(
    st.sampled_from([(60, (58, 59)), (36, (35,)), (36, (34, 35)), (24, (23,))]),
    st.floats(300.0, 2500.0),
    st.sampled_from([1.0, -1.0]),
    st.floats(0.0, 0.03),
    st.integers(0, 1000),
)
def test_slope_at_the_teeth_comes_back(
    wheel: tuple[int, tuple[int, ...]], speed: float, sign: float, noise: float, seed: int
) -> None:
    volts = pickup_signal(
        speed_rpm=speed,
        duration=4.0 * 60.0 / speed,
        teeth=wheel[0],
        missing=wheel[1],
        sign=sign,
        noise=noise * 2e-3 * speed,
        seed=seed,
    )
    found = inductive_pickup(volts, INTERVAL, wanted_slope=ToothSlope.FALLING)
    assert found.verdict is PickupVerdict.PICKUP
    assert found.tooth_slope is (ToothSlope.FALLING if sign > 0.0 else ToothSlope.RISING)
    assert found.polarity is (Polarity.RIGHT if sign > 0.0 else Polarity.REVERSED)


def test_polarity_errors_in_many_records() -> None:
    rng = np.random.default_rng(71)
    wrong = silent = 0
    for seed in range(100):
        sign = float(rng.choice([-1.0, 1.0]))
        speed = float(rng.uniform(200.0, 2500.0))
        change = float(rng.uniform(-0.3, 0.3))
        duration = 3.5 * 60.0 / speed

        def speed_rpm(
            time: Array, speed: float = speed, change: float = change, end: float = duration
        ) -> Array:
            return np.asarray(speed * (1.0 + change * time / end))

        volts = pickup_signal(
            speed_rpm=speed_rpm,
            duration=duration,
            interval=5e-5,
            sign=sign,
            noise=float(rng.uniform(0.0, 0.05)) * 2e-3 * speed,
            seed=seed,
        )
        found = inductive_pickup(volts, 5e-5, wanted_slope=ToothSlope.FALLING)
        if found.polarity is Polarity.CANT_TELL:
            silent += 1
        else:
            wrong += (found.polarity is Polarity.RIGHT) != (sign > 0.0)
    assert wrong == 0
    assert silent <= 5


def test_amplitude_is_proportional_to_speed() -> None:
    volts = pickup_signal(speed_rpm=lambda t: 300.0 + 2000.0 * t, duration=1.0)
    found = inductive_pickup(volts, INTERVAL)
    assert found.law is AmplitudeLaw.PROPORTIONAL
    assert found.exponent == pytest.approx(1.0, abs=0.03)
    # 2 mV a turn per minute to each side; noise of 10 mV adds its extremes to the peaks.
    speed = 300.0 + 2000.0 * found.instants
    np.testing.assert_allclose(found.amplitude, 4e-3 * speed, rtol=0.02, atol=0.05)
    np.testing.assert_allclose(found.tooth_frequency, speed, rtol=0.02)


def test_a_clamped_amplitude_is_not_proportional() -> None:
    volts = pickup_signal(speed_rpm=lambda t: 300.0 + 2000.0 * t, duration=1.0)
    found = inductive_pickup(2.0 * np.tanh(volts / 2.0), INTERVAL)
    assert found.law is AmplitudeLaw.NOT_PROPORTIONAL
    assert found.exponent < 0.8


def test_offset_and_one_sided_signals() -> None:
    volts = pickup_signal()
    lifted = inductive_pickup(volts + 0.4, INTERVAL)
    assert lifted.offset == pytest.approx(0.4, abs=0.02)
    assert lifted.verdict is PickupVerdict.PICKUP
    assert lifted.positive_peak == pytest.approx(2.0, abs=0.06)
    assert lifted.negative_peak == pytest.approx(-1.2, abs=0.06)
    half = inductive_pickup(np.maximum(volts, -0.3), INTERVAL)
    assert half.verdict is PickupVerdict.ONE_SIDED


def test_without_gaps_or_speed_change_it_cannot_be_told() -> None:
    found = inductive_pickup(pickup_signal(missing=()), INTERVAL, wanted_slope=ToothSlope.RISING)
    assert found.verdict is PickupVerdict.PICKUP
    assert found.tooth_slope is ToothSlope.CANT_TELL
    assert found.polarity is Polarity.CANT_TELL
    assert found.law is AmplitudeLaw.CANT_TELL


def test_other_kinds_are_said_to_be_so() -> None:
    time = np.arange(25_000) * INTERVAL
    square = np.where(time * 300.0 % 1.0 < 0.5, 0.2, 4.8)
    assert inductive_pickup(square, INTERVAL).verdict is PickupVerdict.NOT_A_PICKUP
    noise = np.random.default_rng(72).normal(0.0, 0.02, time.size)
    assert inductive_pickup(noise, INTERVAL).verdict is PickupVerdict.NO_SIGNAL
    assert inductive_pickup(np.zeros(1000), INTERVAL).verdict is PickupVerdict.NO_SIGNAL
    slow = inductive_pickup(oxygen_signal(duration=5.0), 1e-3)
    assert slow.verdict in (PickupVerdict.TOO_SHORT, PickupVerdict.NOT_A_PICKUP)
