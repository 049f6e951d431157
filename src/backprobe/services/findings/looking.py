"""Looks at a channel in every way that fits it, and says what it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.crossings import crossing_instants
from backprobe.core.waveform.levels import StateLevels, state_levels
from backprobe.services.findings import analogue, pairs, switching
from backprobe.services.findings.words import Finding
from backprobe.store.recording import RecordedChannel

Array = NDArray[np.float64]

# What a user can say that a channel is; empty: the program looks for itself.
SIGNALS: Final = (
    switching.FREQUENCY,
    switching.WHEEL,
    switching.SERIAL,
    analogue.SWEEP,
    analogue.SNAP,
    analogue.OXYGEN,
    analogue.PICKUP,
    analogue.SUPPLY,
    analogue.CRANKING,
)
_FEWEST: Final = 8  # samples
_BAND: Final = 0.15  # of the amplitude, half the band about the middle that noise may fill
_OXYGEN_MOST: Final = 1.3  # V; above it nothing a zirconia cell shows, foreign voltages apart
_SUPPLY_LEAST: Final = 4.0  # V; the lowest supply that is looked for
_SUPPLY_MOVES: Final = 0.25  # share by which a supply moves at most


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What is known of the vehicle while the capture was taken.

    rpm : engine speed by the round, 0 = not turning or not known.
    """

    rpm: float = 0.0
    key: str = ""
    action: str = ""
    n_cylinder: int | None = None
    connector_kind: str = "unknown"


def look_at(
    samples: Array,
    interval: float,
    start: float,
    channel: RecordedChannel,
    at: Circumstances,
) -> tuple[Finding, ...]:
    """Everything that a channel turns out to be, the likeliest first.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Evenly spaced; NaN = gap.
    interval, start : float
        s.
    channel : RecordedChannel
        What its owner says of it.
    at : Circumstances
        The state of the vehicle.
    """
    if not _is_enough(samples):
        return ()
    levels = state_levels(samples)
    wanted = channel.signal
    if wanted:
        finding = _looked_as(wanted, samples, interval, start, at, levels, channel.unit)
        if finding is None or not finding.is_it:
            why = finding.doubts[:1] if finding is not None else ()
            return (Finding(wanted, (), why or (f"This does not look like: {wanted}.",)),)
        return (finding,)
    kinds = _digital(at) if levels.is_switching else _analogue(samples, at)
    found: list[Finding] = []
    for kind in kinds:
        finding = _looked_as(kind, samples, interval, start, at, levels, channel.unit)
        if finding is None or not finding.is_it:
            continue
        found.append(finding)
        # Even pulses may be a wheel without a mark, or a frequency: both are told.
        if kind != switching.WHEEL or not finding.told[0].startswith(switching.EVEN_TEETH):
            break
    return tuple(found)


def look_at_pair(
    first: Array,
    second: Array,
    interval: float,
    start: float,
    *,
    current: Array | None = None,
) -> tuple[Finding, ...]:
    """What two channels of volts say together."""
    if not (_is_enough(first) and _is_enough(second)):
        return ()
    levels = state_levels(first), state_levels(second)
    found = []
    if all(each.is_switching for each in levels):
        edges = [
            edges_of(x, each, interval, start)[0]
            for x, each in zip((first, second), levels, strict=True)
        ]
        for crank, cam in (edges, edges[::-1]):
            if crank.size > 4 * cam.size > 0:
                found.append(pairs.as_cam(crank, cam))
    else:
        found.append(pairs.as_tracks(first, second, interval, start))
    if not any(each.is_it for each in found):
        found.append(pairs.as_delay(first, second, interval))
    if current is not None and _is_enough(current):
        found.append(pairs.as_drop(first, second, interval, current))
    return tuple(each for each in found if each.is_it)


def _is_enough(samples: Array) -> bool:
    """Whether there is anything to look at."""
    return int(np.isfinite(samples).sum()) >= _FEWEST


def edges_of(
    samples: Array, levels: StateLevels, interval: float, start: float
) -> tuple[Array, Array]:
    """Instants of rising and of falling edges through the middle, s."""
    middle = levels.reference_level(50.0)
    band = _BAND * levels.amplitude
    found = crossing_instants(samples, middle, hysteresis=band, start=start, interval=interval)
    return found.instants[found.is_rising], found.instants[~found.is_rising]


def _digital(at: Circumstances) -> tuple[str, ...]:
    if at.connector_kind == "air-mass":
        return switching.SERIAL, switching.FREQUENCY
    return switching.SERIAL, switching.WHEEL, switching.FREQUENCY


def _analogue(samples: Array, at: Circumstances) -> tuple[str, ...]:
    """Ways to look at a signal without two levels, the likeliest first."""
    low, high = (float(x) for x in np.nanquantile(samples, [0.001, 0.999]))
    kinds = []
    if at.key == "crank" and at.n_cylinder:
        kinds.append(analogue.CRANKING)
    if at.connector_kind == "oxygen" and high < _OXYGEN_MOST:
        kinds.append(analogue.OXYGEN)
    if at.action == "snap throttle" or at.connector_kind in ("air-mass", "pressure"):
        kinds.append(analogue.SNAP)
    if at.action == "sweep" or at.connector_kind == "position":
        kinds.append(analogue.SWEEP)
    if low < 0.0 < high and min(-low, high) > 0.1 * (high - low):
        kinds.append(analogue.PICKUP)
    if low > _SUPPLY_LEAST and high - low < _SUPPLY_MOVES * high:
        kinds.append(analogue.SUPPLY)
    if low > -0.3 and high < _OXYGEN_MOST:
        kinds.append(analogue.OXYGEN)
    return tuple(dict.fromkeys((*kinds, analogue.SNAP, analogue.SWEEP)))


def _looked_as(
    kind: str,
    samples: Array,
    interval: float,
    start: float,
    at: Circumstances,
    levels: StateLevels,
    unit: str,
) -> Finding | None:
    if kind in (switching.FREQUENCY, switching.WHEEL, switching.SERIAL):
        return _edges_as(kind, *edges_of(samples, levels, interval, start))
    plain = {
        analogue.SWEEP: analogue.as_sweep,
        analogue.SNAP: analogue.as_snap,
        analogue.OXYGEN: analogue.as_oxygen,
        analogue.PICKUP: analogue.as_pickup,
    }
    if kind in plain:
        return plain[kind](samples, interval, start)
    if kind == analogue.SUPPLY:
        return analogue.as_supply(samples, interval, start, engine_rpm=at.rpm or None)
    if not at.n_cylinder:
        return None
    is_voltage = unit != "A"
    return analogue.as_cranking(
        samples, interval, start, n_cylinder=at.n_cylinder, is_voltage=is_voltage, sync=None
    )


def _edges_as(kind: str, rising: Array, falling: Array) -> Finding:
    if kind == switching.SERIAL:
        return switching.as_serial(falling)
    if kind == switching.WHEEL:
        return switching.as_wheel(falling if falling.size else rising)
    return switching.as_frequency(rising, falling)
