"""Nodal solution of batches of linear circuits, keeping the bus impedance matrix.

The inverse of the conductance matrix (the bus impedance matrix of power-system fault
studies, [grainger1994] ch. 8 and 10) answers, without another factorisation, what a meter
of finite input resistance indicates, the resistance between any two terminals, and what any
single added resistor does (a rank-one change, Sherman and Morrison 1950 [sherman1950]).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import BackprobeError, NoUniqueAnswer, ValueOutOfRange

Array = NDArray[np.float64]

_RESIDUAL_LIMIT = 0.01  # A of one ampere into each node; more has no digit to trust


@dataclass(frozen=True, slots=True)
class NodalSolution:
    """Node voltages and bus impedance matrix of a batch of circuits.

    Attributes
    ----------
    voltage : ndarray, shape (..., n_node)
        Node voltages against the reference node, V.
    impedance : ndarray, shape (..., n_node, n_node)
        Bus impedance matrix, ohm; its diagonal is the Thevenin resistance of each node.
    """

    voltage: Array
    impedance: Array


def invert(conductance: Array, names: Sequence[str] = ()) -> Array:
    """Bus impedance matrix of each circuit of a batch.

    Parameters
    ----------
    conductance : ndarray, shape (..., n_node, n_node)
        Nodal conductance matrices, S, the reference node left out.
    names : sequence of str, length n_node, optional
        Node names for the error text.

    Returns
    -------
    ndarray, shape (..., n_node, n_node)
        Bus impedance matrices, ohm.

    Raises
    ------
    ValueOutOfRange
        A conductance is not a number, or infinite.
    NoUniqueAnswer
        A node is joined to the reference by nothing; it is named, and the matrix is not nudged.

    Notes
    -----
    Kirchhoff's current law G V = I; [grainger1994] eq. (7.16), Z = inv(G).
    """
    impedance, found = invert_each(conductance)
    if not found.all():
        raise _no_answer(conductance, names)
    return impedance


def invert_each(conductance: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Bus impedance matrices as of `invert`, with those marked that have one.

    Parameters
    ----------
    conductance : ndarray, shape (..., n_node, n_node)
        Nodal conductance matrices, S, the reference node left out.

    Returns
    -------
    impedance : ndarray, shape (..., n_node, n_node)
        Bus impedance matrices, ohm; no figures to use where there is none.
    found : ndarray of bool, shape (...)
        Whether every node is joined to the reference, and every conductance a finite number.
    """
    try:
        impedance = np.linalg.inv(conductance)
    except np.linalg.LinAlgError:  # some matrix of the stack is singular to the last digit
        impedance = _one_by_one(conductance)
    # One ampere into every node has to come back out of the answer. Where a node floats, the
    # inverse of a matrix that rounding has just kept from being singular fails this by an ampere;
    # sound circuits of milliohm contacts and gigohm insulation fail it by a milliampere at most.
    volt = impedance.sum(axis=-1)
    with np.errstate(invalid="ignore"):
        residual = (conductance @ volt[..., None])[..., 0] - 1.0
        # Rounding errors may cancel in that sum, but not what one of them comes to at a node.
        rounding = np.finfo(np.float64).eps * np.diagonal(conductance, axis1=-2, axis2=-1) * volt
        worst = np.maximum(np.abs(residual), np.abs(rounding))  # NaN goes through
    # Written so that a residual that is not a number fails as well.
    return np.asarray(impedance, dtype=np.float64), (worst <= _RESIDUAL_LIMIT).all(axis=-1)


def _one_by_one(conductance: Array) -> Array:
    """Inverses of a stack of matrices, NaN where there is none."""
    inverse = np.empty_like(conductance)
    for at in np.ndindex(conductance.shape[:-2]):
        try:
            inverse[at] = np.linalg.inv(conductance[at])
        except np.linalg.LinAlgError:
            inverse[at] = np.nan
    return inverse


def solve(conductance: Array, injection: Array, names: Sequence[str] = ()) -> NodalSolution:
    """Node voltages of each circuit of a batch.

    Parameters
    ----------
    conductance : ndarray, shape (..., n_node, n_node)
        Nodal conductance matrices, S.
    injection : ndarray, shape (..., n_node)
        Currents forced into each node, A.
    names : sequence of str, optional
        Node names for the error text.

    Returns
    -------
    NodalSolution
        Voltages, V, and bus impedance matrices, ohm.

    Raises
    ------
    NoUniqueAnswer
        A node floats.
    """
    impedance = invert(conductance, names)
    # A trailing axis makes NumPy 2 read a stack of vectors, not one matrix.
    voltage = (impedance @ injection[..., None])[..., 0]
    return NodalSolution(voltage=voltage, impedance=impedance)


