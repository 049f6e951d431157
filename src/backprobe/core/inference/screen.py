"""Which hypotheses and assignments deserve a fit: the bank against the sheet, coarsely.

Readings are compared with widened uncertainties, since a particle only has to be near. The best
assignment of each promising particle becomes the start of a fit.
"""

from collections.abc import Collection
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference import bank as standard
from backprobe.core.inference.assignment import best_assignment
from backprobe.core.inference.bank import Bank
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.likelihood import LEAD_OHM, noted
from backprobe.core.inference.round_readings import NOMINAL_SUPPLY
from backprobe.core.inference.sheet import (
    HIGHEST,
    LOWEST,
    VOLTAGES,
    Quantity,
    Sheet,
    SheetRound,
)

Array = NDArray[np.float64]
Single = NDArray[np.float32]
IntArray = NDArray[np.int64]

WIDE_VOLT = 0.16  # V, what a fit can still bridge from a particle's value
WIDE_SHARE = 0.05
WORST = 16.0  # largest misfit of one reading, in half squares of deviations
MISMATCH = 6.0  # cost of a number where none was expected, or the reverse
NO_REPORT = 4.0  # cost of a control unit's report that is none of this circuit
N_EXACT = 2500  # particles whose best assignment is worked out
MOST_EACH = 8  # of one hypothesis; where all wires read alike, a few would fill the list otherwise


@dataclass(frozen=True, slots=True)
class Start:
    """Starting points of fits.

    hypothesis, particle : ndarray of int, shape (M,)
    assigned : ndarray of int, shape (M, n_terminal)
    score : ndarray, shape (M,): coarse log likelihood and log prior.
    """

    hypothesis: IntArray
    particle: IntArray
    assigned: IntArray
    score: Array


def standard_round(item: SheetRound) -> int:
    """The standard round that a round of a sheet is compared with, or -1."""
    if not item.powered:
        return standard.UNPLUGGED_OFF if not item.plugged else -1
    if not item.plugged:
        return standard.UNPLUGGED
    for index, known in enumerate(standard.STANDARD_ROUNDS):
        if (known.plugged, known.powered) == (True, True) and known.state == item.state:
            return index
    return -1


def needed_rounds(sheet: Sheet) -> tuple[int, ...]:
    """Standard rounds that a sheet's readings are compared with."""
    found = {standard_round(sheet.rounds[int(r)]) for r in sheet.round}
    return tuple(sorted(found - {-1}))


def coarse_tables(
    bank: Bank, table: HypothesisTable, sheet: Sheet, skipped: Collection[int] = ()
) -> tuple[Single, Single, list[tuple[int, int, Single]]]:
    """Coarse log factors of every particle.

    Returns
    -------
    unary : ndarray, shape (B, n_terminal, n_terminal)
    common : ndarray, shape (B,)
    pairs : list of (terminal, terminal, ndarray of shape (B, n, n))
    """
    n, n_b = sheet.n_terminal, bank.hypothesis.size
    role = np.where(table.role >= 0, table.role, sheet.role_log.shape[1] - 1)  # (H, T)
    witness = np.moveaxis(sheet.role_log[:, role], 1, 0).astype(np.float32)  # (H, n, T)
    unary = witness.take(bank.hypothesis, axis=0)
    common = np.zeros(n_b, dtype=np.float32)
    pairs: list[tuple[int, int, Single]] = []
    value, deviation = (part.tolist() for part in noted(sheet))  # plain numbers keep single arrays
    volts: dict[tuple[int, Quantity, float, bool], tuple[Single, Single]] = {}
    gone = (np.arange(n)[None] >= table.n_wire[bank.hypothesis][:, None]).astype(bool)
    for i in range(sheet.n_read):
        item = sheet.rounds[int(sheet.round[i])]
        r = standard_round(item)
        if r not in bank.rounds or item.fitted or int(sheet.round[i]) in skipped:
            continue
        quantity = Quantity(int(sheet.quantity[i]))
        if quantity in VOLTAGES or quantity == Quantity.VOLTS_LOADED:
            key = (r, quantity, float(sheet.load_ohm[i]), item.spans)
            if key not in volts:
                volts[key] = _expected_volts(bank, sheet, i, r, gone)
            unary[:, int(sheet.terminal[i])] -= _volts_cost(*volts[key], value[i], deviation[i])
        elif quantity == Quantity.SENSOR_OHM:
            cost = _ohm_cost(bank.ohm, gone, value[i])
            pairs.append((int(sheet.terminal[i]), int(sheet.other[i]), -cost))
        elif sheet.is_unary[i]:
            cost = _terminal_cost(bank, quantity, r, value[i], gone)
            unary[:, int(sheet.terminal[i])] -= cost
        elif quantity in (Quantity.BATTERY, Quantity.LEAD_CHECK):
            common -= _cost(bank.rounds[r].battery, value[i], 0.5)
        elif quantity == Quantity.INPUT_VOLTS:
            common -= _report_cost(bank, table, sheet, i, r)
        elif quantity == Quantity.REPORTED:
            none = table.reported[bank.hypothesis, sheet.reported[i]] == -1
            common -= np.where(none, np.float32(NO_REPORT), np.float32(0.0))
        elif quantity == Quantity.AMBIENT:
            common -= np.nan_to_num(_cost(bank.rounds[r].celsius, value[i], 15.0), nan=0.0)
    return unary, common, pairs


