"""Solve a table of circuits for many sets of values at once, with sensitivities.

Piecewise-linear elements (a regulator at its current limit, a sensor short of supply) are
solved region by region: solve, see which regions the answer lies in, solve again where that
changed. Every such element is monotone, so the walk ends; what has not settled after
`MAX_WALK` steps keeps its last answer and is flagged.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.elements import CURRENT_KINDS, coefficients
from backprobe.core.circuit.nodal import invert
from backprobe.core.circuit.plan import CircuitTable

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

MAX_WALK = 6  # solutions of one piecewise-linear circuit
_CHUNK = 60_000  # matrices' entries per chunk are bounded through this many solves


@dataclass(frozen=True, slots=True)
class Extra:
    """Resistors fitted for some solutions only.

    nodes : ndarray of int, shape (M, I, F, 2); 0 is the reference.
    siemens : ndarray, shape (M, I, F); 0 is "not fitted".
    """

    nodes: IntArray
    siemens: Array


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Solved circuits. M circuits (rows of the table), I solutions each, T terminals.

    voltage, unit_voltage, alternating : ndarray, shape (M, I, T)
        Direct voltage at the probe points and at the control unit's ends of the wires, and
        alternating voltage (rms) at the probe points, V.
    thevenin : ndarray, shape (M, I, T, T)
        Bus impedance matrix between probe points, ohm.
    settled : ndarray of bool, shape (M, I)
        Whether the piecewise-linear walk ended.
    region : ndarray of int, shape (M, I, G)
        Regions that the answer lies in.
    pair_by : ndarray, shape (M, I, T, T, W), or None
        Sensitivity of the resistance between two terminals.
    voltage_by, unit_by, alternating_by, thevenin_by : ndarray, shape (M, I, T, W), or None
        Sensitivities to the W wanted values; ``thevenin_by`` is that of the diagonal.
    """

    voltage: Array
    unit_voltage: Array
    alternating: Array
    thevenin: Array
    settled: Bools
    region: IntArray
    pair_by: Array | None = None
    voltage_by: Array | None = None
    unit_by: Array | None = None
    alternating_by: Array | None = None
    thevenin_by: Array | None = None


