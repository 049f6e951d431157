"""Frames of single edge nibble transmission, SENT, from the instants of falling edges.

SAE J2716 [j2716]: a frame is a synchronisation pulse of 56 ticks, a status nibble, one to six data
nibbles and a check sum, each nibble 12 ticks plus its value from falling to falling edge, and
perhaps a pause of 12 to 768 ticks that makes all frames equally long. A tick is 3 to 90 µs and
may be off by a fifth; calibration pulses that follow one another agree within 1/64.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import ValueOutOfRange
from backprobe.standards.sent_crc import legacy_crc, recommended_crc

Array: TypeAlias = NDArray[np.float64]

SYNC_TICKS: Final = 56
NIBBLE_BASE_TICKS: Final = 12
PAUSE_TICKS: Final = (12, 768)
# [j2716]: 3 to 90 µs, each up to 20 % off.
TICK_LIMITS: Final = (0.8 * 3e-6, 1.2 * 90e-6)
CALIBRATION_SHARE: Final = 1.0 / 64.0
MAX_DATA_NIBBLES: Final = 6
# A frame length is taken for constant where frames agree as well as calibration pulses have to.
CONSTANT_SHARE: Final = CALIBRATION_SHARE
# Pulses of another kind fall into the pattern now and then; frames account for most of SENT's.
MIN_EXPLAINED_SHARE: Final = 0.3


class SentVerdict(Enum):
    """What the edges turned out to be."""

    FRAMES = "frames"
    FRAMES_WITH_ERRORS = "frames with errors"
    SHAPE_ONLY = "shaped like SENT, but the check sums agree with no form"
    NOT_SENT = "not SENT"
    TOO_SHORT = "too short"


class CrcForm(Enum):
    """Which form of the check sum the frames carry."""

    RECOMMENDED = "recommended"
    LEGACY = "legacy"
    EITHER = "either"
    NEITHER = "neither"


class FrameFault(Enum):
    """Why a frame that was begun doesn't count."""

    PULSE_COUNT = "wrong number of pulses"
    NIBBLE_RANGE = "nibble out of range"
    CHECK_SUM = "check sum"
    CALIBRATION_STEP = "calibration pulse differs from the last"


@dataclass(frozen=True)
class SentFrame:
    """One whole frame.

    Parameters
    ----------
    start : float
        Instant of the falling edge that begins the synchronisation pulse, s.
    tick : float
        Duration of a tick in this frame, s.
    status : int
        The status nibble.
    data : tuple of int
        The data nibbles, as sent.
    check : int
        The check sum, as sent.
    pause_ticks : float
        Duration of the pause pulse, ticks; NaN where there is none.
    duration : float
        Whole frame with its pause, s.
    fault : FrameFault or None
        What is wrong with it.
    """

    start: float
    tick: float
    status: int
    data: tuple[int, ...]
    check: int
    pause_ticks: float
    duration: float
    fault: FrameFault | None = None


@dataclass(frozen=True)
class SentReading:
    """What falling edges say as SENT.

    Parameters
    ----------
    verdict : SentVerdict
        Frames, with errors or only in shape, another kind of signal, or too short to tell.
    frames : tuple of SentFrame
        Whole frames in the order of time, the faulty ones too.
    n_data : int
        Data nibbles in a frame; 0 where there are no frames.
    has_pause : bool
        Whether a pause pulse ends each frame.
    crc_form : CrcForm
        The form that all but a few of the frames agree with.
    tick : float
        Mean tick, s; NaN where there are no frames.
    tick_uncertainty : float
        Standard uncertainty of the mean from the scatter between frames, s; NaN below two frames.
    frame_rate : float
        Frames per second, from the starts of neighbouring frames; NaN where not known.
    is_constant_length : bool
        Whether frames are equally long although their data differ.
    faults : tuple of (FrameFault, int)
        Each kind of fault that was seen, and how often.
    """

    verdict: SentVerdict
    frames: tuple[SentFrame, ...] = ()
    n_data: int = 0
    has_pause: bool = False
    crc_form: CrcForm = CrcForm.NEITHER
    tick: float = float("nan")
    tick_uncertainty: float = float("nan")
    frame_rate: float = float("nan")
    is_constant_length: bool = False
    faults: tuple[tuple[FrameFault, int], ...] = ()


@dataclass(frozen=True)
class _Layout:
    n_data: int
    has_pause: bool

    @property
    def n_nibble(self) -> int:
        return self.n_data + 2

    @property
    def n_pulse(self) -> int:
        return self.n_nibble + 1 + self.has_pause


