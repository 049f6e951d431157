"""The pieces that a simulated connector is put together from.

A block is a part of a sensor with the inputs, outputs and supplies that the control unit has for
it: a thermistor with its pull-up, a heater with its driver. A connector is a list of blocks.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from backprobe.campaign.nodal import Netlist
from backprobe.campaign.spreads import Random

Values: TypeAlias = Mapping[str, float]

STATES = ("key-on", "crank", "idle", "raised", "snap-low", "snap-high", "sweep-low", "sweep-high")


@dataclass(frozen=True, slots=True)
class Wire:
    """A harness wire: its key (also the node of the probe), role, and control-unit node."""

    key: str
    role: str
    to: str


@dataclass(frozen=True, slots=True)
class Story:
    """What the day is like for this vehicle, the same in all of its rounds."""

    ambient: float  # degC
    engine_celsius: float  # degC of the coolant before the engine is started
    barometer: float  # kPa
    teeth: float  # edges a turn of a wheel that a speed sensor looks at


@dataclass(frozen=True, slots=True)
class Moment:
    """The vehicle at one instant of a round.

    `awake` = control unit and switched feed are on; `levels` has 0 or 1 for each thing that
    switches; `quantities` what sensors measure.
    """

    plugged: bool
    awake: bool
    running: bool
    cranking: bool
    rpm: float
    battery: float
    quantities: Mapping[str, float] = field(default_factory=dict)
    levels: Mapping[str, int] = field(default_factory=dict)

    def level(self, name: str) -> int:
        """Level of a switching thing; low where nothing is said."""
        return self.levels.get(name, 0)


@dataclass(frozen=True, slots=True)
class Toggle:
    """Something that switches between two levels: share of time at level 1, and how often."""

    name: str
    share: float
    hertz: float


@dataclass(frozen=True, slots=True)
class FaultOption:
    """A fault that a block or a wire can have, with its severity between two limits.

    `edits` gives the values that the fault changes. A fault without a severity has equal limits.
    """

    kind: str
    wires: tuple[str, ...]
    edits: Callable[[float], Mapping[str, float]]
    low: float = 1.0
    high: float = 1.0
    swap: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class ScanPort:
    """A value that the control unit reports: its name, the wire and how it converts the input.

    `convert` takes the block's values and the volts (or hertz) at the control unit's input.
    """

    name: str
    wire: str
    convert: Callable[[Values, float], float]
    by_hertz: bool = False


class Block:
    """A part of a sensor and what the control unit has for it; does nothing by itself."""

    def __init__(self, name: str) -> None:
        self.name = name

    def wires(self) -> tuple[Wire, ...]:
        """Wires that this block brings into the connector."""
        return ()

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw this block's component values."""
        del rng
        return {}

    def quantities(self, values: Values, state: str, story: Story, rng: Random) -> dict[str, float]:
        """Draw what this block's sensor measures in a state."""
        del values, state, story, rng
        return {}

    def toggles(self, values: Values, now: Moment) -> tuple[Toggle, ...]:
        """Say what switches in this block at such a moment."""
        del values, now
        return ()

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the control unit's side."""

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the sensor's side, between its pins KEY.s."""

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Faults inside the sensor and at the control unit's input."""
        del values
        return ()

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Wires between whose sensor pins an ohmmeter shows something that means something."""
        return ()

    def scans(self) -> tuple[ScanPort, ...]:
        """Values that the control unit may report of this block."""
        return ()

    def interchangeable(self, values: Values) -> tuple[frozenset[str], ...]:
        """Groups of wires that no reading can tell apart."""
        del values
        return ()

    def key(self, part: str) -> str:
        """Name of one of this block's values."""
        return f"{self.name}.{part}"

    def measured(self, values: Values, now: Moment, part: str) -> float:
        """Quantity that the sensor goes by: the true one, or where it is stuck."""
        name = self.key(part)
        return values.get(f"stuck:{name}", now.quantities.get(name, 0.0))


def stuck(name: str) -> Callable[[float], dict[str, float]]:
    """Edits that hold a quantity at the fault's severity."""
    return lambda severity: {f"stuck:{name}": severity}


def changed(**parts: float) -> Callable[[float], dict[str, float]]:
    """Edits that don't depend on a severity."""
    return lambda _: dict(parts)


def set_to(name: str) -> Callable[[float], dict[str, float]]:
    """Edits that set one value to the fault's severity."""
    return lambda severity: {name: severity}
