"""How often healthy signals raise an alarm, and how often a fault is missed.

Each record is drawn anew: speed, noise (also noise that was filtered before it was sampled), rate
and steps of the converter, unsteadiness of hand and engine. The signals are those of the tests.
"""

from collections.abc import Callable

import numpy as np
from scipy.ndimage import gaussian_filter1d

from backprobe.core.waveform.inductive_pickup import Polarity, ToothSlope, inductive_pickup
from backprobe.core.waveform.oxygen_switching import OxygenVerdict, oxygen_switching
from backprobe.core.waveform.position_sweep import SweepVerdict, track_sweep
from backprobe.core.waveform.relative_compression import (
    CompressionReading,
    CompressionVerdict,
    relative_compression,
)
from backprobe.core.waveform.snap_throttle import SnapVerdict, snap_throttle
from backprobe.core.waveform.tooth_deviation import ToothVerdict, tooth_deviation
from backprobe.core.waveform.toothed_wheel import WheelVerdict, toothed_wheel
from bench.report import Measured
from tests.core.waveform.signals import (
    Array,
    cranking_current,
    hand_sweep,
    oxygen_signal,
    pickup_signal,
    snap_signal,
    wheel_edges,
    with_dead_spot,
)

N_RECORD = 1000
WHEELS = [(60, (58, 59)), (36, (35,)), (36, (34, 35)), (24, (22, 23)), (12, (11,))]
Draw = np.random.Generator


def _is_wrong(draw: Callable[[Draw], bool], seed: int) -> float:
    rng = np.random.default_rng(seed)
    return 100.0 * float(np.mean([draw(rng) for _ in range(N_RECORD)]))


def _sweep(rng: Draw, *, has_spot: bool) -> tuple[Array, float, float]:
    """Volts, interval and the instant of the spot."""
    interval = float(10.0 ** rng.uniform(-4.5, -2.3))
    travel = hand_sweep(
        rng,
        interval=interval,
        duration=float(rng.uniform(1.0, 6.0)),
        there_and_back=bool(rng.integers(2)),
    )
    ends = [rng.uniform(0.4, 1.0), rng.uniform(3.9, 4.8)]
    rng.shuffle(ends)
    volts = ends[0] + (ends[1] - ends[0]) * travel
    at = int(np.flatnonzero(travel >= rng.uniform(0.1, 0.9))[0])
    if has_spot:
        volts = with_dead_spot(
            volts,
            at,
            max(2, round(rng.uniform(2e-3, 0.1) / interval)),
            to=0.0 if volts[at] > 2.5 else 5.0,
            share=float(rng.uniform(0.15, 1.0)),
            interval=interval,
            step=1e-9,
        )
    noise = rng.normal(0.0, 1.0, volts.size)
    filtered = float(10.0 ** rng.uniform(-5.0, -3.0)) / interval
    if filtered > 1.0:
        noise = gaussian_filter1d(noise, min(filtered, 200.0))
    volts = volts + noise / noise.std() * rng.uniform(0.0, 0.015)
    step = float(rng.choice([5.0 / 4096, 10.0 / 1024, 10.0 / 256, 20.0 / 256]))
    return np.round(volts / step) * step, interval, at * interval


def _false_spot(rng: Draw) -> bool:
    volts, interval, _ = _sweep(rng, has_spot=False)
    return track_sweep(volts, interval).verdict is not SweepVerdict.SMOOTH


def _missed_spot(rng: Draw) -> bool:
    volts, interval, instant = _sweep(rng, has_spot=True)
    spots = track_sweep(volts, interval).spots
    return not any(abs(spot.start - instant) < 0.02 + 3.0 * interval for spot in spots)


