"""From solved levels to what a meter shows of them.

Two levels of each switching element and the two ends of a movement are combined into means,
highest and lowest level, what alternates, share of time high, and frequency.
"""

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.evaluate import Evaluation
from backprobe.core.inference.level_plan import LevelPlan
from backprobe.core.inference.prediction import AT_WIRES, OF_ROUND, Field
from backprobe.core.inference.round_values import RoundValues

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

SMALLEST_SHARE = 1e-3  # a level held for less of the time does not show on a meter
SLOWEST_SHOWN_HERTZ = 0.5
SMALLEST_COUNTED_VOLT = 0.4  # swing below which a meter counts nothing (common practice)
SMALLEST_COUNTED_AC = 0.05
LEAST_AC = 1e-4  # V, below which the root of a square has no end of slope: it is bounded there


@dataclass(frozen=True, slots=True)
class _Parts:
    """What the fields are combined from: S sets, C combinations of levels, T wires.

    weight : ndarray, shape (M, R, SC): share of time.
    weight_by : ndarray, shape (M, R, SC, n_switch): its slopes by each switch's share.
    voltage, deviation, unit, thevenin, alternating, is_up : ndarray, shape (M, R, SC, T)
    top, bottom : ndarray of int, shape (M, R, 1, T): the highest and the lowest level shown.
    """

    weight: Array
    weight_by: Array
    voltage: Array
    deviation: Array
    unit: Array
    thevenin: Array
    alternating: Array
    is_up: Array
    top: IntArray
    bottom: IntArray

    def mean(self, value: Array) -> Array:
        """Mean over time of a quantity of each level, (M, R, SC, T) to (M, R, T)."""
        if value.shape[2] == 1:
            return self.weight * value[:, :, 0]
        return np.asarray((self.weight[:, :, None] @ value)[:, :, 0])


def combine(
    plan: LevelPlan, values: RoundValues, found: Evaluation, slopes: Collection[str]
) -> dict[str, Field]:
    """Combine solved levels into the quantities of a prediction.

    Parameters
    ----------
    plan : LevelPlan
        Of M hypotheses.
    values : RoundValues
        R rounds, S sets each.
    found : Evaluation
        Of the solutions.
    slopes : collection of str
        Quantities whose derivatives are wanted.

    Returns
    -------
    dict of Field by name
        `AT_WIRES`, (M, R, T), and `OF_ROUND`, (M, R, 1).
    """
    n_s, n_c = values.value.shape[2], len(plan.level)
    parts = _parts(plan, values, found)
    v, mean = parts.voltage, parts.mean(parts.voltage)
    high, low = _picked(v, parts.top), _picked(v, parts.bottom)
    ac = parts.mean(parts.alternating)
    rms = np.sqrt(parts.mean(parts.deviation**2) + ac**2) if n_s * n_c > 1 else ac
    log_hertz, hertz_slot = _hertz(plan, values, v[:, :, :n_c], high - low, ac)
    # A wire that alternates about its mean is above it for half of the time.
    swings = (hertz_slot >= 0) & (hertz_slot == plan.alternating_hertz[:, None, None])
    if swings.any():
        parts = replace(parts, is_up=np.where(swings[:, :, None], 0.5, parts.is_up))
    value = {
        "mean": mean,
        "high": high,
        "low": low,
        "alternating": rms,
        "thevenin": parts.mean(parts.thevenin),
        "unit": parts.mean(parts.unit),
        "log_hertz": log_hertz,
        "share_high": parts.mean(parts.is_up),
    }
    slot, n_m = plan.round_slot, values.value.shape[0]
    read = values.value[np.arange(n_m)[:, None], :, 0, np.maximum(slot, 0)]  # (M, 2, R)
    read = np.where(slot[:, :, None] >= 0, read, np.nan)
    for number, name in enumerate(OF_ROUND):
        value[name] = read[:, number, :, None]
    by = _Slopes(plan, values, found, parts, ac, rms, hertz_slot).chained(slopes)
    return {name: Field(of, by.get(name)) for name, of in value.items()}


def _parts(plan: LevelPlan, values: RoundValues, found: Evaluation) -> _Parts:
    n_m, n_r, n_s = values.value.shape[:3]
    n_c = len(plan.level)

    at = plan.solution.reshape(n_m, n_r, n_s * n_c)

    def by_round(value: Array) -> Array:
        return value.take(at, axis=0)

    v = by_round(found.voltage)
    weight, weight_by = _shares(plan, values)
    if n_s * n_c == 1:
        top = bottom = np.zeros((n_m, n_r, 1, v.shape[3]), dtype=np.int64)
        deviation = is_up = np.zeros_like(v)
    else:
        shown = weight[..., None] > SMALLEST_SHARE / n_s
        top = np.argmax(np.where(shown, v, -np.inf), axis=2)[:, :, None]
        bottom = np.argmin(np.where(shown, v, np.inf), axis=2)[:, :, None]
        deviation = v - (weight[:, :, None] @ v)
        middle = 0.5 * (_picked(v, top) + _picked(v, bottom))
        is_up = (v > middle[:, :, None]).astype(np.float64)
    own = by_round(np.diagonal(found.thevenin, axis1=1, axis2=2))
    alternating, unit = by_round(found.alternating), by_round(found.unit_voltage)
    return _Parts(weight, weight_by, v, deviation, unit, own, alternating, is_up, top, bottom)


