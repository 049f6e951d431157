"""A small nonlinear nodal solver: one circuit at one moment, by Newton's method.

Kirchhoff's current law at every node, with the node voltages as unknowns (Chua & Lin,
*Computer-Aided Analysis of Electronic Circuits*, 1975, ch. 4 and 5). Scalar and plain on purpose:
it is the yardstick for the batched solver that answers technicians.
"""

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import NoUniqueAnswer

Vector: TypeAlias = NDArray[np.float64]

REFERENCE = "battery-"
# Nothing insulates better: a terminal in engine-bay air against the body. It gives every floating
# node a voltage, as it has one on a vehicle.
AIR_OHM = 1e12
VOLT_TOLERANCE = 1e-8
AMPERE_TOLERANCE = 1e-12  # a hundredth of a millivolt on a meter
STEP_LIMIT = 50.0  # V in one Newton step
CAUTIOUS_STEP_LIMIT = 0.2
MAX_STEPS = 80
MAX_CAUTIOUS_STEPS = 1000
SMALLEST_SCALE = 1e-4


@dataclass(frozen=True, slots=True)
class Solution:
    """Voltages of all nodes against battery negative, V."""

    index: Mapping[str, int]
    volts: Vector

    def __getitem__(self, name: str) -> float:
        """Give the voltage of a node by name."""
        return float(self.volts[self.index[name]])


class Device(Protocol):
    """An element whose currents are no linear function of its voltages."""

    nodes: tuple[int, ...]

    def currents(self, volts: Sequence[float]) -> tuple[Sequence[float], Sequence[Sequence[float]]]:
        """Give the currents into the device at its nodes, A, and their derivatives, S."""
        ...


