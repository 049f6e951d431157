"""The rival explanations of a connector as stacked arrays."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.plan import CircuitTable
from backprobe.core.inference.prior import PriorTable

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

NO_VOLTS = -2  # in place of a wire: a value that a control unit has by counting


@dataclass(frozen=True, slots=True)
class HypothesisTable:
    """H hypotheses (family x fault). T wires, P value slots, Q driven quantities, S states.

    circuits : the circuits themselves.
    fixed : values by slot where they are known beforehand, (H, P).
    free_slot : value slots with a prior, (H, F), -1 pads.
    static : their priors, (H, F).
    driven_slot : value slot of each driven quantity, (H, Q), -1 pads.
    driven_prior : prior of each driven quantity in each state, (H, S, Q).
    driven_alias : state whose coordinate a state shares (its own number, or that of the state
        it is said to move with), (H, S, Q).
    driven_step : standard deviation of its change from round to round, in its unit, (H, Q).
    choice_at : places among the driven quantities of those that are a choice in some state, -1
        pads, (H, C).
    choice_moves : chance that such a choice is drawn afresh from one round to the next in the same
        state, (H, C).
    log_prior : log prior probability, (H,).
    role : role index of each wire, (H, T), -1 pads.
    component, active_end : passive group of each wire of the lone sensor, and whether an
        ohmmeter would find electronics there, (H, T).
    alternating_hertz : value slot of the alternating sources' frequency, (H,), -1 none.
    celsius : place among the driven quantities of the sensing element's temperature, (H,), -1.
    curve_slot : value slots of the pull-up of the thermistor whose temperature is reported, and of
        its curve's resistance at 25 degC and beta, (H, 3), -1: none, or not one alone.
    severity_at : place among the free values of a fault's severity, (H,), -1.
    absent : severity at which a fault that may come and go isn't there, (H,), NaN: none that may.
    n_wire : wires of the circuit, (H,).
    reported : wire that each value of a control unit tells the volts of, (H, V); -1 where the
        circuit has no such value, `NO_VOLTS` where it isn't told by volts.
    Where `repeats` is above one, ``circuits`` holds each circuit once for that many rows.
    """

    circuits: CircuitTable
    fixed: Array
    free_slot: IntArray
    static: PriorTable
    driven_slot: IntArray
    driven_prior: PriorTable
    driven_alias: IntArray
    driven_step: Array
    choice_at: IntArray
    choice_moves: Array
    log_prior: Array
    role: IntArray
    component: IntArray
    active_end: Bools
    alternating_hertz: IntArray
    celsius: IntArray
    curve_slot: IntArray
    severity_at: IntArray
    absent: Array
    n_wire: IntArray
    reported: IntArray

    @property
    def wanted(self) -> IntArray:
        """Value slots that are unknown, free ones first, then driven ones, (H, F + Q)."""
        return np.concatenate([self.free_slot, self.driven_slot], axis=1)

    def base_of(self, states: tuple[int, ...], state: int) -> IntArray:
        """Which of a sheet's states holds the coordinate of a driven quantity, (H, Q).

        The first of ``states`` that shares the coordinate with ``state``.
        """
        own = self.driven_alias[:, state]
        found = np.full(own.shape, state)
        for other in reversed(states):
            found = np.where(self.driven_alias[:, other] == own, other, found)
        return found

    @property
    def repeats(self) -> int:
        """How many rows in a run share one circuit of ``circuits``."""
        return int(self.n_wire.size // self.circuits.kind.shape[0])

    def repeated(self, index: IntArray, times: int) -> "HypothesisTable":
        """Each hypothesis of ``index`` ``times`` over, its circuit kept once."""
        return _Rows(self, np.repeat(index, times), circuits=self.circuits.rows(index))

    def rows(self, index: IntArray) -> "HypothesisTable":
        """Some hypotheses, in the order of ``index`` (repeats allowed)."""
        return _Rows(self, index)


class _Rows(HypothesisTable):
    """Rows of a table; each array is taken when it is first asked for, few are of most."""

    __slots__ = ("_index", "_whole")

    def __init__(
        self, whole: HypothesisTable | None = None, index: IntArray | None = None, **known: Any
    ) -> None:
        """Rows ``index`` of a table, fields that are known aside; of no table where all are."""
        for name, value in {"_whole": whole, "_index": index, **known}.items():
            object.__setattr__(self, name, value)

    def __getattr__(self, name: str) -> Any:
        """Take a field that is not there yet."""
        if name not in HypothesisTable.__dataclass_fields__:
            raise AttributeError(name)
        of = getattr(self._whole, name)
        taken = of[self._index] if isinstance(of, np.ndarray) else of.rows(self._index)
        object.__setattr__(self, name, taken)
        return taken