def _shares(plan: LevelPlan, values: RoundValues) -> tuple[Array, Array]:
    """Share of time of each level, (M, R, SC), and its slopes by each switch's share."""
    n_m, n_r, n_s = values.value.shape[:3]
    n_c, n_switch = plan.level.shape
    weight = np.ones((n_m, n_r, n_s, n_c))
    by = np.ones((n_m, n_r, n_s, n_c, n_switch))
    rows = np.arange(n_m)
    for s in range(n_switch):
        slot = plan.share_slot[:, s]
        share = values.value[rows, :, :, np.maximum(slot, 0)]  # (M, R, S)
        share = np.where((slot >= 0)[:, None, None], share, 0.0)[..., None]
        on = plan.level[:, s] == 1
        factor = np.where(on, share, 1.0 - share)
        weight *= factor
        for other in range(n_switch):
            by[..., other] *= np.where(on, 1.0, -1.0) if other == s else factor
    return (
        (weight / n_s).reshape(n_m, n_r, n_s * n_c),
        (by / n_s).reshape(n_m, n_r, n_s * n_c, n_switch),
    )


def _picked(voltage: Array, place: IntArray) -> Array:
    """Levels (M, R, SC, T) at places (M, R, 1, T), as (M, R, T)."""
    if voltage.shape[2] == 1:
        return voltage[:, :, 0]
    return np.asarray(np.take_along_axis(voltage, place, axis=2)[:, :, 0])


def _hertz(
    plan: LevelPlan, values: RoundValues, voltage: Array, swing: Array, ac: Array
) -> tuple[Array, IntArray]:
    """Log frequency at each wire (NaN: nothing that a meter counts), and its value slot."""
    n_m, n_r, n_c, n_t = voltage.shape
    slot = np.full((n_m, n_r, n_t), -1, dtype=np.int64)
    n_switch = n_c.bit_length() - 1
    largest = np.full((n_m, n_r, n_t), SMALLEST_COUNTED_VOLT)
    for s in range(n_switch):
        up = plan.level[:, s] == 1
        moved = np.abs(voltage[:, :, up].mean(axis=2) - voltage[:, :, ~up].mean(axis=2))
        mine = plan.hertz_slot[:, s, None, None]
        better = (moved > largest) & (mine >= 0) & (swing > SMALLEST_COUNTED_VOLT)
        slot = np.where(better, mine, slot)
        largest = np.where(better, moved, largest)
    alternating = plan.alternating_hertz[:, None, None]
    slot = np.where((ac > SMALLEST_COUNTED_AC) & (alternating >= 0), alternating, slot)
    if not (slot >= 0).any():
        return np.full(slot.shape, np.nan), slot
    hertz = _at_slots(values, slot)
    shown = (slot >= 0) & (hertz > SLOWEST_SHOWN_HERTZ)
    log_hertz = np.where(shown, np.log(np.maximum(hertz, 1e-3)), np.nan)
    return log_hertz, np.where(shown, slot, -1)


def _at_slots(values: RoundValues, slot: IntArray) -> Array:
    """Values of the first set of each round at slots (M, R, T)."""
    n_m, n_r = slot.shape[:2]
    rows, rounds = np.arange(n_m)[:, None, None], np.arange(n_r)[:, None]
    return np.asarray(values.value[rows, rounds, 0, np.maximum(slot, 0)])


