"""Access to predicted fields by reading, at all wires or at the assigned one."""

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.prediction import Field, Prediction
from backprobe.core.inference.readings import Readings
from backprobe.core.inference.sheet import Sheet

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]
Told = tuple[Array, Array, Array | None]


class View:
    """Access to predicted fields by reading, at all wires or at the assigned one."""

    def __init__(
        self,
        table: HypothesisTable,
        sheet: Sheet,
        prediction: Prediction,
        pick: IntArray | None,
        readings: Readings,
    ) -> None:
        self.table, self.sheet, self.prediction, self.pick = table, sheet, prediction, pick
        self.readings = readings
        self.n_wire_most = prediction.mean.value.shape[2]
        self.n_candidate = self.n_wire_most if pick is None else 1
        self.rows = np.arange(table.n_wire.size)[:, None]
        # Readings, and half the slope of the square of their extra standard deviation, (M, n, n_z).
        self.square_by: list[tuple[IntArray, Array]] = []
        # The same readings' extra standard deviation where they pick up hardly anything.
        self.quiet: tuple[IntArray, Array] | None = None

    def wire(self, index: IntArray) -> IntArray:
        """Assigned wire of each reading, (M, n)."""
        if self.pick is None:
            raise AssertionError  # asked for where wires are assigned; tells the type checker
        return self.pick[:, np.maximum(self.sheet.terminal[index], 0)]

    def at(self, field: Field, index: IntArray) -> tuple[Array, Array | None]:
        """Field in the readings' rounds: (M, n, C) and slopes (M, n, n_z)."""
        rounds = self.sheet.round[index]
        if self.pick is None:
            return field.value[:, rounds], None
        if field.value.shape[2] == 1:
            by = None if field.by is None else field.by[:, rounds, 0]
            return field.value[:, rounds], by
        wire = np.minimum(self.wire(index), self.n_wire_most - 1)
        place = (self.rows * field.value.shape[1] + rounds) * self.n_wire_most + wire
        by = None
        if field.by is not None:
            by = field.by.reshape(-1, field.by.shape[3]).take(place, axis=0)
        return field.value.ravel().take(place)[:, :, None], by

    def unused(self, index: IntArray) -> Bools:
        """Where the candidate wire is not there at all, (M, n, C)."""
        n_wire = self.table.n_wire[:, None, None]
        if self.pick is None:
            wire = np.arange(self.n_wire_most)[None, None, :]
            return np.broadcast_to(wire >= n_wire, (n_wire.shape[0], index.size, wire.size))
        return np.asarray(self.wire(index)[:, :, None] >= n_wire)

    def spread(self, value: Array, floor: float) -> Array:
        """One column repeated over all candidate wires, not smaller than a floor."""
        shape = (value.shape[0], value.shape[1], self.n_candidate)
        return np.asarray(
            np.broadcast_to(np.maximum(np.abs(value), floor) if floor else value, shape)
        )