def evaluate(
    table: CircuitTable,
    values: Array,
    mode: IntArray,
    level: IntArray,
    *,
    extra: Extra | None = None,
    wanted: IntArray | None = None,
    region: IntArray | None = None,
    pairs: bool = False,
) -> Evaluation:
    """Solve each circuit for each of its sets of values.

    Parameters
    ----------
    table : CircuitTable
        M circuits.
    values : ndarray, shape (M, I, P)
        Values by slot, SI units; slots 0 and 1 hold 0 and 1.
    mode : ndarray of int, shape (I,)
        `Mode` of each solution.
    level : ndarray of int, shape (I, N_SWITCH)
        Level (0 or 1) of each switching element.
    extra : Extra, optional
        Fitted resistors.
    wanted : ndarray of int, shape (M, W), optional
        Value slots to return derivatives by; -1 pads.
    region : ndarray of int, shape (M, I, G), optional
        Regions to start the walk from (those of a like solution), for speed.
    pairs : bool
        Whether to return the derivatives of resistances between terminals instead.

    Returns
    -------
    Evaluation
        See there.

    Raises
    ------
    NoUniqueAnswer
        A node of a circuit floats.

    Notes
    -----
    dV/dc = -(Z u)(w' V) for a conductance stamp c u w', +(Z u) for a current stamp: the
    derivative of G V = I ([grainger1994] ch. 8; no further factorisation is needed).
    """
    incidence = _incidence(table)
    pieces = []
    step = max(1, _CHUNK // max(1, table.kind.shape[0]))
    for start in range(0, values.shape[1], step):
        part = slice(start, start + step)
        piece_extra = None
        if extra is not None:
            piece_extra = Extra(extra.nodes[:, part], extra.siemens[:, part])
        pieces.append(
            _evaluate_piece(
                table,
                incidence,
                values[:, part],
                mode[part],
                level[part],
                piece_extra,
                wanted,
                None if region is None else region[:, part],
                pairs,
            )
        )
    if len(pieces) == 1:
        return pieces[0]
    names = Evaluation.__dataclass_fields__
    return Evaluation(
        **{
            n: None
            if getattr(pieces[0], n) is None
            else np.concatenate([getattr(p, n) for p in pieces], axis=1)
            for n in names
        }
    )


def _incidence(table: CircuitTable) -> tuple[Array, Array]:
    """Node differences u and w of every stamp, each (M, K, N)."""
    n_node = int(table.n_node.max())
    eye = np.vstack([np.zeros((1, n_node)), np.eye(n_node)])
    u = eye[table.nodes[:, :, 0]] - eye[table.nodes[:, :, 1]]
    w = eye[table.nodes[:, :, 2]] - eye[table.nodes[:, :, 3]]
    return u, w


def _evaluate_piece(
    table: CircuitTable,
    incidence: tuple[Array, Array],
    values: Array,
    mode: IntArray,
    level: IntArray,
    extra: Extra | None,
    wanted: IntArray | None,
    start: IntArray | None,
    pairs: bool,
) -> Evaluation:
    u, w = incidence
    n_m, n_i = values.shape[:2]
    slots = table.value.reshape(n_m, 1, -1)
    picked = np.take_along_axis(values, np.broadcast_to(slots, (n_m, n_i, slots.shape[2])), axis=2)
    p = picked.reshape(n_m, n_i, -1, 3)
    c, d0, d1, d2 = coefficients(table.kind[:, None, :], p[..., 0], p[..., 1], p[..., 2])
    there = _there(table, mode, level) & _chosen(table, values)  # (M, I, K)
    is_current = np.isin(table.kind, [int(k) for k in CURRENT_KINDS])
    added = _extra_matrix(extra, u.shape[2]) if extra is not None else None
    pad = _padding(there, is_current, u, w)
    region = np.zeros((n_m, n_i, table.group_nodes.shape[1]), dtype=np.int64)
    if start is not None and start.shape == region.shape:
        region = start.copy()
    low, high = _limits(table, values)
    n_node = u.shape[2]
    voltage = np.empty((n_m, n_i, n_node, 2))
    impedance = np.empty((n_m, n_i, n_node, n_node))
    settled = np.zeros((n_m, n_i), dtype=bool)
    todo: tuple[IntArray, IntArray] | None = None
    for _ in range(MAX_WALK):
        if todo is None:
            live = there & _region_active(table.group[:, None], table.region[:, None], region)
            impedance, voltage = _solve(
                table.nodes, n_node, c, live, is_current, table.alternating, pad, added
            )
            found = _regions(table.group_nodes[:, None], voltage[..., 0], low, high)
            changed = (found != region).any(axis=-1)
            region = found
        else:
            m, i = todo
            live = there[m, i] & _region_active(table.group[m], table.region[m], region[m, i])
            z, v = _solve(
                table.nodes[m],
                n_node,
                c[m, i][:, None],
                live[:, None],
                is_current[m],
                table.alternating[m],
                pad[m, i][:, None],
                None if added is None else added[m, i][:, None],
            )
            z, v = z[:, 0], v[:, 0]
            impedance[m, i], voltage[m, i] = z, v
            found = _regions(table.group_nodes[m], v[..., 0], low[m, i], high[m, i])
            changed = np.zeros((n_m, n_i), dtype=bool)
            changed[m, i] = (found != region[m, i]).any(axis=-1)
            region[m, i] = found
        settled = ~changed
        if not changed.any():
            break
        where = np.nonzero(changed)
        todo = (where[0], where[1])
    live = there & _region_active(table.group[:, None], table.region[:, None], region)
    return _collect(
        table,
        incidence,
        voltage,
        impedance,
        settled,
        region,
        None if wanted is None else _Slopes(live, is_current, (d0, d1, d2), wanted, pairs),
    )


def _there(table: CircuitTable, mode: IntArray, level: IntArray) -> Bools:
    """Stamps present by mode and by the level of the switching elements, (M, I, K)."""
    by_mode = np.moveaxis(table.active[:, :, mode], 2, 1)
    wanted = np.concatenate([level, np.zeros((level.shape[0], 1), dtype=level.dtype)], axis=1)
    own = wanted[:, table.switch]  # switch -1 picks the padding column: (I, M, K)
    by_level = (table.switch[:, None] < 0) | (np.moveaxis(own, 0, 1) == table.level[:, None])
    return np.asarray(by_mode & by_level & (table.kind[:, None] > 0))


def _chosen(table: CircuitTable, values: Array) -> Bools:
    """Stamps present by a choice among the values, (M, I, K)."""
    if (table.only_slot < 0).all():
        return np.ones((1, 1, 1), dtype=bool)
    slots = np.broadcast_to(
        np.maximum(table.only_slot, 0)[:, None], (*values.shape[:2], table.only_slot.shape[1])
    )
    code = np.take_along_axis(values, slots, axis=2)
    return np.asarray((table.only_slot < 0)[:, None] | (code == table.only_code[:, None]))


def _region_active(group: IntArray, region: IntArray, now: IntArray) -> Bools:
    """Stamps present by region; ``now`` has one column a group."""
    padded = np.concatenate([now, np.zeros((*now.shape[:-1], 1), dtype=now.dtype)], axis=-1)
    index = np.broadcast_to(group, (*now.shape[:-1], group.shape[-1]))
    return np.asarray((group < 0) | (np.take_along_axis(padded, index, axis=-1) == region))


def _limits(table: CircuitTable, values: Array) -> tuple[Array, Array]:
    """Region limits of each group, V: -inf and inf where there is none, (M, I, G)."""

    def limit(index: IntArray, missing: float) -> Array:
        n_m, n_i = values.shape[:2]
        slots = np.where(index < 0, 0, index)
        flat = np.broadcast_to(slots.reshape(n_m, 1, -1), (n_m, n_i, slots[0].size))
        v = np.take_along_axis(values, flat, axis=2).reshape(n_m, n_i, -1, 3)
        there = (index[:, None, :, 0] >= 0) & np.ones((1, n_i, 1), dtype=bool)
        return np.where(there, v[..., 0] - v[..., 1] * v[..., 2], missing)

    return limit(table.group_low, -np.inf), limit(table.group_high, np.inf)


def _regions(nodes: IntArray, voltage: Array, low: Array, high: Array) -> IntArray:
    """Region that each group lies in, given the direct node voltages."""
    full = np.concatenate([np.zeros((*voltage.shape[:-1], 1)), voltage], axis=-1)
    index = np.broadcast_to(np.maximum(nodes, 0), (*voltage.shape[:-1], *nodes.shape[-2:]))
    picked = np.take_along_axis(full[..., None, :], index, axis=-1)
    across = picked[..., 0] - picked[..., 1]
    edge = 1e-9  # V; a region is left only when the answer lies beyond its edge by more
    return np.where(across < low - edge, 1, np.where(across > high + edge, 2, 0))


def _padding(there: Bools, is_current: Bools, u: Array, w: Array) -> Bools:
    """Nodes that no stamp of this circuit and mode touches: solved as 0 V, (M, I, N)."""
    conducting = there & ~is_current[:, None]
    touched = np.matmul(conducting.astype(float), np.abs(u) + np.abs(w)) > 0
    return np.asarray(~touched)


def _solve(
    nodes: IntArray,
    n_node: int,
    c: Array,
    live: Bools,
    is_current: Bools,
    alternating: Bools,
    pad: Bools,
    added: Array | None,
) -> tuple[Array, Array]:
    """Bus impedance matrices (M, I, N, N) and voltages (M, I, N, 2): direct, alternating.

    Each stamp touches at most four entries: adding them up entry by entry is far less work than
    a matrix product over the incidence (measured: about 20 times).
    """
    n_m, n_i, _ = c.shape
    size = n_node + 1  # row and column 0 stand for the reference and are dropped
    item = np.arange(n_m * n_i).reshape(n_m, n_i, 1)
    up, um, wp, wm = (nodes[:, None, :, k] for k in range(4))
    conducting = live & ~is_current[:, None]
    siemens = c[conducting]
    at = np.concatenate(
        [
            (item * size * size + (a * size + b))[conducting]
            for a, b in ((up, wp), (um, wm), (up, wm), (um, wp))
        ]
    )
    weight = np.concatenate([siemens, siemens, -siemens, -siemens])
    g = np.bincount(at, weights=weight, minlength=n_m * n_i * size * size)
    matrix = g.reshape(n_m, n_i, size, size)[:, :, 1:, 1:].copy()
    diagonal = np.arange(n_node)
    matrix[..., diagonal, diagonal] += pad
    if added is not None:
        matrix += added
    injecting = live & is_current[:, None]
    ampere = c[injecting]
    place = alternating[:, None].astype(np.int64)
    at = np.concatenate([(item * size * 2 + (2 * a + place))[injecting] for a in (up, um)])
    flow = np.concatenate([ampere, -ampere])
    injection = np.bincount(at, weights=flow, minlength=n_m * n_i * size * 2)
    z = invert(matrix)
    both = injection.reshape(n_m, n_i, size, 2)[:, :, 1:]
    return z, np.matmul(z, both)


def _extra_matrix(extra: Extra, n_node: int) -> Array:
    eye = np.vstack([np.zeros((1, n_node)), np.eye(n_node)])
    e = eye[extra.nodes[..., 0]] - eye[extra.nodes[..., 1]]  # (M, I, F, N)
    return np.asarray(np.matmul(np.swapaxes(e, -1, -2), extra.siemens[..., None] * e))


@dataclass(frozen=True, slots=True)
class _Slopes:
    live: Bools
    is_current: Bools
    by_value: tuple[Array, Array, Array]
    wanted: IntArray
    pairs: bool


def _collect(
    table: CircuitTable,
    incidence: tuple[Array, Array],
    voltage: Array,
    impedance: Array,
    settled: Bools,
    region: IntArray,
    slopes: _Slopes | None,
) -> Evaluation:
    n_m, n_i, n_node = voltage.shape[:3]
    n_t = table.probe.shape[1]
    out = np.concatenate([table.probe, table.unit], axis=1)  # (M, 2T)
    full_v = np.concatenate([np.zeros((n_m, n_i, 1, 2)), voltage], axis=2)
    at = np.take_along_axis(full_v, out[:, None, :, None], axis=2)
    rows = np.concatenate([np.zeros((n_m, n_i, 1, n_node)), impedance], axis=2)
    z_rows = np.take_along_axis(rows, out[:, None, :, None], axis=2)  # (M, I, 2T, N)
    z_full = np.concatenate([np.zeros((n_m, n_i, 2 * n_t, 1)), z_rows], axis=3)
    thevenin = np.take_along_axis(z_full[:, :, :n_t], table.probe[:, None, None, :], axis=3)
    result = {
        "voltage": at[:, :, :n_t, 0],
        "unit_voltage": at[:, :, n_t:, 0],
        "alternating": np.abs(at[:, :, :n_t, 1]),
        "thevenin": thevenin,
        "settled": settled,
        "region": region,
    }
    if slopes is None:
        return Evaluation(**result)
    u, w = incidence
    zu = np.matmul(z_rows, np.swapaxes(u, 1, 2)[:, None])  # (M, I, 2T, K)
    wv = np.matmul(w[:, None], voltage)  # (M, I, K, 2)
    conducting = (slopes.live & ~slopes.is_current[:, None])[:, :, None, :]
    injecting = slopes.live & slopes.is_current[:, None]
    direct = (injecting & ~table.alternating[:, None])[:, :, None, :]
    by_c = zu * (direct.astype(float) - conducting * wv[:, :, None, :, 0])
    probe_full = np.concatenate([np.zeros((n_m, n_i, n_node, 1)), impedance], axis=3)
    columns = np.take_along_axis(probe_full, table.probe[:, None, None, :], axis=3)
    wz = np.swapaxes(np.matmul(w[:, None], columns), 2, 3)  # (M, I, T, K)
    if slopes.pairs:
        return Evaluation(
            **result, pair_by=_pair_slopes(table, slopes, zu[:, :, :n_t], wz, conducting)
        )
    z_by_c = -(conducting * zu[:, :, :n_t] * wz)
    blocks = [by_c, z_by_c]
    has_alternating = bool(table.alternating.any())
    if has_alternating:
        sourced = (injecting & table.alternating[:, None])[:, :, None, :]
        sign = np.sign(at[:, :, :n_t, 1])[..., None]
        flow = sourced.astype(float) - conducting * wv[:, :, None, :, 1]
        blocks.append(sign * zu[:, :, :n_t] * flow)
    stacked = np.concatenate(blocks, axis=2)  # (M, I, 3T or 4T, K)
    by = np.zeros((n_m, n_i, stacked.shape[2], slopes.wanted.shape[1]))
    for which, slope in enumerate(slopes.by_value):
        onehot = (table.value[:, :, which, None] == slopes.wanted[:, None, :]).astype(float)
        if onehot.any():
            by += np.matmul(stacked * slope[:, :, None, :], onehot[:, None])
    zero = np.zeros((n_m, n_i, n_t, slopes.wanted.shape[1]))
    return Evaluation(
        **result,
        voltage_by=by[:, :, :n_t],
        unit_by=by[:, :, n_t : 2 * n_t],
        thevenin_by=by[:, :, 2 * n_t : 3 * n_t],
        alternating_by=by[:, :, 3 * n_t :] if has_alternating else zero,
    )


def _pair_slopes(
    table: CircuitTable, slopes: _Slopes, zu: Array, wz: Array, conducting: Bools
) -> Array:
    """D R_ab / d value = -((e_a - e_b)' Z u) (w' Z (e_a - e_b)) dc/dvalue, (M, I, T, T, W)."""
    first = zu[:, :, :, None] - zu[:, :, None]
    second = wz[:, :, :, None] - wz[:, :, None]
    by_c = -(first * second) * conducting[:, :, :, None]
    n_m, n_i, n_t = by_c.shape[:3]
    flat = by_c.reshape(n_m, n_i, n_t * n_t, -1)
    by = np.zeros((n_m, n_i, n_t * n_t, slopes.wanted.shape[1]))
    for which, slope in enumerate(slopes.by_value):
        onehot = (table.value[:, :, which, None] == slopes.wanted[:, None, :]).astype(float)
        by += np.matmul(flat * slope[:, :, None, :], onehot[:, None])
    return by.reshape(n_m, n_i, n_t, n_t, -1)