def _cost(mean: Single, value: float, deviation: float | Single) -> Single:
    return np.asarray(
        np.minimum(0.5 * ((mean - np.float32(value)) / deviation) ** 2, WORST), dtype=np.float32
    )


def _report_cost(bank: Bank, table: HypothesisTable, sheet: Sheet, i: int, r: int) -> Single:
    """Coarse cost of volts that the control unit reports of its own end of a wire, (B,)."""
    wire = table.reported[bank.hypothesis, sheet.reported[i]]
    rows = np.arange(wire.size)
    seen = np.clip(bank.rounds[r].fields["unit"][rows, wire], 0.0, NOMINAL_SUPPLY)
    cost = _cost(seen, float(sheet.value[i]), WIDE_VOLT)
    return np.asarray(np.where(wire >= 0, cost, np.float32(NO_REPORT)), dtype=np.float32)


def _expected_volts(
    bank: Bank, sheet: Sheet, i: int, r: int, gone: NDArray[np.bool_]
) -> tuple[Single, Single]:
    """Volts of one reading at each wire, and what their squared deviation adds, (B, T)."""
    quantity, fields = Quantity(int(sheet.quantity[i])), bank.rounds[r].fields
    name = "high" if quantity in HIGHEST else "low" if quantity in LOWEST else "mean"
    load = float(sheet.load_ohm[i] if quantity == Quantity.VOLTS_LOADED else sheet.input_ohm)
    mean = fields[name] * (load / (load + fields["thevenin"]))
    swing = fields["high"] - fields["low"]
    extra = swing * (0.4 if sheet.rounds[int(sheet.round[i])].spans else 0.2)
    return np.where(gone, 0.0, mean), WIDE_VOLT**2 + (WIDE_SHARE * mean) ** 2 + extra**2


def _volts_cost(mean: Single, square: Single, value: float, deviation: float) -> Single:
    """Coarse cost of one reading of volts at each wire, (B, T)."""
    if not np.isfinite(value):
        return np.full(mean.shape, WORST, dtype=np.float32)
    cost = mean - value
    cost *= cost
    cost /= 2.0 * (square + deviation**2)
    return np.asarray(np.minimum(cost, WORST, out=cost))


def _terminal_cost(
    bank: Bank, quantity: Quantity, r: int, value: float, gone: NDArray[np.bool_]
) -> Single:
    """Coarse cost of one reading that is not of volts at each wire, (B, T)."""
    fields = bank.rounds[r].fields
    if quantity == Quantity.VOLTS_AC:
        mean = np.where(gone, 0.0, fields["alternating"])
        return _cost(mean, value, np.asarray(0.15 + 0.35 * mean, dtype=np.float32))
    if quantity == Quantity.HARNESS_OHM:
        log_ohm = np.log(np.where(gone, 1e9, fields["thevenin"]) + LEAD_OHM)
        target = value if np.isfinite(value) else 20.0
        return _cost(np.minimum(log_ohm, 20.0), target, 1.2)
    counted = ~np.isnan(fields["log_hertz"]) & ~gone
    if not np.isfinite(value):
        return np.where(counted, np.float32(3.0), np.float32(0.1))
    name, width = ("log_hertz", 1.0) if quantity == Quantity.HERTZ else ("share_high", 0.15)
    cost = _cost(np.nan_to_num(fields[name]), value, width)
    return np.asarray(np.where(counted, cost, MISMATCH), dtype=np.float32)


