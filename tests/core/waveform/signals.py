"""Sensor signals made from stated physics, their truth known, for the tests of waveforms."""

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.standards.sent_crc import recommended_crc

Array: TypeAlias = NDArray[np.float64]


def sent_falling_edges(
    frames: Sequence[Sequence[int]],
    *,
    tick: float = 3e-6,
    status: Sequence[int] | None = None,
    check: Callable[[Sequence[int]], int] = recommended_crc,
    frame_ticks: int = 0,
    jitter: float = 0.0,
    seed: int = 1,
) -> Array:
    """Falling edges of SENT frames (SAE J2716).

    Parameters
    ----------
    frames : sequence of sequence of int
        Data nibbles of each frame.
    tick : float
        s.
    status : sequence of int, or None
        Status nibble of each frame; all 0 where None.
    check : callable
        Gives the check sum of data nibbles.
    frame_ticks : int
        Whole length with the pause; 0 = no pause.
    jitter : float
        Standard deviation of each edge, s.
    """
    ticks: list[int] = []
    for number, data in enumerate(frames):
        nibbles = [0 if status is None else status[number], *data, check(data)]
        pulses = [56, *(12 + value for value in nibbles)]
        if frame_ticks:
            pulses.append(frame_ticks - sum(pulses))
        ticks += pulses
    edges = np.concatenate([[0.0], np.cumsum(ticks)]) * tick
    return edges + np.random.default_rng(seed).normal(0.0, jitter, edges.size)


def wheel_edges(
    *,
    teeth: int = 60,
    missing: Sequence[int] = (58, 59),
    added: Sequence[float] = (),
    speed_rpm: Callable[[Array], Array] | float = 800.0,
    duration: float = 1.0,
    shift: dict[int, float] | None = None,
    run_out: float = 0.0,
    jitter: float = 0.0,
    seed: int = 1,
) -> Array:
    """Instants at which the teeth of a wheel pass, from the angle as the integral of speed.

    Parameters
    ----------
    teeth : int
        Tooth places on the wheel.
    missing : sequence of int
        Places without a tooth.
    added : sequence of float
        Places (in tooth pitches) of added teeth.
    speed_rpm : callable or float
        Speed against time, per minute.
    shift : dict of int to float
        Teeth that sit off their place, in tooth pitches.
    run_out : float
        Amplitude of a sinusoidal deviation over one turn, in tooth pitches.
    jitter : float
        Standard deviation of each instant, s.
    """
    time = np.linspace(0.0, duration, 20_000)  # (n_fine,), s
    speed = np.broadcast_to(speed_rpm(time) if callable(speed_rpm) else speed_rpm, time.shape)
    steps = 0.5 * (speed[1:] + speed[:-1]) * np.diff(time) / 60.0
    turns = np.concatenate([[0.0], np.cumsum(steps)])
    places = [(k, (shift or {}).get(k, 0.0)) for k in range(teeth) if k not in missing]
    one_turn = np.array([k + off for k, off in places] + list(added))
    one_turn = np.sort(one_turn + run_out * np.sin(2.0 * np.pi * one_turn / teeth)) / teeth
    n_turn = int(turns[-1]) + 1
    angle = (np.arange(n_turn)[:, None] + one_turn).ravel()  # turns
    angle = angle[(angle > 0.0) & (angle < turns[-1])]
    instants: Array = np.interp(angle, turns, time)
    instants += np.random.default_rng(seed).normal(0.0, jitter, instants.size)
    return instants


def hand_sweep(
    rng: np.random.Generator,
    *,
    interval: float = 1e-3,
    there_and_back: bool = True,
    duration: float = 3.0,
) -> Array:
    """Travel, 0 to 1, of a pedal moved by a person.

    Held at the ends; between them a movement of least jerk [flash1985], a polynomial of degree
    five, with the unsteadiness of a hand, 2 to 6 Hz, up to 1.5 % of travel.
    """
    hold = round(rng.uniform(0.3, 0.8) / interval)
    phase = np.linspace(0.0, 1.0, round(duration / interval))
    up = phase**3 * (10.0 - 15.0 * phase + 6.0 * phase**2)
    time = phase * duration
    wave = rng.uniform(0.0, 0.015) * np.sin(2.0 * np.pi * rng.uniform(2.0, 6.0) * time)
    up = np.clip(up + wave * np.sin(np.pi * phase), 0.0, 1.0)
    parts = [np.zeros(hold), up, np.ones(hold)]
    if there_and_back:
        parts += [up[::-1], np.zeros(hold)]
    return np.concatenate(parts)


