"""How what is read at the terminals moves with the circuit's values.

With the bus impedance matrix Z at hand, derivatives need no further factorisation: from
``G V = I``, a stamp ``c u w'`` moves voltages by ``dV/dc = -(Z u)(w' V)``, a current stamp ``c u``
by ``+(Z u)``, and impedances move by ``dZ/dc = -(Z u)(w' Z)`` ([grainger1994] ch. 8).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.plan import CircuitTable
from backprobe.core.circuit.stamping import differences

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Solved:
    """Solved circuits: M circuits, I solutions each, N nodes, T terminals, K stamps.

    impedance : ndarray, shape (M, I, N, N), ohm; voltage : (M, I, N, 2), V.
    terminal_rows : ndarray, shape (M, I, 2T, N)
        Rows of the impedance matrix at the probe points, then at the control unit's ends.
    probe_alternating : ndarray, shape (M, I, T)
        Signed alternating voltage at the probe points, V.
    conducting, injecting : ndarray of bool, shape (M, I, K)
        Stamps that are there, by what they are.
    """

    impedance: Array
    voltage: Array
    terminal_rows: Array
    probe_alternating: Array
    conducting: Bools
    injecting: Bools


@dataclass(frozen=True, slots=True)
class Wanted:
    """By which values derivatives are wanted: M circuits, K stamps, W values.

    slots : ndarray of int, shape (M, W); -1 pads.
    by_value : three ndarrays, shape (M, I, K): derivatives of the stamps' coefficients.
    """

    slots: IntArray
    by_value: tuple[Array, Array, Array]

    def chain(self, table: CircuitTable, by_coefficient: Array) -> Array:
        """Chain rule from coefficients (M, I, X, K) to values (M, I, X, W)."""
        n_wanted = self.slots.shape[1]
        by = np.zeros((*by_coefficient.shape[:3], n_wanted))
        for which, slope in enumerate(self.by_value):
            is_it = table.value[:, :, which, None] == self.slots[:, None, :]  # (M, K, W)
            if is_it.any():
                by += np.matmul(by_coefficient * slope[:, :, None, :], is_it[:, None].astype(float))
        return by


def reading_slopes(
    table: CircuitTable, solved: Solved, wanted: Wanted
) -> tuple[Array, Array, Array, Array]:
    """Derivatives of the readings at each terminal.

    Parameters
    ----------
    table : CircuitTable
        M circuits.
    solved : Solved
        Their answers.
    wanted : Wanted
        The W values to derive by.

    Returns
    -------
    voltage_by, unit_by, alternating_by, thevenin_by : ndarray, shape (M, I, T, W)
        Derivatives of the direct voltage at probe points and at the control unit's ends, of the
        alternating voltage (rms), and of the Thevenin resistance.
    """
    u, w = _incidence(table)
    n_t = table.probe.shape[1]
    direct, alternating = _sources(table, solved)
    zu = np.matmul(solved.terminal_rows, np.swapaxes(u, 1, 2)[:, None])  # (M, I, 2T, K)
    wv = np.matmul(w[:, None], solved.voltage)  # (M, I, K, 2)
    conducting = solved.conducting[:, :, None, :]
    flow = direct - conducting * wv[:, :, None, :, 0]  # (M, I, 1, K)
    wz = _control_rows(table, solved, w)
    blocks = [zu * flow, -(conducting * zu[:, :, :n_t] * wz)]
    has_alternating = bool(table.alternating.any())
    if has_alternating:
        flow = alternating - conducting * wv[:, :, None, :, 1]
        blocks.append(np.sign(solved.probe_alternating)[..., None] * zu[:, :, :n_t] * flow)
    by = wanted.chain(table, np.concatenate(blocks, axis=2))  # (M, I, 3T or 4T, W)
    alternating_by = by[:, :, 3 * n_t :] if has_alternating else np.zeros_like(by[:, :, :n_t])
    return by[:, :, :n_t], by[:, :, n_t : 2 * n_t], alternating_by, by[:, :, 2 * n_t : 3 * n_t]


def pair_slopes(table: CircuitTable, solved: Solved, wanted: Wanted) -> Array:
    """Derivatives of the resistance between each two terminals.

    Parameters
    ----------
    table : CircuitTable
        M circuits.
    solved : Solved
        Their answers.
    wanted : Wanted
        The W values to derive by.

    Returns
    -------
    ndarray, shape (M, I, T, T, W)
        -((e_a - e_b)' Z u) (w' Z (e_a - e_b)) dc/dvalue.
    """
    u, w = _incidence(table)
    n_t = table.probe.shape[1]
    zu = np.matmul(solved.terminal_rows[:, :, :n_t], np.swapaxes(u, 1, 2)[:, None])
    wz = _control_rows(table, solved, w)
    first = zu[:, :, :, None] - zu[:, :, None]  # (M, I, T, T, K)
    second = wz[:, :, :, None] - wz[:, :, None]
    by_c = -(first * second) * solved.conducting[:, :, None, None, :]
    n_m, n_i = by_c.shape[:2]
    by = wanted.chain(table, by_c.reshape(n_m, n_i, n_t * n_t, -1))
    return by.reshape(n_m, n_i, n_t, n_t, -1)


def _incidence(table: CircuitTable) -> tuple[Array, Array]:
    """Node differences u and w of every stamp, each (M, K, N)."""
    n_node = int(table.n_node.max())
    return differences(table.nodes[:, :, :2], n_node), differences(table.nodes[:, :, 2:], n_node)


def _sources(table: CircuitTable, solved: Solved) -> tuple[Array, Array]:
    """Stamps that inject into the direct and into the alternating solution, (M, I, 1, K)."""
    alternating = table.alternating[:, None]
    direct = (solved.injecting & ~alternating)[:, :, None, :]
    return direct.astype(float), (solved.injecting & alternating)[:, :, None, :].astype(float)


def _control_rows(table: CircuitTable, solved: Solved, w: Array) -> Array:
    """What each stamp's controlling difference sees of each terminal: w' Z e, (M, I, T, K)."""
    n_m, n_i, n_node = solved.impedance.shape[:3]
    full = np.concatenate([np.zeros((n_m, n_i, n_node, 1)), solved.impedance], axis=3)
    columns = np.take_along_axis(full, table.probe[:, None, None, :], axis=3)  # (M, I, N, T)
    return np.asarray(np.swapaxes(np.matmul(w[:, None], columns), 2, 3))
