"""The sheet of readings as arrays: what was read, in which round, at which terminal."""

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]


class Quantity(IntEnum):
    """What a reading is of."""

    VOLTS = 0
    VOLTS_HIGH = 1
    VOLTS_LOW = 2
    VOLTS_AC = 3
    HERTZ = 4
    DUTY = 5
    VOLTS_LOADED = 6
    HARNESS_OHM = 7
    SENSOR_OHM = 8
    BATTERY = 9
    LEAD_CHECK = 10
    INPUT_VOLTS = 11  # what the control unit reports of its own input
    INPUT_CELSIUS = 12  # a temperature that it reports
    AMBIENT = 13  # a temperature that the sensing element is known to have
    LEVEL_HIGH = 14  # state levels of a switching signal on an oscilloscope, which averages nothing
    LEVEL_LOW = 15
    REPORTED = 16  # that a value of the control unit was noted at all, whatever it was; 0


AT_TERMINAL = frozenset(
    (
        Quantity.VOLTS,
        Quantity.VOLTS_HIGH,
        Quantity.VOLTS_LOW,
        Quantity.VOLTS_AC,
        Quantity.HERTZ,
        Quantity.DUTY,
        Quantity.VOLTS_LOADED,
        Quantity.HARNESS_OHM,
        Quantity.LEVEL_HIGH,
        Quantity.LEVEL_LOW,
    )
)
HIGHEST = frozenset((Quantity.VOLTS_HIGH, Quantity.LEVEL_HIGH))
LOWEST = frozenset((Quantity.VOLTS_LOW, Quantity.LEVEL_LOW))
STATE_LEVELS = frozenset((Quantity.LEVEL_HIGH, Quantity.LEVEL_LOW))
VOLTAGES = frozenset((Quantity.VOLTS,)) | HIGHEST | LOWEST


# Arrays of a sheet that hold one entry a reading.
OF_READING = (
    "quantity",
    "round",
    "terminal",
    "other",
    "value",
    "deviation",
    "load_ohm",
    "reported",
    "range_number",
    "range_volt",
)
N_RANGE = 3  # ranges of DC volts that matter here: tenths of a volt, volts, tens of volts


@dataclass(frozen=True, slots=True)
class SheetRound:
    """State of one round.

    state, state_high : indices of the driven quantities' state; they differ where the reading
        spans a movement (snap, sweep) between two extremes.
    point : number of the point that the black lead is on.
    fitted : (terminal, terminal or -1 for battery negative, ohm) of resistors in place.
    wiggled : whether wire and connector were moved meanwhile, and nothing else was.
    keeps : whether the meter kept lowest and highest while they were.
    """

    name: str
    plugged: bool
    powered: bool
    state: int
    state_high: int
    point: int = 0
    fitted: tuple[tuple[int, int, float], ...] = ()
    wiggled: bool = False
    keeps: bool = False

    @property
    def spans(self) -> bool:
        """Whether driven quantities move between two extremes during the round."""
        return self.state != self.state_high

    @property
    def has_two_ends(self) -> bool:
        """Whether what is read may be that of either of two circuits or states, or between them."""
        return self.spans or (self.wiggled and self.keeps)


@dataclass(frozen=True, slots=True)
class Sheet:
    """n_read readings of n_terminal terminals in R rounds.

    quantity, round, terminal, other : ndarray of int, shape (n_read,)
        What, where; ``terminal`` is -1 where it speaks of no terminal, ``other`` the second
        terminal of a resistance.
    value : ndarray, shape (n_read,)
        V, Hz, share, ohm or degC; inf where the meter showed "OL".
    deviation : ndarray, shape (n_read,)
        Standard uncertainty, in the value's unit.
    load_ohm : ndarray, shape (n_read,)
        Loading resistor of `VOLTS_LOADED`, ohm.
    reported : ndarray of int, shape (n_read,)
        Number of the control-unit value that a reading is, -1 elsewhere.
    label : tuple of str
        Name of each reading, "A volts 3".
    input_ohm : float
        Input resistance of the meter, ohm.
    role_log : ndarray, shape (n_terminal, n_role)
        Log factors on roles from witnesses that are no measurement (a diagram).
    meter_share : float
        Standard uncertainty of the meter's gain on DC volts, common to all readings, share.
    range_number : ndarray of int, shape (n_read,), optional
        Range of the meter that a reading of DC volts was taken in, 0 to `N_RANGE` - 1.
    range_volt : ndarray, shape (n_read,), optional
        Standard uncertainty of that range's offset, common to all readings in it, V.
    comes_and_goes : bool
        Whether a fault is taken to be there in wiggled rounds only; at one of two ends where the
        meter kept lowest and highest.
    """

    rounds: tuple[SheetRound, ...]
    n_terminal: int
    quantity: IntArray
    round: IntArray
    terminal: IntArray
    other: IntArray
    value: Array
    deviation: Array
    load_ohm: Array
    reported: IntArray
    label: tuple[str, ...]
    input_ohm: float
    role_log: Array
    meter_share: float = 0.0
    range_number: IntArray | None = None
    range_volt: Array | None = None
    comes_and_goes: bool = False

    @property
    def n_read(self) -> int:
        """Number of readings."""
        return len(self.label)

    @property
    def spared(self) -> Bools:
        """Rounds in which a fault that comes and goes isn't there, (R,)."""
        return np.array([self.comes_and_goes and not r.wiggled for r in self.rounds], dtype=bool)

    @property
    def n_end(self) -> int:
        """Ends of each round: 2 where one of them has two."""
        return 2 if any(r.has_two_ends for r in self.rounds) else 1

    @property
    def spared_ends(self) -> Bools:
        """Ends of the rounds at which such a fault isn't there, (R, n_end)."""
        spared = np.repeat(self.spared[:, None], self.n_end, axis=1)
        if self.comes_and_goes:
            spared[:, 0] |= [r.wiggled and r.keeps for r in self.rounds]
        return spared

    def only(self, readings: Bools) -> "Sheet":
        """The same rounds with some of the readings."""
        known = {name: getattr(self, name) for name in OF_READING}
        some = {name: of[readings] for name, of in known.items() if of is not None}
        label = tuple(self.label[i] for i in np.flatnonzero(readings))
        return replace(self, label=label, **some)

    @property
    def warming(self) -> float:
        """Half of the span that the sensing element's temperature is known to have gone, K."""
        known = self.value[self.quantity == Quantity.AMBIENT]
        return 0.5 * float(np.ptp(known)) if known.size else 0.0

    @property
    def is_unary(self) -> Bools:
        """Readings at one terminal, (n_read,)."""
        codes = np.array(sorted(int(q) for q in AT_TERMINAL))
        return np.asarray(np.isin(self.quantity, codes))

    @property
    def is_pair(self) -> Bools:
        """Readings between two terminals, (n_read,)."""
        return np.asarray(self.quantity == Quantity.SENSOR_OHM)

    @property
    def ohm_rounds(self) -> frozenset[int]:
        """Rounds in which an ohmmeter was put across the lone sensor."""
        return frozenset(int(r) for r in self.round[self.is_pair])

    @property
    def n_point(self) -> int:
        """Number of points that the black lead was on."""
        return 1 + max((r.point for r in self.rounds), default=0)

    @property
    def states(self) -> tuple[int, ...]:
        """States that occur, each once, in order of their index."""
        found = {r.state for r in self.rounds} | {r.state_high for r in self.rounds}
        return tuple(sorted(found))
