"""How far each tooth of a wheel sits off its place, with the speed taken out.

The mean of the instants over one whole turn about each tooth moves with the speed alone: whatever
repeats every turn drops out of it. What is left, folded by tooth, holds the wheel's own errors and
the unevenness of the engine's turning, which repeats as well. The two are told apart by their
shape: the engine's is a few slow waves a turn, a damaged tooth stands alone.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.toothed_wheel import WheelReading, require_rising

Array: TypeAlias = NDArray[np.float64]

# Turns that each tooth must have been seen in.
MIN_TURNS: Final = 3
# A tooth counts as displaced beyond this, in pitches (common practice has no figure; half of the
# smallest displacement of a visibly bent tooth), beyond the scatter between turns, ...
DISPLACED_PITCHES: Final = 0.04
_TURN_FACTOR: Final = 5.0
# ... and beyond the unevenness of the other teeth.
_TEETH_FACTOR: Final = 6.0
# Waves a turn that are left to the engine and to run-out.
_MAX_ORDER: Final = 8
_ROUNDS: Final = 5
# More turns sharpen nothing that matters and take time.
_MAX_TURNS: Final = 60


class ToothVerdict(Enum):
    """What the teeth look like."""

    EVEN = "no tooth stands out"
    DISPLACED = "teeth stand out"
    CANT_TELL = "can't tell"


@dataclass(frozen=True)
class DisplacedTooth:
    """A tooth off its place.

    Parameters
    ----------
    tooth : int
        Its number, 1 = first after the gap.
    displacement : float
        Pitches; above 0 it passes late.
    uncertainty : float
        Standard uncertainty from the scatter between turns, pitches.
    """

    tooth: int
    displacement: float
    uncertainty: float


@dataclass(frozen=True, eq=False)
class ToothDeviation:
    """Deviation by tooth.

    Parameters
    ----------
    verdict : ToothVerdict
        Whether teeth stand out.
    n_turn : int
        Turns that the least often seen tooth was seen in.
    deviation : ndarray, shape (turn_pitches,)
        Mean deviation of each tooth place, pitches, above 0 = late; NaN where no tooth is.
    uncertainty : ndarray, shape (turn_pitches,)
        Standard uncertainty of its part that stands apart from slow waves, pitches.
    once_a_turn : float
        Amplitude of the part that goes up and down once a turn, pitches: run-out of the wheel, or
        an engine that turns unevenly.
    displaced : tuple of DisplacedTooth
        Teeth that stand out from slow waves and from scatter.
    """

    verdict: ToothVerdict
    n_turn: int
    deviation: Array
    uncertainty: Array
    once_a_turn: float
    displaced: tuple[DisplacedTooth, ...]


def tooth_deviation(instants: Array, wheel: WheelReading) -> ToothDeviation:
    """Find how far each tooth sits off its place.

    Parameters
    ----------
    instants : ndarray, shape (n_edge,)
        The instants that the wheel was recognised from, s.
    wheel : WheelReading
        What was recognised.

    Returns
    -------
    ToothDeviation
        Deviation by tooth and the teeth that stand out; can't tell below three turns.

    Raises
    ------
    ValueOutOfRange
        The instants don't rise, or aren't finite.
    """
    edges = require_rising(instants, "tooth deviation")
    turn = wheel.turn_pitches
    place = wheel.pitch_place
    if not turn or place.size != edges.size or place[-1] - place[0] < (MIN_TURNS + 1) * turn:
        nothing = np.zeros(0)
        return ToothDeviation(ToothVerdict.CANT_TELL, 0, nothing, nothing, float("nan"), ())
    every, off = _off_the_mean_motion(edges, place, turn)
    folded = _folded(every, off, turn)  # (n_turn, turn), pitches
    count = np.isfinite(folded).sum(axis=0)
    seen = count >= MIN_TURNS
    if seen.sum() < 6:
        nothing = np.zeros(0)
        return ToothDeviation(ToothVerdict.CANT_TELL, 0, nothing, nothing, float("nan"), ())
    mean, _ = _mean_by_tooth(folded, seen)
    once = _once_a_turn(mean, seen)
    alone, uncertainty = _mean_by_tooth(_without_slow_waves(every, off, turn), seen)
    displaced = _displaced(alone, uncertainty, seen)
    verdict = ToothVerdict.DISPLACED if displaced else ToothVerdict.EVEN
    return ToothDeviation(verdict, int(count[seen].min()), mean, uncertainty, once, displaced)


def _off_the_mean_motion(edges: Array, place: Array, turn: int) -> tuple[NDArray[np.int64], Array]:
    """Whole places in a row, and how late each edge is, pitches; NaN where no edge is."""
    whole = place == np.round(place)
    places = place[whole].astype(np.int64)
    every = np.arange(places[0], places[-1] + 1)
    # Places without a tooth are bridged; they do so alike in each turn and drop out with the rest.
    when = np.interp(every, place[whole], edges[whole])
    weights = np.ones(turn + 1 - turn % 2)
    if turn % 2 == 0:
        weights[[0, -1]] = 0.5  # an even number of teeth has its middle between two
    smooth = np.convolve(when, weights / turn, mode="valid")
    half = weights.size // 2
    inside = slice(half, half + smooth.size)
    off: Array = (when[inside] - smooth) / np.gradient(smooth)
    off[~np.isin(every[inside], places)] = np.nan
    return every[inside], off


def _folded(every: NDArray[np.int64], off: Array, turn: int) -> Array:
    """One row a turn, one column a tooth place."""
    row = every // turn - every[0] // turn
    rows: Array = np.full((int(row[-1]) + 1, turn), np.nan)
    rows[row, every % turn] = off
    return rows


def _mean_by_tooth(folded: Array, seen: NDArray[np.bool_]) -> tuple[Array, Array]:
    mean: Array = np.full(seen.size, np.nan)
    uncertainty: Array = np.full(seen.size, np.nan)
    values = folded[:, seen]
    middle = np.nanmedian(values, axis=0)  # one lost or false edge doesn't move it
    spread = np.nanstd(values, axis=0, ddof=1)
    count = np.isfinite(values).sum(axis=0)
    mean[seen] = middle - np.median(middle)
    # A median of a normal sample scatters sqrt(pi / 2) times as much as the mean. A spread from few
    # turns may be small by luck: it is never taken below that of the tooth in the middle.
    uncertainty[seen] = (
        np.sqrt(np.pi / 2.0) * np.maximum(spread, np.median(spread)) / np.sqrt(count)
    )
    return mean, uncertainty


def _once_a_turn(mean: Array, seen: NDArray[np.bool_]) -> float:
    """Amplitude of the wave of order one, beside waves of the next orders."""
    basis = _wave_basis(np.flatnonzero(seen), mean.size, 1.0, min(4.0, seen.sum() / 6.0))
    solution = _robust_fit(basis, mean[seen])
    return float(np.hypot(solution[1], solution[2]))


def _wave_basis(places: NDArray[np.int64], turn: int, step: float, highest: float) -> Array:
    """Constant, then cosine and sine of each order from ``step`` up to ``highest``."""
    angle = 2.0 * np.pi * places / turn
    columns = [np.ones(places.size)]
    for order in np.arange(step, max(highest, step) + 1e-9, step):
        columns += [np.cos(order * angle), np.sin(order * angle)]
    return np.stack(columns, axis=1)  # (n_place, 1 + 2 n_order)


def _robust_fit(basis: Array, values: Array) -> Array:
    """Least squares with bisquare weights [beaton1974], so that single teeth pull little."""
    weights = np.ones(values.size)
    solution: Array = np.zeros(basis.shape[1])
    for _ in range(_ROUNDS):
        weighted = (basis * (weights**2)[:, None]).T
        # Waves over whole turns are nearly at right angles: the normal equations lose no digits
        # that matter here, and take a tenth of the time.
        try:
            solution[:] = np.linalg.solve(weighted @ basis, weighted @ values)
        except np.linalg.LinAlgError:
            break  # too many places set aside: the fit before stands
        left = values - basis @ solution
        scale = 4.685 * max(1.4826 * float(np.median(np.abs(left))), 1e-9)
        before, weights = weights, np.clip(1.0 - (left / scale) ** 2, 0.0, None)
        if np.max(np.abs(weights - before)) < 0.05:
            break
    return solution


def _without_slow_waves(every: NDArray[np.int64], off: Array, turn: int) -> Array:
    """Deviations folded by tooth, less the waves of two turns about each turn.

    A four-stroke engine repeats after two turns: its waves have whole and half orders. A trend is
    fitted beside them. The turn in the middle has neighbours on both sides, so that its first and
    last tooth are judged as well as the others; where the record ends it must do with one side.
    """
    n_tooth = int(np.isfinite(_folded(every, off, turn)).any(axis=0).sum())
    highest = float(min(_MAX_ORDER, max(0.5, n_tooth // 6)))
    first = every[0] // turn * turn
    rows = []
    for start in range(int(first), int(every[-1]) + 1, turn)[:_MAX_TURNS]:
        row = np.full(turn, np.nan)
        low = int(np.clip(start - turn // 2, every[0], max(every[0], every[-1] + 1 - 2 * turn)))
        window = (every >= low) & (every < low + 2 * turn) & np.isfinite(off)
        places = every[window]
        middle = (places - low) / turn - 1.0
        waves = _wave_basis(places, turn, 0.5, highest)
        basis = np.column_stack([waves, middle, middle**2])
        if places.size > 1.5 * basis.shape[1] and places.size >= 1.6 * n_tooth:
            left = off[window] - basis @ _robust_fit(basis, off[window])
            here = (places >= start) & (places < start + turn)
            row[places[here] - start] = left[here]
        rows.append(row)
    return np.stack(rows)


def _displaced(
    left: Array, uncertainty: Array, seen: NDArray[np.bool_]
) -> tuple[DisplacedTooth, ...]:
    usual = 1.4826 * float(np.median(np.abs(left[seen])))
    limit = np.maximum(
        DISPLACED_PITCHES, np.maximum(_TURN_FACTOR * uncertainty, _TEETH_FACTOR * usual)
    )
    found = np.flatnonzero(seen & (np.abs(np.nan_to_num(left)) > np.nan_to_num(limit, nan=np.inf)))
    return tuple(
        DisplacedTooth(int(place) + 1, float(left[place]), float(uncertainty[place]))
        for place in found
    )