def sent_frames(falling: Array) -> SentReading:
    """Decode SENT frames.

    Parameters
    ----------
    falling : ndarray, shape (n_edge,)
        Instants of the falling edges, s, rising.

    Returns
    -------
    SentReading
        The frames, the layout that explains most of the edges, and what is wrong.

    Raises
    ------
    ValueOutOfRange
        The instants don't rise, or aren't finite.

    Notes
    -----
    [j2716]. The number of data nibbles and the pause are not known beforehand: the layout is the
    one under which most synchronisation pulses are followed by another at the right place.
    """
    edges = np.asarray(falling, dtype=np.float64)
    if edges.ndim != 1 or not np.all(np.isfinite(edges)) or np.any(np.diff(edges) <= 0.0):
        raise ValueOutOfRange(
            "the instants of falling edges don't rise.",
            where="SENT",
            remedy="Give each edge once, in the order of time.",
        )
    pulses = np.diff(edges)  # (n_edge - 1,), s
    if pulses.size < 4:
        return SentReading(SentVerdict.TOO_SHORT)
    layout, n_pairs = _likeliest_layout(pulses)
    if layout is None or n_pairs * layout.n_pulse < MIN_EXPLAINED_SHARE * pulses.size:
        enough = pulses.size >= 3 * (MAX_DATA_NIBBLES + 4)
        return SentReading(SentVerdict.NOT_SENT if enough else SentVerdict.TOO_SHORT)
    return _decoded(edges, pulses, layout)


def _likeliest_layout(pulses: Array) -> tuple[_Layout | None, int]:
    best: _Layout | None = None
    best_pairs, best_agreeing = 0, -1
    for n_data in range(1, MAX_DATA_NIBBLES + 1):
        for has_pause in (False, True):
            layout = _Layout(n_data, has_pause)
            pairs = _paired_starts(pulses, layout)
            agreeing = _agreeing_checks(pulses, pairs, layout)
            if (pairs.size, agreeing) > (best_pairs, best_agreeing) and pairs.size:
                best, best_pairs, best_agreeing = layout, pairs.size, agreeing
    return best, best_pairs


def _is_frame_start(pulses: Array, layout: _Layout) -> NDArray[np.bool_]:
    """Tell for each pulse whether it could be the synchronisation pulse of a whole frame."""
    n_start = pulses.size - layout.n_pulse + 1
    if n_start <= 0:
        return np.zeros(0, dtype=np.bool_)
    tick = pulses[:n_start] / SYNC_TICKS
    possible = (tick >= TICK_LIMITS[0]) & (tick <= TICK_LIMITS[1])
    for place in range(1, layout.n_nibble + 1):
        ticks = pulses[place : place + n_start] / tick
        possible &= (ticks > NIBBLE_BASE_TICKS - 0.5) & (ticks < NIBBLE_BASE_TICKS + 15.5)
    if layout.has_pause:
        ticks = pulses[layout.n_pulse - 1 : layout.n_pulse - 1 + n_start] / tick
        possible &= (ticks > PAUSE_TICKS[0] - 0.5) & (ticks < PAUSE_TICKS[1] * 1.02)
    return possible


def _paired_starts(pulses: Array, layout: _Layout) -> NDArray[np.intp]:
    """Find the synchronisation pulses that another follows at the right place, of its length."""
    possible = _is_frame_start(pulses, layout)
    starts = np.flatnonzero(possible)
    following = starts + layout.n_pulse
    starts, following = starts[following < pulses.size], following[following < pulses.size]
    change = np.abs(pulses[following] / pulses[starts] - 1.0)
    return starts[change <= CALIBRATION_SHARE]


def _nibbles(pulses: Array, start: int, layout: _Layout) -> list[int]:
    tick = pulses[start] / SYNC_TICKS
    ticks = pulses[start + 1 : start + 1 + layout.n_nibble] / tick
    return [round(float(value)) - NIBBLE_BASE_TICKS for value in ticks]


def _agreeing_checks(pulses: Array, starts: NDArray[np.intp], layout: _Layout) -> int:
    agreeing = 0
    for start in starts[:50]:  # a tie-break: more frames would not tell more
        values = _nibbles(pulses, int(start), layout)
        forms = (recommended_crc(values[1:-1]), legacy_crc(values[1:-1]))
        agreeing += values[-1] in forms
    return agreeing


