import numpy as np
import pytest

from backprobe.core.waveform.tooth_deviation import ToothVerdict, tooth_deviation
from backprobe.core.waveform.toothed_wheel import toothed_wheel
from tests.core.waveform.signals import Array, wheel_edges


def drawn_wheel(rng: np.random.Generator, shift: dict[int, float] | None = None) -> Array:
    """Six turns of sixty less two: drawn speed, firing unevenness, run-out and scatter."""
    speed = rng.uniform(250.0, 4000.0)
    duration = 6.0 * 60.0 / speed
    change, uneven = rng.uniform(-0.3, 0.3), rng.uniform(0.0, 0.05)
    order, phase = rng.choice([1.5, 2.0, 3.0]), rng.uniform(0.0, 6.3)

    def speed_rpm(time: Array) -> Array:
        angle = 2.0 * np.pi * speed / 60.0 * time
        wave = uneven * np.sin(order * angle + phase)
        return np.asarray(speed * (1.0 + change * time / duration + wave))

    return wheel_edges(
        speed_rpm=speed_rpm,
        duration=duration,
        shift=shift,
        run_out=rng.uniform(0.0, 0.1),
        jitter=rng.uniform(0.0, 0.02) * 60.0 / speed / 60.0,
        seed=int(rng.integers(1_000_000)),
    )


def test_healthy_wheels_raise_no_alarm() -> None:
    rng = np.random.default_rng(11)
    n_alarm = 0
    for _ in range(200):
        edges = drawn_wheel(rng)
        found = tooth_deviation(edges, toothed_wheel(edges))
        assert found.verdict is not ToothVerdict.CANT_TELL
        n_alarm += found.verdict is ToothVerdict.DISPLACED
    assert n_alarm <= 3  # below 2 %


def test_displaced_teeth_are_named() -> None:
    rng = np.random.default_rng(12)
    n_missed, errors = 0, []
    for _ in range(100):
        tooth = int(rng.integers(0, 58))
        shift = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.12, 0.35))
        edges = drawn_wheel(rng, {tooth: shift})
        found = tooth_deviation(edges, toothed_wheel(edges))
        named = [bad for bad in found.displaced if bad.tooth == tooth + 1]
        if len(found.displaced) == 1 and named:
            errors.append(named[0].displacement - shift)
        else:
            n_missed += 1
    assert n_missed <= 5
    # Scatter of 2 % over five turns, and what waves take of a single tooth.
    assert float(np.max(np.abs(errors))) < 0.06


def test_run_out_is_told_and_is_no_damage() -> None:
    edges = wheel_edges(run_out=0.2, speed_rpm=1000.0, duration=0.6)
    found = tooth_deviation(edges, toothed_wheel(edges))
    assert found.verdict is ToothVerdict.EVEN
    # The places are put along the sine of their own angle; 58 of 60 teeth carry it.
    assert found.once_a_turn == pytest.approx(0.2, rel=0.03)


def test_acceleration_is_no_deviation() -> None:
    edges = wheel_edges(speed_rpm=lambda t: 800.0 + 2000.0 * t, duration=1.0)
    found = tooth_deviation(edges, toothed_wheel(edges))
    assert found.verdict is ToothVerdict.EVEN
    assert float(np.nanmax(np.abs(found.deviation))) < 0.02


def test_too_few_turns_and_even_wheels_cannot_be_told() -> None:
    edges = wheel_edges(speed_rpm=1000.0, duration=0.18)
    assert tooth_deviation(edges, toothed_wheel(edges)).verdict is ToothVerdict.CANT_TELL
    even = wheel_edges(missing=(), speed_rpm=1000.0, duration=1.0)
    assert tooth_deviation(even, toothed_wheel(even)).verdict is ToothVerdict.CANT_TELL


@pytest.mark.parametrize("tooth", [0, 57])
def test_teeth_beside_the_gap_are_judged_as_well(tooth: int) -> None:
    edges = wheel_edges(shift={tooth: 0.15}, speed_rpm=1000.0, duration=0.6, jitter=5e-6)
    found = tooth_deviation(edges, toothed_wheel(edges))
    assert [bad.tooth for bad in found.displaced] == [tooth + 1]
    assert found.displaced[0].displacement == pytest.approx(0.15, abs=0.03)


@pytest.mark.parametrize(("teeth", "missing"), [(12, (11,)), (24, (22, 23)), (36, (35,))])
def test_wheels_with_fewer_teeth(teeth: int, missing: tuple[int, ...]) -> None:
    edges = wheel_edges(
        teeth=teeth, missing=missing, shift={4: 0.25}, speed_rpm=800.0, duration=0.8
    )
    found = tooth_deviation(edges, toothed_wheel(edges))
    assert [bad.tooth for bad in found.displaced] == [5]