def added_conductance(
    solution: NodalSolution, plus: int | None, minus: int | None, siemens: Array
) -> NodalSolution:
    """Solution after one conductance is added between two nodes.

    Parameters
    ----------
    solution : NodalSolution
        The circuits before, shapes (..., n_node) and (..., n_node, n_node).
    plus, minus : int or None
        Nodes that the conductance joins; ``None`` is the reference.
    siemens : ndarray, shape (...)
        Conductance, S; negative takes one away.

    Returns
    -------
    NodalSolution
        The circuits after, same shapes.

    Raises
    ------
    NoUniqueAnswer
        Taking the conductance away leaves a node floating.

    Notes
    -----
    Sherman and Morrison: Z' = Z - g (Z e)(e' Z) / (1 + g e' Z e), with e = e_plus - e_minus.
    """
    column = _difference(solution.impedance, plus, minus, axis=-1)  # Z e, (..., n_node)
    row = _difference(solution.impedance, plus, minus, axis=-2)  # e' Z, (..., n_node)
    own = _pick(column, plus) - _pick(column, minus)  # e' Z e, (...)
    scale = 1.0 + siemens * own
    if np.any(np.abs(scale) < 1e-9):
        raise NoUniqueAnswer(node=f"node {plus if plus is not None else minus}")
    factor = siemens / scale
    across = _pick(solution.voltage, plus) - _pick(solution.voltage, minus)
    return NodalSolution(
        voltage=solution.voltage - (factor * across)[..., None] * column,
        impedance=solution.impedance
        - factor[..., None, None] * column[..., :, None] * row[..., None, :],
    )


def resistance_between(impedance: Array, plus: int | None, minus: int | None) -> Array:
    """Resistance that an ohmmeter finds between two nodes of a dead circuit.

    Parameters
    ----------
    impedance : ndarray, shape (..., n_node, n_node)
        Bus impedance matrix, ohm.
    plus, minus : int or None
        The nodes; ``None`` is the reference.

    Returns
    -------
    ndarray, shape (...)
        Resistance, ohm: Z_pp + Z_mm - Z_pm - Z_mp.
    """
    column = _difference(impedance, plus, minus, axis=-1)
    return _pick(column, plus) - _pick(column, minus)


def loaded_voltage(open_voltage: Array, thevenin_ohm: Array, load_ohm: float | Array) -> Array:
    """Voltage at a node once a resistor (or a meter) is put from it to the reference.

    Parameters
    ----------
    open_voltage : ndarray, shape (...)
        Voltage without the load, V.
    thevenin_ohm : ndarray, shape (...)
        Thevenin resistance of the node, ohm.
    load_ohm : float or ndarray, shape (...)
        The load, ohm.

    Returns
    -------
    ndarray, shape (...)
        V R / (R + R_th), the special case of `added_conductance` to the reference.
    """
    return open_voltage * load_ohm / (load_ohm + thevenin_ohm)


def _pick(values: Array, node: int | None) -> Array:
    return np.zeros(values.shape[:-1]) if node is None else values[..., node]


def _difference(matrix: Array, plus: int | None, minus: int | None, axis: int) -> Array:
    zero = np.zeros(matrix.shape[:-1])
    first = zero if plus is None else np.take(matrix, plus, axis=axis)
    second = zero if minus is None else np.take(matrix, minus, axis=axis)
    return first - second


def _no_answer(conductance: Array, names: Sequence[str]) -> BackprobeError:
    """Say why a batch of matrices could not be inverted."""
    flat = conductance.reshape(-1, *conductance.shape[-2:])
    finite = np.isfinite(flat).all(axis=2)  # (n_matrix, n_node)
    if not finite.all():
        index = int(np.flatnonzero(~finite.all(axis=0))[0])
        return ValueOutOfRange(
            what=f"A conductance at {_name(index, names)} is infinite or not a number.",
            remedy="Every resistance has to be a number above zero.",
        )
    return NoUniqueAnswer(node=_name(_floating(flat), names))


def _name(index: int, names: Sequence[str]) -> str:
    return names[index] if names else f"node {index}"


def _floating(flat: Array) -> int:
    """Number of the node that floats in the worst of some matrices, (n_matrix, n_node, n_node)."""
    n_node = flat.shape[-1]
    # What joins a node to the reference is what its row sums to, beyond the sum's own rounding.
    rounding = 4 * n_node * np.finfo(np.float64).eps * np.abs(flat).sum(axis=2)
    reached = np.abs(flat.sum(axis=2)) > rounding  # (n_matrix, n_node)
    joined = (flat != 0.0).astype(np.float64)
    for _ in range(n_node):
        reached = reached | (np.matmul(joined, reached[..., None].astype(np.float64))[..., 0] > 0)
    if not reached.all():
        return int(np.flatnonzero(~reached.all(axis=0))[0])
    # Everything is joined, yet nothing is determined: two currents cancel. The node that can
    # move without any current flowing is the greatest of the smallest singular vector.
    _, size, right = np.linalg.svd(flat)
    worst = int(np.argmin(size[:, -1] / size[:, 0]))
    return int(np.argmax(np.abs(right[worst, -1])))