def _decoded(edges: Array, pulses: Array, layout: _Layout) -> SentReading:
    paired = _paired_starts(pulses, layout)
    usual_sync = float(np.median(pulses[paired]))
    faults = dict.fromkeys(FrameFault, 0)
    begun: list[SentFrame] = []
    for start, stop in _spans(pulses, usual_sync, layout):
        fault = _pulse_fault(pulses, start, stop, layout)
        if fault is None:
            begun.append(_frame(edges, pulses, start, layout))
        else:
            faults[fault] += 1
    form = _crc_form(begun)
    frames = tuple(_judged(begun, form))
    for frame in frames:
        if frame.fault is not None:
            faults[frame.fault] += 1
    counted = tuple((kind, n) for kind, n in faults.items() if n)
    ticks = np.array([frame.tick for frame in frames])
    durations = np.array([frame.duration for frame in frames])
    return SentReading(
        _verdict(form, counted),
        frames,
        layout.n_data,
        layout.has_pause,
        form,
        float(ticks.mean()),
        float(ticks.std(ddof=1) / np.sqrt(ticks.size)) if ticks.size > 1 else float("nan"),
        1.0 / float(np.median(durations)),
        bool(np.ptp(durations) <= CONSTANT_SHARE * np.median(durations)),
        counted,
    )


def _verdict(form: CrcForm, faults: tuple[tuple[FrameFault, int], ...]) -> SentVerdict:
    if form is CrcForm.NEITHER:
        return SentVerdict.SHAPE_ONLY
    return SentVerdict.FRAMES_WITH_ERRORS if faults else SentVerdict.FRAMES


def _spans(pulses: Array, usual_sync: float, layout: _Layout) -> Iterator[tuple[int, int]]:
    """Give first pulse and end of every frame: from one synchronisation pulse to the next.

    The record's own first and last pieces are cut off by its ends and so are no faults.
    """
    near = np.abs(pulses / usual_sync - 1.0) <= 4.0 * CALIBRATION_SHARE
    starts = [int(start) for start in np.flatnonzero(near)]
    if layout.has_pause:
        # A pause may last as long as a synchronisation pulse: the one that sits where a pause must.
        starts = _without_pauses(starts, layout)
    yield from pairwise(starts)
    if starts and starts[-1] + layout.n_pulse <= pulses.size:
        yield starts[-1], starts[-1] + layout.n_pulse


def _without_pauses(starts: list[int], layout: _Layout) -> list[int]:
    kept: list[int] = []
    for place, start in enumerate(starts):
        is_pause_place = bool(kept) and start - kept[-1] == layout.n_pulse - 1
        is_followed = place + 1 < len(starts) and starts[place + 1] == start + 1
        if not (is_pause_place and is_followed):
            kept.append(start)
    return kept


def _pulse_fault(pulses: Array, start: int, stop: int, layout: _Layout) -> FrameFault | None:
    if stop - start != layout.n_pulse:
        return FrameFault.PULSE_COUNT
    if not all(0 <= value <= 15 for value in _nibbles(pulses, start, layout)):
        return FrameFault.NIBBLE_RANGE
    return None


def _frame(edges: Array, pulses: Array, start: int, layout: _Layout) -> SentFrame:
    values = _nibbles(pulses, start, layout)
    tick = float(pulses[start]) / SYNC_TICKS
    pause = float(pulses[start + layout.n_pulse - 1]) / tick if layout.has_pause else float("nan")
    return SentFrame(
        float(edges[start]),
        tick,
        values[0],
        tuple(values[1:-1]),
        values[-1],
        pause,
        float(edges[start + layout.n_pulse] - edges[start]),
    )


def _crc_form(frames: list[SentFrame]) -> CrcForm:
    """Choose the form that at least half of the frames agree with.

    Wrong check sums agree by chance once in sixteen frames, so half is far from both.
    """
    recommended = sum(frame.check == recommended_crc(frame.data) for frame in frames)
    legacy = sum(frame.check == legacy_crc(frame.data) for frame in frames)
    if max(recommended, legacy) * 2 < len(frames) or not frames:
        return CrcForm.NEITHER
    if recommended == legacy:
        return CrcForm.EITHER
    return CrcForm.RECOMMENDED if recommended > legacy else CrcForm.LEGACY


def _judged(frames: list[SentFrame], form: CrcForm) -> Iterator[SentFrame]:
    last_tick = float("nan")
    for frame in frames:
        fault: FrameFault | None = None
        if abs(frame.tick / last_tick - 1.0) > CALIBRATION_SHARE:
            fault = FrameFault.CALIBRATION_STEP
        elif not _check_holds(frame, form):
            fault = FrameFault.CHECK_SUM
        last_tick = frame.tick
        yield SentFrame(
            frame.start,
            frame.tick,
            frame.status,
            frame.data,
            frame.check,
            frame.pause_ticks,
            frame.duration,
            fault,
        )


def _check_holds(frame: SentFrame, form: CrcForm) -> bool:
    wanted = {
        CrcForm.RECOMMENDED: (recommended_crc(frame.data),),
        CrcForm.LEGACY: (legacy_crc(frame.data),),
        CrcForm.EITHER: (recommended_crc(frame.data), legacy_crc(frame.data)),
        CrcForm.NEITHER: (),
    }[form]
    return frame.check in wanted