@dataclass(frozen=True, slots=True)
class _Slopes:
    """Derivatives of the combined quantities by the W wanted values, set by set."""

    plan: LevelPlan
    values: RoundValues
    found: Evaluation
    parts: _Parts
    ac: Array  # (M, R, T)
    rms: Array  # (M, R, T)
    hertz_slot: IntArray  # (M, R, T)

    def chained(self, names: Collection[str]) -> dict[str, Array]:
        """Derivatives by z of some quantities, each (M, R, T or 1, n_z)."""
        asked = [name for name in (*AT_WIRES, *OF_ROUND) if name in names]
        if not asked:
            return {}
        by_value = [self._by_value(name) for name in asked]
        by = self.values.chain(np.concatenate(by_value, axis=3))
        stops = np.cumsum([part.shape[3] for part in by_value])
        pieces = np.split(by, stops[:-1], axis=2)
        return dict(zip(asked, pieces, strict=True))

    def _by_value(self, name: str) -> Array:  # noqa: PLR0911 - one line a quantity
        """Derivatives of one quantity, (M, R, S, T or 1, W)."""
        found, parts = self.found, self.parts
        match name:
            case "mean":
                return self._mean(found.voltage_by, parts.voltage)
            case "unit":
                return self._mean(found.unit_by, parts.unit)
            case "thevenin":
                return self._mean(found.thevenin_by, parts.thevenin)
            case "alternating":
                return self._alternating()
            case "share_high":
                return self._leveled(parts.is_up)
            case "log_hertz":
                return self._log_hertz()
            case "high":
                return self._picked(parts.top)
            case "low":
                return self._picked(parts.bottom)
            case _:
                return self._of_round(OF_ROUND.index(name))

    def _shape(self) -> tuple[int, ...]:
        n_m, n_r, n_s = self.values.value.shape[:3]
        n_t, n_w = self.ac.shape[2], self.plan.wanted.shape[1]
        return n_m, n_r, n_s, len(self.plan.level), n_t, n_w

    def _summed(self, by: Array | None, factor: Array) -> Array:
        """Sum over the levels of a set: slopes (V, T, W) times factors (M, R, SC, T or 1)."""
        if by is None:
            raise AssertionError  # asked for by the caller; tells the type checker
        *shape, n_c, n_t, n_w = self._shape()
        at, factors = self.plan.solution.reshape(-1, n_c), factor.reshape(-1, n_c, factor.shape[3])
        whole = np.zeros((len(by), factor.shape[3]))  # of a solution that stands for several levels
        for c in range(n_c):
            whole[at[:, c]] += factors[:, c]
        weighed = by * whole[..., None]
        total = weighed.take(at[:, 0], axis=0)
        for c in range(1, n_c):
            own = np.flatnonzero(at[:, c] > at[:, :c].max(axis=1))
            total[own] += weighed.take(at[own, c], axis=0)
        return total.reshape(*shape, n_t, n_w)

    def _leveled(self, per_level: Array) -> Array:
        """Slopes through the shares of time: sum of d weight times a quantity of each level."""
        n_m, n_r, n_s, n_c, n_t, n_w = self._shape()
        out = np.zeros((n_m, n_r, n_s, n_t, n_w))
        given = per_level.reshape(n_m, n_r, n_s, n_c, n_t)
        weight_by = self.parts.weight_by.reshape(n_m, n_r, n_s, n_c, -1)
        for k in range(weight_by.shape[4]):
            some = np.flatnonzero(self.plan.share_slot[:, k] >= 0)
            here = self.plan.wanted[some] == self.plan.share_slot[some, k, None]  # (m, W)
            total = (weight_by[some][..., None, :, k] @ given[some])[..., 0, :]
            out[some] += total[..., None] * here[:, None, None, None]
        return out

    def _mean(self, by: Array | None, per_level: Array) -> Array:
        summed = self._summed(by, self.parts.weight[..., None])
        return summed + self._leveled(per_level) if self.plan.level.shape[1] else summed

    def _alternating(self) -> Array:
        parts, weight = self.parts, self.parts.weight[..., None]
        ac = self._mean(self.found.alternating_by, parts.alternating)
        spread = self._leveled(parts.deviation**2)
        spread += 2.0 * self._summed(self.found.voltage_by, weight * parts.deviation)
        safe = np.maximum(self.rms, LEAST_AC)[:, :, None, :, None]
        return np.asarray((0.5 * spread + self.ac[:, :, None, :, None] * ac) / safe)

    def _log_hertz(self) -> Array:
        n_m, n_r, n_s, _, n_t, n_w = self._shape()
        slot, by = self.hertz_slot, np.zeros((n_m, n_r, n_s, n_t, n_w))
        is_slot = self.plan.wanted[:, None, None] == slot[..., None]
        is_slot &= (slot >= 0)[..., None]
        by[:, :, 0] = is_slot / np.maximum(_at_slots(self.values, slot), 1e-3)[..., None]
        return by

    def _picked(self, place: IntArray) -> Array:
        """Slopes of the level that is the highest or lowest."""
        n_level = self.parts.voltage.shape[2]
        chosen = place == np.arange(n_level)[:, None]
        return self._summed(self.found.voltage_by, chosen.astype(np.float64))

    def _of_round(self, number: int) -> Array:
        """Slopes of a driven quantity itself."""
        n_m, n_r, n_s, _, _, n_w = self._shape()
        slot, by = self.plan.round_slot[:, number, None], np.zeros((n_m, n_r, n_s, 1, n_w))
        by[:, :, 0, 0] = ((self.plan.wanted == slot) & (slot >= 0))[:, None]
        return by