def _wheel(rng: Draw, *, is_damaged: bool) -> tuple[Array, int, int]:
    """Edges, teeth and the number of the displaced tooth."""
    teeth, missing = WHEELS[int(rng.integers(len(WHEELS)))]
    speed = float(rng.uniform(150.0, 5000.0))
    duration = float(rng.uniform(5.0, 15.0)) * 60.0 / speed
    change = rng.uniform(-0.4, 0.4)
    uneven = rng.uniform(0.0, 0.15 if speed < 400.0 else 0.04)
    order, phase = rng.choice([0.5, 1.0, 1.5, 2.0, 3.0, 4.0]), rng.uniform(0.0, 6.3)

    def speed_rpm(time: Array) -> Array:
        wave = uneven * np.sin(2.0 * np.pi * order * speed / 60.0 * time + phase)
        return np.asarray(speed * (1.0 + change * time / duration + wave))

    tooth = int(rng.integers(teeth - len(missing)))
    shift = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.12, 0.35))
    edges = wheel_edges(
        teeth=teeth,
        missing=missing,
        speed_rpm=speed_rpm,
        duration=duration,
        shift={tooth: shift} if is_damaged else None,
        run_out=rng.uniform(0.0, 0.1),
        jitter=rng.uniform(0.0, 0.02) * 60.0 / speed / teeth,
        seed=int(rng.integers(1_000_000)),
    )
    if rng.uniform() < 0.3:
        edges = np.delete(edges, rng.integers(5, edges.size - 5))
    return edges, teeth, tooth + 1


def _wrong_wheel(rng: Draw) -> bool:
    edges, teeth, _ = _wheel(rng, is_damaged=False)
    wheel = toothed_wheel(edges)
    return (wheel.verdict, wheel.turn_pitches) != (WheelVerdict.MISSING_TEETH, teeth)


def _false_tooth(rng: Draw) -> bool:
    edges, _, _ = _wheel(rng, is_damaged=False)
    return tooth_deviation(edges, toothed_wheel(edges)).verdict is ToothVerdict.DISPLACED


def _missed_tooth(rng: Draw) -> bool:
    edges, _, tooth = _wheel(rng, is_damaged=True)
    displaced = tooth_deviation(edges, toothed_wheel(edges)).displaced
    return [bad.tooth for bad in displaced] != [tooth]


def _polarity(rng: Draw) -> tuple[Polarity, Polarity]:
    """What it is, and what was found."""
    teeth, missing = WHEELS[int(rng.integers(len(WHEELS)))]
    speed, sign = float(rng.uniform(150.0, 3000.0)), float(rng.choice([-1.0, 1.0]))
    interval = 60.0 / (teeth * speed * float(rng.uniform(8.0, 60.0)))
    volts = pickup_signal(
        interval=interval,
        duration=float(rng.uniform(2.2, 6.0)) * 60.0 / speed,
        speed_rpm=lambda time: np.asarray(
            speed * (1.0 + 0.15 * np.sin(4.0 * np.pi * speed / 60.0 * time))
        ),
        teeth=teeth,
        missing=missing,
        sign=sign,
        noise=float(rng.uniform(0.0, 0.06)) * 2e-3 * speed,
        seed=int(rng.integers(1_000_000)),
    )
    volts += rng.uniform(-0.1, 0.1) * 2e-3 * speed
    found = inductive_pickup(volts, interval, wanted_slope=ToothSlope.FALLING)
    return (Polarity.RIGHT if sign > 0.0 else Polarity.REVERSED), found.polarity


def _wrong_polarity(rng: Draw) -> bool:
    true, found = _polarity(rng)
    return found not in (true, Polarity.CANT_TELL)


def _untold_polarity(rng: Draw) -> bool:
    return _polarity(rng)[1] is Polarity.CANT_TELL


def _compression(rng: Draw, *, is_weak: bool) -> tuple[CompressionReading, int]:
    """What was found, and the order of the weak cylinder."""
    n_cylinder = int(rng.choice([3, 4, 5, 6, 8]))
    interval = float(10.0 ** rng.uniform(-4.0, -2.7))
    heights = 1.0 + rng.normal(0.0, 0.02, n_cylinder)
    bad = int(rng.integers(n_cylinder))
    if is_weak:
        heights[bad] *= rng.uniform(0.0, 0.65)
    current, tops = cranking_current(
        heights.tolist(),
        interval=interval,
        speed_rpm=float(rng.uniform(130.0, 300.0)),
        duration=float(rng.uniform(2.0, 5.0)),
        wave=float(rng.uniform(30.0, 90.0)),
        scatter=float(rng.uniform(0.01, 0.06)),
        noise=float(rng.uniform(1.0, 8.0)),
        rest=float(rng.uniform(0.01, 0.6)),
        first=int(rng.integers(n_cylinder)),
        seed=int(rng.integers(1_000_000)),
    )
    time = np.arange(current.size) * interval
    brushes = rng.uniform(0.0, 12.0) * np.sin(2.0 * np.pi * rng.uniform(90.0, 180.0) * time)
    current += brushes * (current > 30.0)
    return relative_compression(current, interval, n_cylinder, sync=tops - 0.01), bad + 1


