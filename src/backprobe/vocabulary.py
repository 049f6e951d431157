"""The words of the job file and the answer: roles, faults, states, names of values.

The order of each tuple is the order in which pages and reports list its words.
"""

from typing import Final

FORMAT: Final = 1

ROLE_MEANING: Final[dict[str, str]] = {
    "supply-regulated": "fed by the control unit's own regulator (5 V; 8 to 10 V on some)",
    "supply-battery": "fed with battery voltage through fuse or relay",
    "sensor-ground": "return to the control unit or to the body",
    "signal-analogue": "a voltage that the sensor drives in proportion to what it measures",
    "signal-switching": (
        "a signal that the sensor switches: frequency, pulse width or digital levels"
    ),
    "signal-thermistor": "fed through a pull-up in the control unit, pulled down by a thermistor",
    "signal-switch": "fed through a pull-up and pulled down by a contact",
    "generator-signal": (
        "the live end of a sensor that makes its own voltage: inductive pick-up, oxygen cell,"
        " knock sensor"
    ),
    "generator-return": "the other end of a sensor that makes its own voltage",
    "heater-control": "the switched low side of a heater",
    "driver-control": "the switched low side of a solenoid, an injector or a relay coil",
    "motor": "one of the two leads of a motor that the control unit drives both ways",
    "shield": "screen of a cable",
    "not-used": "a cavity or wire with nothing on it",
}
ROLES: Final[tuple[str, ...]] = tuple(ROLE_MEANING)

NO_FAULT: Final = "none"
FAULT_MEANING: Final[dict[str, str]] = {
    "open": (
        "the wire is broken or the terminal makes no contact, between control unit and connector"
    ),
    "resistance": "unwanted series resistance in the wire or terminal",
    "short-to-ground": "the wire touches body or ground",
    "short-to-supply": "the wire touches the regulated supply",
    "short-to-battery": "the wire touches battery voltage",
    "supply-low": "the regulated supply is pulled down or weak behind the connector",
    "ground-lifted": "the return itself stands above battery negative",
    "control-unit-input": "pull-up, bias or input of the control unit has failed",
    "sensor-open": "open inside the sensor, on that output",
    "sensor-shorted": ("shorted inside the sensor, the output to its own return or across itself"),
    "sensor-stuck": "the sensor's output does not move",
    "sensor-drift": "the sensor's output moves but is off its curve",
    "swapped": "two wires are exchanged against the sensor",
}
FAULT_KINDS: Final[tuple[str, ...]] = tuple(FAULT_MEANING)

CONNECTOR_KINDS: Final[tuple[str, ...]] = (
    "unknown",
    "temperature",
    "pressure",
    "position",
    "speed",
    "air-mass",
    "oxygen",
    "knock",
    "switch",
    "actuator",
)
KEYS: Final[tuple[str, ...]] = ("off", "on", "crank", "run")
ACTIONS: Final[tuple[str, ...]] = ("", "snap throttle", "sweep", "wiggle")
CODE_STATUSES: Final[tuple[str, ...]] = ("stored", "pending", "permanent")
ENGINE_CYCLES: Final[tuple[str, ...]] = ("four-stroke", "two-stroke")
FUELS: Final[tuple[str, ...]] = ("petrol", "diesel", "lpg", "cng", "ethanol")
INDUCTIONS: Final[tuple[str, ...]] = ("natural", "forced")
BATTERY_NEGATIVE: Final = "battery negative"

# The J1979 quantities in words, each with its unit as quantities.py names it.
_SCAN_QUANTITIES: Final[dict[str, str]] = {
    "intake air temperature": "celsius",
    "coolant temperature": "celsius",
    "air mass flow": "gram per second",
    "manifold pressure": "kilopascal",
    "throttle position": "percent",
    "engine speed": "rpm",
    "control unit supply": "volt",
}
# Each also with what the control unit sees at its own input.
SCAN_UNITS: Final[dict[str, str]] = (
    _SCAN_QUANTITIES
    | {f"{name} volts": "volt" for name in _SCAN_QUANTITIES}
    | {f"{name} hertz": "hertz" for name in _SCAN_QUANTITIES}
)
SCAN_NAMES: Final[tuple[str, ...]] = tuple(SCAN_UNITS)
# Of these the temperatures of thermistors: a connector holds one of them, noted beside others.
REPORTED_TEMPERATURES: Final = ("intake air temperature", "coolant temperature")

ESTIMATE_NAMES: Final[tuple[str, ...]] = (
    "supply",
    "battery",
    "sensor ground offset",
    "pull-up resistance",
    "thermistor resistance",
    "thermistor temperature",
    "duty",
    "frequency",
    "added resistance",
    "signal",
)


def fault_name(kind: str, role: str = "") -> str:
    """Name a fault: "none", "open:sensor-ground", "swapped:ROLE+ROLE"."""
    return NO_FAULT if kind == NO_FAULT else f"{kind}:{role}"


def split_fault(name: str) -> tuple[str, str]:
    """Split a name into kind and role ("ROLE+ROLE" where two are swapped, "" for no fault)."""
    kind, _, role = name.partition(":")
    return kind, role