class Netlist:
    """Nodes by name and the elements between them; battery negative is the reference, 0 V."""

    def __init__(self) -> None:
        self._index: dict[str, int] = {REFERENCE: 0}
        self._conductances: list[tuple[int, int, float]] = []
        self._injections: list[tuple[int, float]] = []
        self._expected: list[tuple[int, float]] = []
        self.devices: list[Device] = []

    def copy(self) -> "Netlist":
        """Give a netlist that can grow without this one growing."""
        return copy.deepcopy(self)

    @property
    def names(self) -> tuple[str, ...]:
        """The nodes in the order of the solution."""
        return tuple(self._index)

    def node(self, name: str) -> int:
        """Give the number of a node, making it where it is new."""
        return self._index.setdefault(name, len(self._index))

    def has(self, name: str) -> bool:
        """Say whether any element touches this node."""
        return name in self._index

    def resistor(self, a: str, b: str, ohm: float) -> None:
        """Join two nodes by a resistance, ohm; an infinite one joins nothing."""
        if not ohm > 0.0:
            raise NoUniqueAnswer(node=a)
        first, second = self.node(a), self.node(b)
        if np.isfinite(ohm):
            self._conductances.append((first, second, 1.0 / ohm))

    def current(self, into: str, ampere: float) -> None:
        """Push a current from battery negative into a node."""
        self._injections.append((self.node(into), ampere))

    def source(self, plus: str, minus: str, volt: float, ohm: float) -> None:
        """Put a voltage behind a resistance between two nodes (its Norton equivalent)."""
        self.resistor(plus, minus, ohm)
        self._injections.append((self.node(plus), volt / ohm))
        self._injections.append((self.node(minus), -volt / ohm))

    def expect(self, name: str, volt: float) -> None:
        """Say where a node's voltage is likely to be found; a start for Newton's method only."""
        self._expected.append((self.node(name), volt))

    def add(self, device: Device) -> None:
        """Add a nonlinear device whose nodes were taken from this netlist."""
        self.devices.append(device)

    def linear_part(self) -> tuple[Vector, Vector]:
        """Give the conductance matrix, S, and the injected currents, A, reference included."""
        n_node = len(self._index)
        conductance = np.zeros((n_node, n_node))
        for a, b, siemens in self._conductances:
            conductance[a, a] += siemens
            conductance[b, b] += siemens
            conductance[a, b] -= siemens
            conductance[b, a] -= siemens
        diagonal = np.arange(1, n_node)
        conductance[diagonal, diagonal] += 1.0 / AIR_OHM
        injected = np.zeros(n_node)
        for node, ampere in self._injections:
            injected[node] += ampere
        return conductance, injected

    def solve(self, guess: Solution | None = None) -> Solution:
        """Solve for the voltage of every node.

        Parameters
        ----------
        guess : Solution, optional
            Where to start; a solution of nearly the same circuit saves most of the work.

        Raises
        ------
        NoUniqueAnswer
            Newton's method finds no solution, also with small steps.
        """
        conductance, injected = self.linear_part()
        index = dict(self._index)
        if not self.devices:
            volts = np.zeros(len(injected))
            volts[1:] = np.linalg.solve(conductance[1:, 1:], injected[1:])
            return Solution(index, volts)
        expected = self._start(None)
        attempts = [
            (self._start(guess) if guess else expected, STEP_LIMIT, MAX_STEPS),
            (expected, STEP_LIMIT, MAX_STEPS),
            (expected, CAUTIOUS_STEP_LIMIT, MAX_CAUTIOUS_STEPS),
            (np.zeros(len(injected)), CAUTIOUS_STEP_LIMIT, MAX_CAUTIOUS_STEPS),
        ]
        for start, limit, steps in attempts:
            found = self._newton(conductance, injected, start, limit, steps)
            if found is not None:
                return Solution(index, found)
        raise NoUniqueAnswer(
            "Newton's method finds no voltages for this circuit.", where="simulated vehicle"
        )

    def _start(self, guess: Solution | None) -> Vector:
        start = np.zeros(len(self._index))
        for node, volt in self._expected:
            start[node] = volt
        if guess is not None:
            known = guess.index
            for name, node in self._index.items():
                if name in known:
                    start[node] = guess.volts[known[name]]
        return start

    def impedances(self, solution: Solution) -> Vector:
        """Give the inverse of the derivatives at a solution, ohm: the bus impedance matrix.

        Its entry (i, j) is the volts at node i for one ampere into node j, reference left out
        (row and column 0 are zero).
        """
        conductance, injected = self.linear_part()
        _, jacobian = self._equations(conductance, injected, solution.volts)
        matrix = np.zeros_like(jacobian)
        matrix[1:, 1:] = np.linalg.inv(jacobian[1:, 1:])
        return matrix

    def _newton(
        self, conductance: Vector, injected: Vector, volts: Vector, step_limit: float, steps: int
    ) -> Vector | None:
        residual, jacobian = self._equations(conductance, injected, volts)
        for _ in range(steps):
            change = np.linalg.solve(jacobian[1:, 1:], -residual[1:])
            largest = float(np.max(np.abs(change)))
            if not np.isfinite(largest):
                return None
            before = float(np.linalg.norm(residual[1:]))
            if largest < VOLT_TOLERANCE * max(1.0, float(np.max(np.abs(volts)))):
                return volts
            # Rounding leaves a node that only damp air ties down no better known than this.
            if largest < 0.01 and before < AMPERE_TOLERANCE:
                return volts
            scale = min(1.0, step_limit / largest)
            while True:
                trial = volts.copy()
                trial[1:] += scale * change
                residual, jacobian = self._equations(conductance, injected, trial)
                # A limiter bends so sharply that a whole step may land on its far side.
                if float(np.linalg.norm(residual[1:])) <= before or scale < SMALLEST_SCALE:
                    break
                scale *= 0.5
            volts = trial
        return None

    def _equations(
        self, conductance: Vector, injected: Vector, volts: Vector
    ) -> tuple[Vector, Vector]:
        """Currents that don't add up to zero at each node, A, and their derivatives, S."""
        jacobian = conductance.copy()
        residual = conductance @ volts - injected
        self._add_devices(volts, residual, jacobian)
        return residual, jacobian

    def _add_devices(self, volts: Vector, residual: Vector, jacobian: Vector) -> None:
        n_node = len(volts)
        listed = volts.tolist()
        rows: list[int] = []
        currents: list[float] = []
        places: list[int] = []
        slopes: list[float] = []
        for device in self.devices:
            nodes = device.nodes
            amperes, derivatives = device.currents([listed[node] for node in nodes])
            rows += nodes
            currents += amperes
            for node, derivative in zip(nodes, derivatives, strict=True):
                start = node * n_node
                places += [start + other for other in nodes]
                slopes += derivative
        residual += np.bincount(rows, currents, n_node)
        jacobian += np.bincount(places, slopes, n_node * n_node).reshape(n_node, n_node)