def _false_cylinder(rng: Draw) -> bool:
    return _compression(rng, is_weak=False)[0].verdict is CompressionVerdict.WEAK


def _missed_cylinder(rng: Draw) -> bool:
    found, bad = _compression(rng, is_weak=True)
    return [cylinder.order for cylinder in found.cylinders if cylinder.is_weak] != [bad]


def _false_oxygen(rng: Draw) -> bool:
    interval = float(10.0 ** rng.uniform(-4.0, -2.0))
    volts = oxygen_signal(
        interval=interval,
        frequency=rng.uniform(0.4, 2.0),
        rich=rng.uniform(0.83, 0.95),
        lean=rng.uniform(0.02, 0.16),
        transition=rng.uniform(0.01, 0.06),
        noise=rng.uniform(0.0, 0.012),
        share_rich=rng.uniform(0.4, 0.6),
        seed=int(rng.integers(1_000_000)),
    )
    step = float(rng.choice([1.0 / 4096, 2.0 / 256]))
    found = oxygen_switching(np.round(volts / step) * step, interval)
    return found.verdict is not OxygenVerdict.SWITCHING


def _missed_slow_cell(rng: Draw) -> bool:
    volts = oxygen_signal(
        frequency=0.4,
        transition=rng.uniform(0.13, 0.25),
        noise=rng.uniform(0.0, 0.012),
        seed=int(rng.integers(1_000_000)),
    )
    return not oxygen_switching(volts, 1e-3).is_slow


def _missed_snap(rng: Draw) -> bool:
    interval = float(10.0 ** rng.uniform(-4.5, -2.3))
    values = snap_signal(
        interval=interval,
        rest=rng.uniform(0.9, 1.6),
        peak=rng.uniform(3.3, 4.7),
        rise=rng.uniform(0.12, 0.6),
        dip=rng.uniform(1.8, 2.4),
        hump=rng.uniform(2.6, 3.2),
        pulse=rng.uniform(0.0, 0.15),
        noise=rng.uniform(0.0, 0.03),
        seed=int(rng.integers(1_000_000)),
    )
    found = snap_throttle(values, interval)
    return found.verdict is not SnapVerdict.SNAP or found.dip is None or found.hump is None


def measure() -> list[Measured]:
    """Shares of a thousand drawn records, per cent; a false alarm should come below 2."""
    rows: list[tuple[str, Callable[[Draw], bool], float | None]] = [
        ("sweep: dead spot on a sound track", _false_spot, 2.0),
        ("sweep: dead spot of 2 to 100 ms missed", _missed_spot, 5.0),
        ("wheel: pattern not recognised", _wrong_wheel, 2.0),
        ("wheel: displaced tooth on a sound wheel", _false_tooth, 2.0),
        ("wheel: tooth off by 0.12 to 0.35 pitches not named alone", _missed_tooth, None),
        ("pick-up: wrong polarity", _wrong_polarity, 2.0),
        ("pick-up: polarity not told", _untold_polarity, None),
        ("compression: weak cylinder in an even engine", _false_cylinder, 2.0),
        ("compression: cylinder below 65 % not named alone", _missed_cylinder, None),
        ("oxygen: healthy cell called otherwise", _false_oxygen, 2.0),
        ("oxygen: transition of 130 to 250 ms not called slow", _missed_slow_cell, 5.0),
        ("snap: snap, dip or second hump missed", _missed_snap, 2.0),
    ]
    return [
        Measured(what, _is_wrong(draw, 2000 + number), "%", most=most)
        for number, (what, draw, most) in enumerate(rows)
    ]
