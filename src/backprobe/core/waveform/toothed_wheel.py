"""The wheel behind a train of edges: its missing or added teeth, and its speed.

Only the times between edges are known. Most of them are one pitch long, so a pitch is the median of
the times near by, which follows a changing speed. A place without a tooth makes a time of two or
more pitches; an added tooth divides a pitch in two. Whatever comes back after the same number of
pitches belongs to the wheel; what happens once is an edge that was lost or one too many.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.pitch_places import marks_between, pitch_places
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

# Of a wheel's times at least this share is a whole number of pitches (cranking speeds change from
# tooth to tooth).
_WHOLE_SHARE: Final = 0.78
# Share of marks (gaps, added teeth) that come back after one turn: lost edges lower it.
_REPEAT_SHARE: Final = 0.5
_MAX_TURN_PITCHES: Final = 400
# An even wheel may have this share of single marks, from lost and false edges.
_ODD_SHARE: Final = 0.03
_MIN_EDGES: Final = 12
# So many marks would show two turns of any wheel in use.
_MANY_MARKS: Final = 16
MIN_TURNS: Final = 2.0
# With more lost and false edges than this the count of pitches slips, and the pattern with it.
_FAULT_SHARE: Final = 0.035


class WheelVerdict(Enum):
    """What kind of wheel the edges come from."""

    MISSING_TEETH = "wheel with missing teeth"
    ADDED_TEETH = "wheel with added teeth"
    EVEN = "even teeth, no mark that tells one turn from the next"
    IRREGULAR = "no wheel: the times between edges follow no pitch or repeat nowhere"
    TOO_SHORT = "too short to tell"


class OddEdge(Enum):
    """What went wrong once, at one place."""

    LOST = "lost edge"
    FALSE = "edge too many"


@dataclass(frozen=True)
class WheelGap:
    """Places without a tooth.

    Parameters
    ----------
    after_tooth : int
        Number of the tooth place before it, counted from 1 = first tooth after the largest gap.
    missing : int
        Teeth that are missing there.
    """

    after_tooth: int
    missing: int


@dataclass(frozen=True)
class SingleFault:
    """An edge lost or too many, seen at this place once.

    Parameters
    ----------
    instant : float
        s.
    tooth : float
        Tooth place, from 1; a fraction lies between two. NaN for an even wheel.
    kind : OddEdge
        Which of the two.
    """

    instant: float
    tooth: float
    kind: OddEdge


@dataclass(frozen=True, eq=False)
class WheelReading:
    """What edges say about a wheel.

    Parameters
    ----------
    verdict : WheelVerdict
        The kind of wheel, or why there is none.
    turn_pitches : int
        Tooth places after which the pattern repeats (60 for sixty less two); 0 where not known. A
        wheel whose marks sit evenly repeats several times a turn, and edges alone can't tell.
    gaps : tuple of WheelGap
        Places without teeth, the largest first.
    added : tuple of float
        Places of added teeth, in tooth places from 1.
    pitch_place : ndarray, shape (n_edge,)
        Place of each edge in pitches from tooth 1 of the first whole turn; a fraction is an added
        tooth or a false edge.
    single_faults : tuple of SingleFault
        Lost edges and edges too many.
    speed_instants : ndarray, shape (n_speed,)
        Middle of each turn that a speed is given for, s.
    speed_rpm : ndarray, shape (n_speed,)
        Speed over one whole turn about each instant, per minute; empty where the turn isn't known.
    """

    verdict: WheelVerdict
    turn_pitches: int
    gaps: tuple[WheelGap, ...]
    added: tuple[float, ...]
    pitch_place: Array
    single_faults: tuple[SingleFault, ...]
    speed_instants: Array
    speed_rpm: Array


def toothed_wheel(instants: Array, known_turn_pitches: int = 0) -> WheelReading:
    """Recognise the wheel behind a train of edges, one edge a tooth.

    Parameters
    ----------
    instants : ndarray, shape (n_edge,)
        Instants of edges of one slope, s, rising.
    known_turn_pitches : int
        Tooth places of one turn, where known; 0 = not known. Used for an even wheel, and for one
        whose marks sit evenly, so that its pattern repeats within a turn.

    Returns
    -------
    WheelReading
        The pattern, what went wrong, and the speed.

    Raises
    ------
    ValueOutOfRange
        The instants don't rise, or aren't finite.

    Notes
    -----
    Common practice, no source: tooth 1 is the first one after the gap.
    """
    edges = require_rising(instants, "toothed wheel")
    if edges.size < _MIN_EDGES:
        return _no_wheel(WheelVerdict.TOO_SHORT)
    place, whole_share = pitch_places(edges)
    if whole_share < _WHOLE_SHARE:
        return _no_wheel(WheelVerdict.IRREGULAR)
    missing, extra = marks_between(place)
    turn = _turn_length(missing, extra, float(place[-1]))
    if turn:
        if known_turn_pitches % turn == 0 and known_turn_pitches:
            turn = known_turn_pitches  # marks that sit evenly repeat several times a turn
        return _patterned(edges, place, turn)
    n_mark = missing.size + extra.size
    if n_mark <= max(2.0, _ODD_SHARE * place[-1]):
        return _even(edges, place, known_turn_pitches)
    is_long = place[-1] > MIN_TURNS * _MAX_TURN_PITCHES or n_mark > _MANY_MARKS
    return _no_wheel(WheelVerdict.IRREGULAR if is_long else WheelVerdict.TOO_SHORT)


def require_rising(instants: Array, where: str) -> Array:
    """Return instants as an array, or say that they don't rise.

    Parameters
    ----------
    instants : ndarray, shape (n_edge,)
        Instants, s.
    where : str
        What the error names.

    Returns
    -------
    ndarray, shape (n_edge,)
        The same, s.

    Raises
    ------
    ValueOutOfRange
        The instants don't rise, or aren't finite.
    """
    edges = np.asarray(instants, dtype=np.float64)
    if edges.ndim != 1 or not np.all(np.isfinite(edges)) or np.any(np.diff(edges) <= 0.0):
        raise ValueOutOfRange(
            "the instants of edges don't rise.",
            where=where,
            remedy="Give each edge once, in the order of time.",
        )
    return edges


def _no_wheel(verdict: WheelVerdict) -> WheelReading:
    nothing = np.zeros(0)
    return WheelReading(verdict, 0, (), (), nothing, (), nothing, nothing)


def _turn_length(missing: Array, extra: Array, last: float) -> int:
    """Find the fewest pitches after which marks come back, with two turns in sight."""
    marks = np.concatenate([missing, np.floor(extra) + 0.5])
    longest = int(min(_MAX_TURN_PITCHES, last / MIN_TURNS))
    if marks.size < 2 or longest < 3:
        return 0
    # Half places: an added tooth is no missing one.
    halves = np.sort((2.0 * marks).astype(np.int64))
    is_marked = np.zeros(int(2.0 * last) + 2 * longest + 2, dtype=np.bool_)
    is_marked[halves] = True
    turns = range(3, longest + 1)
    back = np.array([_repeat_share(halves, is_marked, turn, last) for turn in turns])
    chance = marks.size / last
    if float(back.max()) < max(_REPEAT_SHARE, chance + 0.3):
        return 0
    # Lost edges lower the share of the true turn and of its multiples alike.
    for turn, share in zip(turns, back, strict=True):
        if share >= 0.85 * back.max() and _usual(marks, turn, last).size:
            return turn
    return 0


def _repeat_share(
    halves: NDArray[np.int64], is_marked: NDArray[np.bool_], turn: int, last: float
) -> float:
    """Share of marks that come back a turn later, or a turn earlier, whichever is less."""
    n_ahead = int(np.searchsorted(halves, 2.0 * (last - turn), side="right"))
    n_behind = halves.size - int(np.searchsorted(halves, 2 * turn))
    if not n_ahead or not n_behind:
        return 0.0
    pairs = np.count_nonzero(is_marked[halves[:n_ahead] + 2 * turn])
    return float(pairs) / max(n_ahead, n_behind)


def _patterned(edges: Array, place: Array, turn: int) -> WheelReading:
    missing, extra = marks_between(place)
    gone = _usual(missing, turn, float(place[-1]))
    added_at = _usual(np.floor(extra), turn, float(place[-1]))
    zero = _first_tooth(gone, added_at, turn)
    first = zero if zero <= place[-1] else 0
    from_one = place - first
    gaps = _gaps((gone - zero) % turn, turn)
    added = tuple(
        1.0 + _mean_place(extra[np.floor(extra) % turn == where] - first, turn)
        for where in added_at
    )
    verdict = WheelVerdict.MISSING_TEETH if gone.size else WheelVerdict.ADDED_TEETH
    singles = _single_faults(edges, place, turn, gone, added_at, first)
    if len(singles) > max(2.0, _FAULT_SHARE * place[-1]):
        return _no_wheel(WheelVerdict.IRREGULAR)
    when, speed = _turn_speed(edges, place, turn)
    return WheelReading(verdict, turn, gaps, tuple(sorted(added)), from_one, singles, when, speed)


def _usual(marks: Array, turn: int, last: float) -> Array:
    """Places within a turn that carry a mark in most turns."""
    where, count = np.unique(marks % turn, return_counts=True)
    visits = np.floor((last - where) / turn) + 1.0
    return np.asarray(where[count > 0.6 * visits], dtype=np.float64)


def _first_tooth(gone: Array, added_at: Array, turn: int) -> int:
    """Place of the first tooth after the largest gap, or after the added tooth."""
    if not gone.size:
        return int(added_at[0] + 1) % turn
    runs = _runs(gone, turn)
    start, length = max(runs, key=lambda run: (run[1], -run[0]))
    return int(start + length) % turn


def _runs(gone: Array, turn: int) -> list[tuple[int, int]]:
    """Neighbouring missing places, as (first place, how many), on a circle."""
    places = {int(place) for place in gone}
    runs = []
    for place in sorted(places):
        if (place - 1) % turn in places:
            continue
        length = 1
        while (place + length) % turn in places:
            length += 1
        runs.append((place, length))
    return runs


def _gaps(gone: Array, turn: int) -> tuple[WheelGap, ...]:
    found = [WheelGap((start - 1) % turn + 1, length) for start, length in _runs(gone, turn)]
    return tuple(sorted(found, key=lambda gap: (-gap.missing, gap.after_tooth)))


def _mean_place(places: Array, turn: int) -> float:
    return float(np.median(places % turn))


def _single_faults(
    edges: Array, place: Array, turn: int, gone: Array, added_at: Array, first: int
) -> tuple[SingleFault, ...]:
    missing, extra = marks_between(place)
    lost = missing[~np.isin(missing % turn, gone)]
    false = extra[~np.isin(np.floor(extra) % turn, added_at)]
    # An edge where a tooth is missing in most turns is one too many as well.
    filled = place[(place == np.round(place)) & np.isin(place % turn, gone)]
    when = np.interp(np.concatenate([lost, false, filled]), place, edges)
    where = (np.concatenate([lost, false, filled]) - first) % turn + 1.0
    kinds = [OddEdge.LOST] * lost.size + [OddEdge.FALSE] * (false.size + filled.size)
    rows = zip(when, where, kinds, strict=True)
    return tuple(
        sorted(
            (SingleFault(float(t), float(tooth), kind) for t, tooth, kind in rows),
            key=lambda fault: fault.instant,
        )
    )


def _even(edges: Array, place: Array, known_turn: int) -> WheelReading:
    missing, extra = marks_between(place)
    when = np.interp(np.concatenate([missing, extra]), place, edges)
    kinds = [OddEdge.LOST] * missing.size + [OddEdge.FALSE] * extra.size
    singles = tuple(
        SingleFault(float(t), float("nan"), kind) for t, kind in zip(when, kinds, strict=True)
    )
    times, speed = np.zeros(0), np.zeros(0)
    if known_turn:
        times, speed = _turn_speed(edges, place, known_turn)
    return WheelReading(WheelVerdict.EVEN, known_turn, (), (), place, singles, times, speed)


def _turn_speed(edges: Array, place: Array, turn: int) -> tuple[Array, Array]:
    """Speed from the same tooth one turn later, which no unevenness of the wheel touches."""
    end = np.searchsorted(place, place + turn)
    inside = end < place.size
    start = np.flatnonzero(inside)
    end = end[inside]
    same = place[end] == place[start] + turn
    start, end = start[same], end[same]
    return 0.5 * (edges[start] + edges[end]), 60.0 / (edges[end] - edges[start])