def potentiometer(
    travel: Array,
    rng: np.random.Generator,
    *,
    closed: float = 0.6,
    opened: float = 4.4,
    noise: float = 0.004,
    step: float = 5.0 / 4096,
) -> Array:
    """Wiper voltage with noise, rounded to the steps of a converter."""
    volts = closed + (opened - closed) * travel + rng.normal(0.0, noise, travel.size)
    return np.asarray(np.round(volts / step) * step)


def with_dead_spot(
    volts: Array,
    first: int,
    n_samp: int,
    *,
    to: float = 0.0,
    share: float = 1.0,
    interval: float = 1e-3,
    time_constant: float = 0.3e-3,
    step: float = 5.0 / 4096,
) -> Array:
    """Lose the wiper for some samples: the input goes to a level through pull-down and filter."""
    out = volts.copy()
    piece = slice(first, first + n_samp)
    gone = 1.0 - np.exp(-(np.arange(n_samp) + 1.0) * interval / time_constant)
    out[piece] += share * gone * (to - volts[piece])
    out[piece] = np.round(out[piece] / step) * step
    return out


def switching_edges(
    frequency: Callable[[Array], Array],
    duration: float,
    *,
    duty: float = 0.5,
    jitter: float = 0.0,
    seed: int = 1,
) -> tuple[Array, Array]:
    """Rising and falling edges of a signal whose phase is the integral of its frequency."""
    time = np.linspace(0.0, duration, 50_000)
    rate = frequency(time)
    steps = 0.5 * (rate[1:] + rate[:-1]) * np.diff(time)
    phase = np.concatenate([[0.0], np.cumsum(steps)])
    cycle = np.arange(1.0, np.floor(phase[-1]))
    up: Array = np.interp(cycle, phase, time)
    down: Array = np.interp(cycle + duty, phase, time)
    rng = np.random.default_rng(seed)
    up += rng.normal(0.0, jitter, up.size)
    down += rng.normal(0.0, jitter, down.size)
    return up, down


def snap_signal(
    *,
    interval: float = 1e-3,
    rest: float = 1.2,
    peak: float = 4.0,
    rise: float = 0.25,
    dip: float = 2.2,
    hump: float = 3.0,
    begin: float = 1.0,
    pulse: float = 0.05,
    noise: float = 0.005,
    clip: float = 9.0,
    seed: int = 1,
) -> Array:
    """Air-mass volts at a snap: half waves of a cosine between the turning points, intake pulses.

    ``rise`` is the whole rise; from a tenth to nine tenths it is acos(-0.8) - acos(0.8) over pi of
    it, 0.5903.
    """
    knots = [
        (0.0, rest),
        (begin, rest),
        (begin + rise, peak),
        (begin + rise + 0.3, dip),
        (begin + rise + 0.8, hump),
        (begin + rise + 1.8, rest - 0.2),
        (begin + rise + 2.8, rest),
        (begin + rise + 3.5, rest),
    ]
    time = np.arange(0.0, knots[-1][0], interval)
    values = np.zeros(time.size)
    for (t0, v0), (t1, v1) in pairwise(knots):
        here = (time >= t0) & (time < t1)
        part = 0.5 - 0.5 * np.cos(np.pi * (time[here] - t0) / (t1 - t0))
        values[here] = v0 + (v1 - v0) * part
    rng = np.random.default_rng(seed)
    values += pulse * np.sin(2.0 * np.pi * 27.0 * time) + rng.normal(0.0, noise, time.size)
    return np.minimum(values, clip)


