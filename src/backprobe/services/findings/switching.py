"""Signals that switch between two levels: frequency, toothed wheels, serial pulses."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.demodulation import Modulation, ModulationVerdict, demodulated
from backprobe.core.waveform.sent_frames import SentReading, SentVerdict, sent_frames
from backprobe.core.waveform.tooth_deviation import tooth_deviation
from backprobe.core.waveform.toothed_wheel import (
    OddEdge,
    WheelReading,
    WheelVerdict,
    toothed_wheel,
)
from backprobe.services.findings.words import (
    Finding,
    hertz,
    instant,
    listed,
    per_cent,
    seconds,
    significant,
)

Array = NDArray[np.float64]

FREQUENCY: Final = "frequency"
WHEEL: Final = "toothed wheel"
SERIAL: Final = "serial pulses"
EVEN_TEETH: Final = "Even pulses, as of a wheel with even teeth"
_MOST_EDGES: Final = 200_000  # that are looked at; a wheel repeats itself long before
_STEADY: Final = 0.03  # spread of a frequency, as a share, up to which it is one
_SHOWN: Final = 4  # places that a sentence names


def as_serial(falling: Array) -> Finding:
    """Pulses by SAE J2716."""
    found = sent_frames(falling[:_MOST_EDGES])
    if found.verdict in (SentVerdict.NOT_SENT, SentVerdict.TOO_SHORT):
        return Finding(SERIAL, is_it=False)
    good = [frame for frame in found.frames if frame.fault is None]
    told = [
        (
            f"Serial pulses by SAE J2716: {len(found.frames)} frames of {found.n_data} nibbles,"
            f" tick {seconds(found.tick)}, {significant(found.frame_rate)} frames a second"
            f"{', with pause pulses' if found.has_pause else ''}."
        )
    ]
    if good:
        last = good[-1]
        nibbles = " ".join(f"{each:X}" for each in last.data)
        told.append(f"Last sound frame: status {last.status:X}, data {nibbles}.")
    return Finding(SERIAL, tuple(told), _serial_doubts(found))


def _serial_doubts(found: SentReading) -> tuple[str, ...]:
    doubts = [f"{count} frames with: {fault.value}." for fault, count in found.faults if count]
    if found.verdict is SentVerdict.SHAPE_ONLY:
        doubts.append("Shaped like SAE J2716, but no check sum agrees: take the data as unproven.")
    return tuple(doubts)


def as_wheel(edges: Array) -> Finding:
    """A wheel with teeth before a sensor."""
    used = edges[:_MOST_EDGES]
    found = toothed_wheel(used)
    if found.verdict is WheelVerdict.TOO_SHORT:
        return Finding(WHEEL, is_it=False, doubts=("The record is too short to tell a wheel.",))
    if found.verdict is WheelVerdict.IRREGULAR:
        return Finding(WHEEL, is_it=False)
    told = [_wheel_words(found)]
    if found.speed_rpm.size:
        low, high = float(found.speed_rpm.min()), float(found.speed_rpm.max())
        told.append(
            f"Speed of the wheel {low:.0f} rpm."
            if high - low < 0.5
            else f"Speed of the wheel from {low:.0f} to {high:.0f} rpm."
        )
    return Finding(WHEEL, tuple(told), tuple(_wheel_doubts(found, used)))


def _wheel_words(found: WheelReading) -> str:
    if found.verdict is WheelVerdict.EVEN:
        return f"{EVEN_TEETH}: nothing marks one turn of the wheel from the next."
    teeth = found.turn_pitches - sum(gap.missing for gap in found.gaps)
    if found.gaps:
        gaps = [f"{gap.missing} missing after tooth {gap.after_tooth}" for gap in found.gaps]
        return f"A wheel of {found.turn_pitches} pitches with {teeth} teeth: {listed(gaps)}."
    added = len(found.added)
    return f"A wheel of {found.turn_pitches} teeth and {added} added to mark the turn."


def _wheel_doubts(found: WheelReading, edges: Array) -> list[str]:
    doubts = []
    for kind, words in ((OddEdge.LOST, "missing"), (OddEdge.FALSE, "too many")):
        odd = [each for each in found.single_faults if each.kind is kind]
        if odd:
            where = listed([instant(each.instant) for each in odd[:_SHOWN]])
            more = f" and {len(odd) - _SHOWN} more times" if len(odd) > _SHOWN else ""
            doubts.append(f"Once in a while an edge is {words}: {where}{more}.")
    bad = tooth_deviation(edges, found).displaced
    if bad:
        which = [
            f"tooth {each.tooth} ({per_cent(abs(each.displacement))} of a pitch"
            f" {'late' if each.displacement > 0 else 'early'})"
            for each in bad[:_SHOWN]
        ]
        doubts.append(f"Off their places in every turn: {listed(which)}. Look at the wheel there.")
    return doubts


def as_frequency(rising: Array, falling: Array) -> Finding:
    """A frequency that carries a value."""
    found = demodulated(rising[:_MOST_EDGES], falling[:_MOST_EDGES])
    if found.verdict in (ModulationVerdict.TOO_SHORT, ModulationVerdict.IRREGULAR):
        return Finding(FREQUENCY, is_it=False)
    if found.verdict is ModulationVerdict.EVEN_GAPS or not found.frequency.size:
        return Finding(FREQUENCY, is_it=False)
    return Finding(FREQUENCY, tuple(_frequency_words(found)), tuple(_gap_words(found)))


def _frequency_words(found: Modulation) -> list[str]:
    low, high = (float(each) for each in np.nanquantile(found.frequency, [0.01, 0.99]))
    duty = float(np.nanmean(found.duty))
    # Periods differ by a sample or two; of a steady pace the mean is told.
    mean = float(1.0 / np.nanmean(1.0 / found.frequency))
    span = hertz(mean) if high - low < _STEADY * high else f"{hertz(low)} to {hertz(high)}"
    return [f"A frequency of {span}, high for {per_cent(duty)} of the time."]


def _gap_words(found: Modulation) -> list[str]:
    if not found.gaps:
        return []
    where = [f"{instant(gap.start)} for {seconds(gap.stop - gap.start)}" for gap in found.gaps]
    more = f" and {len(where) - _SHOWN} more" if len(where) > _SHOWN else ""
    return [f"The pulses stop {listed(where[:_SHOWN])}{more}: look for a loose contact."]
