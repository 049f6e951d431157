"""Signals that move between levels: sweeps, snaps, oxygen cells, pick-ups, supplies, cranking."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.inductive_pickup import (
    AmplitudeLaw,
    PickupVerdict,
    ToothSlope,
    inductive_pickup,
)
from backprobe.core.waveform.oxygen_switching import (
    OxygenReading,
    OxygenVerdict,
    oxygen_switching,
)
from backprobe.core.waveform.position_sweep import SweepVerdict, TrackSweep, track_sweep
from backprobe.core.waveform.relative_compression import (
    CompressionVerdict,
    relative_compression,
)
from backprobe.core.waveform.snap_throttle import SnapReading, SnapVerdict, snap_throttle
from backprobe.core.waveform.supply_ripple import (
    RippleSource,
    RippleVerdict,
    supply_ripple,
)
from backprobe.services.findings.words import (
    Finding,
    hertz,
    instant,
    listed,
    per_cent,
    seconds,
    significant,
    volts,
)

Array = NDArray[np.float64]

SWEEP: Final = "sweep"
SNAP: Final = "snap throttle"
OXYGEN: Final = "oxygen cell"
PICKUP: Final = "inductive pick-up"
SUPPLY: Final = "supply"
CRANKING: Final = "cranking"
_SHOWN: Final = 4


def as_sweep(samples: Array, interval: float, start: float) -> Finding:
    """A throttle or pedal moved from stop to stop."""
    found = track_sweep(samples, interval, start)
    if found.verdict in (SweepVerdict.NOT_A_SWEEP, SweepVerdict.NO_SWEEP):
        return Finding(SWEEP, is_it=False)
    held = [] if found.rest_held and found.far_held else ["An end stop was not held; hold each."]
    told = (
        (
            f"A sweep from {volts(found.rest)} to {volts(found.far)} in"
            f" {seconds(found.sweep_duration)}, {found.n_pass} times:"
            f" {found.verdict.value}{'' if found.is_monotonic else ', not always rising'}."
        ),
    )
    if found.verdict is SweepVerdict.HURRIED:
        held.append("Swept too fast to see a short dead spot: take three seconds or more.")
    return Finding(SWEEP, told, (*_dead_spots(found), *held))


def _dead_spots(found: TrackSweep) -> list[str]:
    spots = [
        f"at {per_cent(spot.travel)} of the travel ({instant(spot.start)}) it goes to"
        f" {volts(spot.level)} for {seconds(spot.duration)}"
        for spot in found.spots
    ]
    more = [f"{len(spots) - _SHOWN} more"] if len(spots) > _SHOWN else []
    return [f"Dead spots: {listed(spots[:_SHOWN] + more)}."] if spots else []


def as_snap(samples: Array, interval: float, start: float) -> Finding:
    """Air mass or manifold pressure while the throttle is snapped open."""
    found = snap_throttle(samples, interval, start)
    if found.verdict in (SnapVerdict.NO_SNAP, SnapVerdict.NOT_A_SNAP) or found.peak is None:
        return Finding(SNAP, is_it=False)
    told = [
        (
            f"A snap of the throttle: from {volts(found.rest)} at rest to a peak of"
            f" {volts(found.peak.value)} {instant(found.peak.instant)}, rising in"
            f" {seconds(found.rise_duration)}."
        )
    ]
    return Finding(SNAP, (*told, *_after_the_peak(found)), tuple(_snap_doubts(found)))


def _after_the_peak(found: SnapReading) -> list[str]:
    parts = []
    if found.dip is not None:
        parts.append(f"a dip to {volts(found.dip.value)} {instant(found.dip.instant)}")
    if found.hump is not None:
        parts.append(f"a second hump of {volts(found.hump.value)} {instant(found.hump.instant)}")
    if math.isfinite(found.recovery):
        parts.append(f"back at rest {seconds(found.recovery)} after the peak")
    return [f"Then {listed(parts)}."] if parts else []


def _snap_doubts(found: SnapReading) -> list[str]:
    doubts = []
    if found.is_clipped:
        doubts.append("The top is cut off: at the sensor's limit, or beyond the channel's range.")
    if found.verdict is SnapVerdict.SLOW:
        doubts.append(
            "It rises too slowly for a snap: opened by hand, or a sensor that follows slowly."
        )
    if found.verdict is SnapVerdict.CUT_OFF:
        doubts.append("The record begins in the rise: the level at rest is not in it.")
    return doubts


def as_oxygen(samples: Array, interval: float, start: float) -> Finding:
    """A zirconia cell against lambda one."""
    found = oxygen_switching(samples, interval, start)
    if found.verdict in (OxygenVerdict.NOT_A_CELL, OxygenVerdict.TOO_SHORT):
        return Finding(OXYGEN, is_it=False)
    told = [
        (
            f"An oxygen cell that {_oxygen_words(found.verdict)}: rich {volts(found.rich_level)},"
            f" lean {volts(found.lean_level)}, rich for {per_cent(found.share_rich)} of the time,"
            f" {significant(found.crossings_per_second)} crossings a second."
        )
    ]
    for name, times in (
        ("Lean to rich", found.lean_to_rich),
        ("Rich to lean", found.rich_to_lean),
    ):
        if times.count:
            told.append(
                f"{name} in {seconds(times.between_levels)} between 300 and 600 mV (slowest"
                f" {seconds(times.slowest)}, {times.count} times)."
            )
    return Finding(OXYGEN, tuple(told), tuple(_oxygen_doubts(found)))


def _oxygen_words(verdict: OxygenVerdict) -> str:
    return {
        OxygenVerdict.STEADY: "stays steady in between, as behind a catalyst",
        OxygenVerdict.FOREIGN_VOLTAGE: "shows a voltage that no such cell makes",
        OxygenVerdict.REVERSED: "goes negative",
    }.get(verdict, verdict.value)


def _oxygen_doubts(found: OxygenReading) -> list[str]:
    """Limits: common practice (rich above 0.8 V, lean below 0.2 V, lean to rich in 0.1 s)."""
    doubts = []
    if found.is_lazy_rich or found.is_lazy_lean:
        side = listed(
            [s for s, lazy in (("rich", found.is_lazy_rich), ("lean", found.is_lazy_lean)) if lazy]
        )
        doubts.append(f"It does not go far enough to {side}.")
    if found.is_slow:
        doubts.append("It changes over slowly: an aged or cold cell, or its heater.")
    if found.verdict in (
        OxygenVerdict.AT_BIAS,
        OxygenVerdict.STUCK_RICH,
        OxygenVerdict.STUCK_LEAN,
        OxygenVerdict.FOREIGN_VOLTAGE,
        OxygenVerdict.REVERSED,
    ):
        doubts.append(
            f"It {found.verdict.value}."
            if found.verdict.value.startswith("stays")
            else f"{found.verdict.value[0].upper()}{found.verdict.value[1:]}."
        )
    return doubts


def as_pickup(samples: Array, interval: float, start: float) -> Finding:
    """An inductive pick-up before a toothed wheel."""
    found = inductive_pickup(samples, interval, start)
    if found.verdict in (
        PickupVerdict.NOT_A_PICKUP,
        PickupVerdict.NO_SIGNAL,
        PickupVerdict.TOO_SHORT,
    ):
        return Finding(PICKUP, is_it=False)
    told = [
        (
            f"An inductive pick-up: peaks of {volts(found.positive_peak)} and"
            f" {volts(found.negative_peak)}, offset {volts(found.offset)}."
        )
    ]
    if found.tooth_slope is ToothSlope.CANT_TELL:
        told.append("Which slope is at the teeth can't be told: there is no gap to tell it by.")
    else:
        told.append(
            f"At the teeth it crosses its middle {found.tooth_slope.value}; compare with what the"
            " control unit needs, exchanged wires turn it round."
        )
    doubts = []
    if found.verdict is PickupVerdict.ONE_SIDED:
        doubts.append(
            "One half wave is nearly gone: one side grounded, or a damaged coil or shield."
        )
    if found.law is AmplitudeLaw.NOT_PROPORTIONAL:
        doubts.append(
            f"Its height grows with speed to the power {significant(found.exponent, 2)}, not in"
            " proportion: a loaded coil, or the gap to the wheel changes."
        )
    return Finding(PICKUP, tuple(told), tuple(doubts))


def as_supply(
    samples: Array, interval: float, start: float, *, engine_rpm: float | None
) -> Finding:
    """A supply, with the AC that rides on it."""
    found = supply_ripple(samples, interval, start, engine_rpm=engine_rpm)
    if found.verdict in (RippleVerdict.NOT_A_SUPPLY, RippleVerdict.TOO_SHORT):
        return Finding(SUPPLY, is_it=False)
    told = [
        (
            f"A supply of {volts(found.mean)} with {volts(found.ripple)} AC on it"
            f" ({volts(found.peak_to_peak)} from peak to peak): {found.verdict.value}."
        )
    ]
    if math.isfinite(found.frequency) and found.source is not RippleSource.NO_LINE:
        told.append(f"The ripple is at {hertz(found.frequency)}: {found.source.value}.")
    doubts = [
        f"It drops by {volts(each.depth)} to {volts(each.lowest)} {instant(each.start)} for"
        f" {seconds(each.duration)}."
        for each in found.drops[:_SHOWN]
    ]
    if found.source is RippleSource.UNEVEN_ALTERNATOR:
        doubts.append("Humps of unequal height: test the alternator's diodes.")
    return Finding(SUPPLY, tuple(told), tuple(doubts))


def as_cranking(
    samples: Array,
    interval: float,
    start: float,
    *,
    n_cylinder: int,
    is_voltage: bool,
    sync: Array | None,
) -> Finding:
    """Starter current or battery voltage while the engine is cranked."""
    found = relative_compression(
        samples, interval, n_cylinder, start, is_voltage=is_voltage, sync=sync
    )
    if found.verdict is CompressionVerdict.NOT_CRANKING:
        return Finding(CRANKING, is_it=False)
    if found.verdict is CompressionVerdict.CANT_TELL:
        return Finding(
            CRANKING, ("Cranked, but too little of it to compare the cylinders.",), (), True
        )
    heights = [
        f"{each.order}: {per_cent(each.relative)} ± {per_cent(2.0 * each.uncertainty)}"
        for each in found.cylinders
    ]
    by = "from the sync edge" if found.has_sync else "in the order of firing, from an unknown one"
    told = (
        (
            f"Cranked at {found.speed_rpm:.0f} rpm; against the strongest, counted {by}:"
            f" {'; '.join(heights)}."
        ),
    )
    weak = [str(each.order) for each in found.cylinders if each.is_weak]
    doubts = (f"Weaker than the others: number {listed(weak)}. Test its compression.",)
    return Finding(CRANKING, told, doubts if weak else ())
