"""A proposed reading in the trade's words: what to measure, and what it tells apart."""

from __future__ import annotations

from math import isnan
from typing import Final

from backprobe.quantities import format_quantity
from backprobe.vocabulary import NO_FAULT, split_fault

ROLE: Final[dict[str, str]] = {
    "supply-regulated": "the regulated supply",
    "supply-battery": "the battery feed",
    "sensor-ground": "the sensor ground",
    "signal-analogue": "a voltage signal",
    "signal-switching": "a switching signal",
    "signal-thermistor": "a thermistor signal",
    "signal-switch": "a switch signal",
    "generator-signal": "a wire of a sensor that makes its own voltage",
    "generator-return": "the return of a sensor that makes its own voltage",
    "heater-control": "the heater's control",
    "driver-control": "a driver's control",
    "motor": "a motor lead",
    "shield": "the cable's screen",
    "not-used": "an unused cavity",
}
WIRE: Final[dict[str, str]] = {
    "supply-regulated": "regulated supply wire",
    "supply-battery": "battery feed wire",
    "sensor-ground": "ground wire",
    "signal-analogue": "signal wire",
    "signal-switching": "switching signal wire",
    "signal-thermistor": "thermistor signal wire",
    "signal-switch": "switch signal wire",
    "generator-signal": "live wire",
    "generator-return": "return wire",
    "heater-control": "heater control wire",
    "driver-control": "driver control wire",
    "motor": "motor wire",
    "shield": "cable screen",
    "not-used": "unused wire",
}
FAULT: Final[dict[str, str]] = {
    NO_FAULT: "a sound circuit",
    "open": "a broken {wire}",
    "resistance": "unwanted resistance in the {wire}",
    "short-to-ground": "a short of the {wire} to ground",
    "short-to-supply": "a short of the {wire} to the regulated supply",
    "short-to-battery": "a short of the {wire} to battery voltage",
    "supply-low": "a weak or pulled-down regulated supply",
    "ground-lifted": "a lifted ground behind the {wire}",
    "control-unit-input": "a failed pull-up, bias or input behind the {wire}",
    "sensor-open": "an open {part}",
    "sensor-shorted": "a short in the {part}",
    "sensor-stuck": "a {part} that no longer moves its output",
    "sensor-drift": "a {part} off its curve",
    "swapped": "{wire} exchanged",
}
_PART: Final[dict[str, str]] = {
    "heater-control": "heater",
    "driver-control": "actuator",
    "motor": "motor",
}
SOUND: Final = "a sound measurement"
QUANTITY: Final[dict[str, str]] = {
    "volts": "DC volts",
    "volts_high": "Highest DC volts",
    "volts_low": "Lowest DC volts",
    "volts_ac": "AC volts",
    "volts_loaded": "DC volts under load",
    "hertz": "Hertz",
    "duty_percent": "Duty",
    "sensor_ohms": "Ohms across the free sensor",
    "harness_ohms": "Harness ohms",
    "battery_volts": "DC volts across the battery posts",
    "black_lead_check": "DC volts from the battery's positive post to the black lead's point",
    "ambient_celsius": "The temperature beside the sensing element",
}
UNIT: Final[dict[str, str]] = {
    "hertz": "hertz",
    "duty_percent": "percent",
    "sensor_ohms": "ohm",
    "harness_ohms": "ohm",
    "ambient_celsius": "celsius",
}  # all others are volts
NO_NUMBER: Final[dict[str, str]] = {"sensor_ohms": "OL", "harness_ohms": "OL"}
WIDE: Final = 0.12  # share of the upper end by which two ends differ that are told as a range
SMALL: Final = {"volt": 0.05, "celsius": 3.0, "percent": 4.0}


def fault_phrase(fault: str, pins: tuple[str, ...] = ()) -> str:
    """Name a fault in few words: "a broken ground wire at terminal 3"."""
    kind, named = split_fault(fault)
    roles = named.split("+")
    wire = " and ".join(WIRE.get(role, role) for role in roles)
    phrase = FAULT.get(kind, fault).format(wire=wire, part=_PART.get(roles[0], "sensor"))
    if not pins:
        return phrase
    return f"{phrase} at terminal{'s' if len(pins) > 1 else ''} {' and '.join(pins)}"


