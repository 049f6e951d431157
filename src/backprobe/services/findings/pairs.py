"""Two channels of one capture against each other: tracks, delay, the drop along a wire, cam."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.cam_phase import CamVerdict, cam_phase
from backprobe.core.waveform.channel_pair import PairVerdict, channel_pair
from backprobe.core.waveform.position_sweep import SweepVerdict, track_sweep
from backprobe.core.waveform.toothed_wheel import WheelVerdict, toothed_wheel
from backprobe.core.waveform.track_pair import TrackLaw, track_pair
from backprobe.core.waveform.wire_drop import DropVerdict, wire_drop
from backprobe.services.findings.words import (
    Finding,
    instant,
    listed,
    per_cent,
    seconds,
    significant,
    volts,
)

Array = NDArray[np.float64]

TRACKS: Final = "two tracks"
DELAY: Final = "two channels"
DROP: Final = "along a wire"
CAM: Final = "cam against crank"
_SHOWN: Final = 4
_ALIKE: Final = 0.9  # correlation from which two channels are worth a word


def as_tracks(first: Array, second: Array, interval: float, start: float) -> Finding:
    """Two tracks of one throttle or pedal."""
    sweeps = track_sweep(first, interval, start), track_sweep(second, interval, start)
    usable = (SweepVerdict.SMOOTH, SweepVerdict.DEAD_SPOTS, SweepVerdict.HURRIED)
    if any(each.verdict not in usable for each in sweeps):
        return Finding(TRACKS, is_it=False)
    found = track_pair(*sweeps, interval, start)
    if found.law is TrackLaw.CANT_TELL:
        return Finding(TRACKS, ("Too little movement to tell the law between the tracks.",))
    told = (f"Two tracks, {found.law.value}; slope {significant(found.slope)}.",)
    where = [
        f"at {per_cent(each.travel)} of the travel by {volts(abs(each.deviation))}"
        f" ({instant(each.start)}, {seconds(each.duration)})"
        for each in found.disagreements[:_SHOWN]
    ]
    doubts = (f"They disagree {listed(where)}.",) if where else ()
    return Finding(TRACKS, told, doubts)


def as_delay(first: Array, second: Array, interval: float) -> Finding:
    """Whether one channel follows the other, and how late."""
    found = channel_pair(first, second, interval)
    if found.verdict in (PairVerdict.UNRELATED, PairVerdict.FLAT) or (
        abs(found.correlation) < _ALIKE
    ):
        return Finding(DELAY, is_it=False)
    late = "after" if found.delay >= 0 else "before"
    told = [
        (
            f"The channels are {found.verdict.value}; the second comes {seconds(abs(found.delay))}"
            f" {late} the first (± {seconds(2.0 * found.delay_uncertainty)}), its size"
            f" {significant(found.gain)} times."
        )
    ]
    if math.isfinite(found.repeats_after) and found.repeats_after > 0:
        told.append(f"A delay longer by {seconds(found.repeats_after)} fits as well.")
    return Finding(DELAY, tuple(told))


def as_drop(first: Array, second: Array, interval: float, current: Array | None) -> Finding:
    """What is lost between two ends of a wire."""
    found = wire_drop(first, second, interval, current)
    if found.verdict is DropVerdict.CANT_TELL:
        return Finding(DROP, is_it=False)
    told = [
        f"Along the wire {volts(found.at_high)} are lost at the high level"
        f" (± {volts(2.0 * found.at_high_uncertainty)})"
        + (f", {volts(found.at_low)} at the low one." if math.isfinite(found.at_low) else ".")
    ]
    if math.isfinite(found.resistance):
        told.append(
            f"That is {significant(found.resistance)} ohm"
            f" (± {significant(2.0 * found.resistance_uncertainty, 2)}): {found.verdict.value}."
        )
    else:
        told.append("In ohms only with the current: put a clamp on the wire.")
    return Finding(DROP, tuple(told))


def as_cam(crank: Array, cam: Array) -> Finding:
    """Edges of a cam wheel on two turns of the crank."""
    wheel = toothed_wheel(crank)
    if wheel.verdict not in (WheelVerdict.MISSING_TEETH, WheelVerdict.ADDED_TEETH):
        return Finding(CAM, is_it=False)
    found = cam_phase(crank, wheel, cam)
    if found.verdict is CamVerdict.CANT_TELL:
        return Finding(CAM, is_it=False)
    places = [f"{each.angle_deg:.1f}°" for each in found.edges]
    turn = "one turn" if found.repeats_each_turn else "two turns"
    told = (
        (
            f"Edges of the other channel over {turn} of the crank, from its mark: {listed(places)};"
            f" {found.verdict.value}."
        ),
    )
    doubts = []
    if found.verdict is CamVerdict.DRIFTS:
        doubts.append("It moves against the crank: cam adjustment at work, or a slack chain.")
    if found.n_astray:
        doubts.append(f"{found.n_astray} edges fall nowhere near their places.")
    return Finding(CAM, told, tuple(doubts))