def _ohm_cost(ohm: Single, gone: NDArray[np.bool_], value: float) -> Single:
    nothing = gone[:, :, None] | gone[:, None, :]
    mean = np.where(nothing, np.inf, ohm)
    is_open = mean > 16.8
    if not np.isfinite(value):
        cost = np.where(is_open, 0.0, MISMATCH)
    else:
        cost = np.where(is_open, MISMATCH, _cost(np.where(is_open, 0.0, mean), value, 0.6))
    return np.asarray(np.where(np.isnan(mean), 2.0, cost), dtype=np.float32)


def screen(
    bank: Bank,
    table: HypothesisTable,
    sheet: Sheet,
    n_start: int,
    per_hypothesis: int = 2,
    per_assignment: int = 1,
    skipped: Collection[int] = (),
    kin: IntArray | None = None,
    within: float = np.inf,
) -> Start:
    """The most promising starts.

    Parameters
    ----------
    bank : Bank
        Particles.
    table : HypothesisTable
        The same hypotheses.
    sheet : Sheet
        Readings.
    n_start : int
        How many explanations (hypothesis and assignment) to return, at most.
    per_hypothesis : int
        How many assignments of one hypothesis, at most.
    per_assignment : int
        How many particles of one hypothesis with one assignment, at most.
    skipped : collection of int
        Rounds whose readings are not looked at (behind a bad black lead they mean little).
    kin : ndarray of int, shape (H,), optional
        Which hypotheses belong together; the best start of each such group is returned as well.
    within : float
        How far behind the best of all it may be for that, nats.

    Returns
    -------
    Start
        In falling order of score.
    """
    unary, common, pairs = coarse_tables(bank, table, sheet, skipped)
    # Over a short last axis, wire by wire takes a third of the time.
    bound = reduce(np.maximum, np.moveaxis(unary, 2, 0)).sum(axis=1) + common
    bound = bound + table.log_prior[bank.hypothesis].astype(np.float32)
    for _, _, factor in pairs:
        bound = bound + factor.max(axis=(1, 2))
    chosen = _worked_out(bank.hypothesis, bound, each=kin is not None)
    some = [(a, b, f[chosen].astype(np.float64)) for a, b, f in pairs]
    best, own = best_assignment(unary[chosen].astype(np.float64), some)
    score = own + common[chosen] + table.log_prior[bank.hypothesis[chosen]]
    order = np.argsort(-score)
    taken: list[int] = []
    known: dict[int, dict[tuple[int, ...], int]] = {}
    n_known = 0
    for k in order:
        h = int(bank.hypothesis[chosen[k]])
        key = _wires_by_role(best[k], table, h)
        seen = known.setdefault(h, {})
        if key not in seen:
            if len(seen) >= per_hypothesis or n_known == n_start:
                continue
            n_known += 1
        elif seen[key] == per_assignment:
            continue
        seen[key] = seen.get(key, 0) + 1
        taken.append(int(k))
        if len(taken) == n_start * per_assignment:
            break
    if kin is not None:
        late = order[score[order] > score[order[0]] - within]
        taken += _left_out(kin[bank.hypothesis[chosen]], late, taken)
    pick = np.array(taken, dtype=np.int64)
    return Start(bank.hypothesis[chosen[pick]], chosen[pick], best[pick], score[pick])


def _worked_out(hypothesis: IntArray, bound: Array, *, each: bool) -> IntArray:
    """Particles whose best assignment is worked out; ``each``: one of each hypothesis at least."""
    chosen = best_of_each(hypothesis, bound, MOST_EACH)
    n_exact = min(N_EXACT, chosen.size)
    near = np.argpartition(-bound[chosen], n_exact - 1)[:n_exact]
    if each:
        near = np.union1d(near, best_of_each(hypothesis[chosen], bound[chosen], 1))
    return np.asarray(chosen[near])


def best_of_each(group: IntArray, score: Array, most: int) -> IntArray:
    """Places of the best of each group, as many of it at most."""
    order = np.lexsort((-score, group))
    of = group[order]
    start = np.flatnonzero(np.concatenate([[True], of[1:] != of[:-1]]))
    rank = np.arange(of.size) - np.repeat(start, np.diff(np.append(start, of.size)))
    return np.asarray(order[rank < most])


def _left_out(kin: IntArray, order: IntArray, taken: list[int]) -> list[int]:
    """The best of each group that none of those taken belongs to."""
    seen = set(kin[taken].tolist())
    found = []
    for k in order:
        if int(kin[k]) not in seen:
            seen.add(int(kin[k]))
            found.append(int(k))
    return found


def _wires_by_role(assigned: IntArray, table: HypothesisTable, h: int) -> tuple[int, ...]:
    """An assignment with cavities that nothing uses made alike."""
    return tuple(int(w) if w < table.n_wire[h] else -1 for w in assigned)