def measurement_phrase(
    lead: tuple[str, ...], key: tuple[str, ...], apart: tuple[str, ...] = ()
) -> str:
    """Name what is wrong with the measurement: the black lead, the key or the connector."""
    if lead:
        return f"a bad black-lead point in round {' and '.join(lead)}"
    if key:
        return f"a key that was not on in round {' and '.join(key)}"
    if apart:
        return f"a connector that was not home in round {' and '.join(apart)}"
    return SOUND


def expectation(quantity: str, low: float, high: float) -> str:
    """What the meter would show: "about 5.00 V", "350 mV to 2.10 V", "OL", "no number".

    NaN stands for no number.
    """
    if isnan(low) or isnan(high):
        return NO_NUMBER.get(quantity, "no number")
    unit = UNIT.get(quantity, "volt")
    middle = 0.5 * (low + high)
    if high - low <= max(WIDE * abs(high), SMALL.get(unit, 0.0)):
        return f"about {_written(middle, unit, 3)}"
    return f"{_written(low, unit, 2)} to {_written(high, unit, 2)}"


def _written(value: float, unit: str, digits: int) -> str:
    """Write a value with as many digits as a forecast bears."""
    if unit == "ohm" and abs(value) < 1.0:
        return f"{value:.1f} ohm"
    rounded = float(f"{value:.{digits}g}")
    return format_quantity(0.0 if unit == "volt" and abs(value) < 1e-3 else rounded, unit)


def role_phrase(role: str) -> str:
    """Name a role in few words: "the sensor ground"."""
    return ROLE.get(role, role)


def sentence(
    quantity: str, place: str, opening: str, answers: tuple[str, ...], shown: tuple[str, ...]
) -> str:
    """One sentence: the reading, and the two answers with what would be shown for each."""
    what = QUANTITY.get(quantity, quantity)
    at = f" at terminal {place}" if place else ""
    if quantity == "scan":
        what, at = _reported(place), ""
    elif "-" in place:
        at = f", terminals {' and '.join(place.split('-', 1))},"
    joint = "or" if opening.startswith("tells whether") else "from"
    told = f" {joint} ".join(f"{a} ({s})" for a, s in zip(answers, shown, strict=True))
    return f"{what}{at} {opening} {told}."


def _reported(name: str) -> str:
    """Name a value that the control unit reports, or what it sees at that input."""
    base = name.removesuffix(" volts")
    if base != name:
        return f"What the control unit sees at its {base} input"
    return f"The {name} that the control unit reports"


def check_sentence(quantity: str, rounds: str) -> str:
    """One sentence on a check that comes before anything else is believed."""
    other = (
        "the volts across the battery posts"
        if quantity == "black_lead_check"
        else "those to the black lead's point"
    )
    return (
        f"{QUANTITY.get(quantity, quantity)} first: they have to agree with {other} before the "
        f"readings of round {rounds} count."
    )


def again_sentence(quantity: str, place: str, bad: str) -> str:
    """One sentence on a reading that takes the place of one that is not believed."""
    return (
        f"{QUANTITY.get(quantity, quantity)} at terminal {place} again, black lead on battery "
        f"negative and key on: what was read in round {bad} proves nothing."
    )


def moved_lead_sentence(failed: str, *, at_battery: bool = False) -> str:
    """One sentence on a black lead that has to be moved and checked before anything is read.

    What is on battery negative already has no better point to go to.
    """
    if at_battery:
        return (
            "Clean the battery's negative post, check the black lead and its clip, then the check "
            f"again: in round {failed} it misses the volts across the battery posts."
        )
    return (
        "The black lead on another point first, bare metal or best battery negative, and the check "
        f"again: in round {failed} it misses the volts across the battery posts."
    )


def proof_sentence(quantity: str, place: str) -> str:
    """One sentence on the reading that a circuit needs before it is called sound."""
    return (
        f"{QUANTITY.get(quantity, quantity)} at terminal {place} with the sensor plugged in, "
        "before the circuit is called sound: nothing was read yet with both ends together."
    )
