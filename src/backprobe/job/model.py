"""What a technician writes down about one connector on one vehicle.

Plain values in SI units, except where a name says otherwise: percent for a duty, and for the
control unit's own values the unit that vocabulary.SCAN_UNITS gives each name.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Final

from backprobe.vocabulary import BATTERY_NEGATIVE

LOAD_OHMS: Final = 1000.0  # harmless on sensor circuits: 5 to 12 mA (common practice, no source)


@dataclass(frozen=True, slots=True)
class Indication:
    """What an instrument showed.

    Parameters
    ----------
    value : float
        The indication in its unit; ``inf`` where the meter showed over range ("OL").
    over_range : bool
        The meter showed that the value lies beyond its range.
    written : str
        The text as it was written, digits and unit kept ("5.00", "12 mV"); empty where a bare
        number was written, which says nothing about digits.
    """

    value: float
    over_range: bool = False
    written: str = ""

    def __post_init__(self) -> None:
        if self.over_range and not self.written:
            object.__setattr__(self, "written", "OL")  # as meters show it


@dataclass(frozen=True, slots=True)
class Terminal:
    """One terminal of the connector, in the connector's own order."""

    pin: str
    colour: str = ""
    diagram: str = ""


@dataclass(frozen=True, slots=True)
class Connector:
    """A connector and its terminals."""

    name: str
    kind: str = "unknown"
    terminals: tuple[Terminal, ...] = ()

    @property
    def pins(self) -> tuple[str, ...]:
        """The pins in the connector's own order."""
        return tuple(terminal.pin for terminal in self.terminals)


@dataclass(frozen=True, slots=True)
class Meter:
    """What the meter's own data sheet says of it."""

    counts: int = 4000
    dc_volts: str = "0.5 % + 2 digits"
    ac_volts: str = "1 % + 5 digits"
    ohms: str = "0.8 % + 3 digits"
    hertz: str = "0.1 % + 1 digit"
    input_resistance: float = 10e6


@dataclass(frozen=True, slots=True)
class Fitted:
    """A known resistor fitted for a whole round between two pins, or a pin and battery negative."""

    start: str
    end: str
    ohms: float


@dataclass(frozen=True, slots=True)
class Round:
    """Readings taken in one state of the vehicle with the black lead on one point.

    Each mapping takes a pin to what the meter showed there; ``sensor_ohms`` takes two pins in the
    connector's order, ``scan`` the name of a value that the control unit reports. Duty is in
    percent. ``volts_high`` is the highest value that a meter kept, which averages a fast signal;
    ``level_high`` the state level that an oscilloscope shows.
    """

    name: str
    plugged: bool
    key: str
    rpm: float = 0.0
    action: str = ""
    black_lead: str = BATTERY_NEGATIVE
    battery_volts: Indication | None = None
    black_lead_check: Indication | None = None
    ambient_celsius: float | None = None
    volts: Mapping[str, Indication] = field(default_factory=dict)
    volts_high: Mapping[str, Indication] = field(default_factory=dict)
    volts_low: Mapping[str, Indication] = field(default_factory=dict)
    level_high: Mapping[str, Indication] = field(default_factory=dict)
    level_low: Mapping[str, Indication] = field(default_factory=dict)
    volts_ac: Mapping[str, Indication] = field(default_factory=dict)
    hertz: Mapping[str, Indication] = field(default_factory=dict)
    duty_percent: Mapping[str, Indication] = field(default_factory=dict)
    sensor_ohms: Mapping[tuple[str, str], Indication] = field(default_factory=dict)
    harness_ohms: Mapping[str, Indication] = field(default_factory=dict)
    load_ohms: float = LOAD_OHMS
    volts_loaded: Mapping[str, Indication] = field(default_factory=dict)
    fitted: tuple[Fitted, ...] = ()
    scan: Mapping[str, Indication] = field(default_factory=dict)
    void: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Engine:
    """What is known of the engine; empty or None where it isn't."""

    displacement_l: float | None = None
    cylinders: int | None = None
    cycle: str = ""
    fuel: str = ""
    induction: str = ""


@dataclass(frozen=True, slots=True)
class Vehicle:
    """What is known of the vehicle; empty or None where it isn't."""

    description: str = ""
    vin: str = ""
    odometer_km: float | None = None
    engine: Engine = field(default_factory=Engine)


@dataclass(frozen=True, slots=True)
class Code:
    """A trouble code read from the control unit."""

    code: str
    status: str = "stored"
    freeze_frame: Mapping[str, str] = field(default_factory=dict)  # as the control unit names them


@dataclass(frozen=True, slots=True)
class Job:
    """One connector on one vehicle, with everything that was read there."""

    title: str
    connector: Connector
    complaint: str = ""
    recent_work: str = ""  # what was done to the vehicle lately
    opened: date | None = None
    technician: str = ""
    vehicle: Vehicle = field(default_factory=Vehicle)
    codes: tuple[Code, ...] = ()
    meter: Meter = field(default_factory=Meter)
    rounds: tuple[Round, ...] = ()