def oxygen_signal(
    *,
    interval: float = 1e-3,
    duration: float = 20.0,
    frequency: float = 1.0,
    rich: float = 0.88,
    lean: float = 0.08,
    transition: float = 0.05,
    share_rich: float = 0.5,
    noise: float = 0.004,
    seed: int = 1,
) -> Array:
    """Cell voltage: straight transitions between two levels.

    ``transition`` is the time from 300 to 600 mV, so that the whole swing takes (rich - lean) / 0.3
    times as long.
    """
    time = np.arange(0.0, duration, interval)
    whole = transition * (rich - lean) / 0.3 * frequency
    phase = time * frequency % 1.0
    up = np.clip(phase / whole, 0.0, 1.0)
    down = np.clip((phase - share_rich) / whole, 0.0, 1.0)
    rng = np.random.default_rng(seed)
    return np.asarray(lean + (rich - lean) * (up - down) + rng.normal(0.0, noise, time.size))


def pickup_signal(
    *,
    interval: float = 2e-5,
    duration: float = 0.5,
    speed_rpm: Callable[[Array], Array] | float = 800.0,
    teeth: int = 60,
    missing: Sequence[int] = (58, 59),
    sign: float = 1.0,
    volts_per_rpm: float = 2e-3,
    noise: float = 0.01,
    seed: int = 1,
) -> Array:
    """Voltage of a coil: the rate of change of a flux that is a bell over each tooth.

    With ``sign`` 1 the voltage is positive while a tooth approaches, so that it falls through zero
    at the middle of the tooth. A bell exp(-(x/w)²) is steepest at w / sqrt 2.
    """
    time = np.arange(0.0, duration, interval)
    speed = np.broadcast_to(speed_rpm(time) if callable(speed_rpm) else speed_rpm, time.shape)
    place = np.concatenate([[0.0], np.cumsum(speed[:-1] * interval / 60.0)]) * teeth
    width = 0.3  # pitches
    steepness = np.zeros(time.size)
    nearest = np.round(place)
    for tooth in (nearest - 1.0, nearest, nearest + 1.0):
        x = place - tooth
        here = ~np.isin(tooth % teeth, missing)
        steepness += here * -2.0 * x / width**2 * np.exp(-((x / width) ** 2))
    steepest = np.sqrt(2.0) / width * np.exp(-0.5)
    rng = np.random.default_rng(seed)
    clean = sign * volts_per_rpm * speed * steepness / steepest
    return np.asarray(clean + rng.normal(0.0, noise, time.size))


def cranking_current(
    heights: Sequence[float],
    *,
    interval: float = 5e-4,
    speed_rpm: float = 220.0,
    duration: float = 4.0,
    mean: float = 140.0,
    wave: float = 60.0,
    scatter: float = 0.03,
    noise: float = 3.0,
    surge: float = 350.0,
    rest: float = 0.3,
    first: int = 0,
    seed: int = 1,
) -> tuple[Array, Array]:
    """Starter current with one wave a compression, and the instants at which cylinder 1 peaks.

    ``heights`` are relative, in firing order; ``first`` is the cylinder that comes first.
    """
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, rest + duration, interval)
    current = np.where(time >= rest, mean, 0.0)
    current += np.where(time >= rest, surge * np.exp(-(time - rest) / 0.06), 0.0) * (time >= rest)
    period = 120.0 / speed_rpm / len(heights)
    tops, number = [], first
    centre = rest + 0.5 * period
    while centre < rest + duration:
        height = heights[number % len(heights)] * (1.0 + rng.normal(0.0, scatter))
        near = np.abs(time - centre) < 0.5 * period
        part = np.cos(np.pi * (time[near] - centre) / period) ** 2
        current[near] += wave * height * part
        if number % len(heights) == 0:
            tops.append(centre)
        number += 1
        centre += period * (1.0 + rng.normal(0.0, 0.01))
    current *= 1.0 - 0.05 * time / time[-1]
    return current + rng.normal(0.0, noise, time.size), np.array(tops)
