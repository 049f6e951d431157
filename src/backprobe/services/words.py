"""How probabilities, roles, faults, weights, readings and minutes are said.

Words first, the number beside them: a technician acts on the words, a reviewer wants the numbers.
Here and not in a face, so that terminal, pages and reports say the same.
"""

from __future__ import annotations

import re
from typing import Final

from backprobe.quantities import format_quantity
from backprobe.services.steps import IDLE_BELOW_RPM
from backprobe.vocabulary import NO_FAULT, split_fault

# Own scale. Its ends follow what the program does: it stops asking at 0.99.
_PROBABILITY: Final = (
    (0.99, "settled"),
    (0.95, "nearly sure"),
    (0.80, "very likely"),
    (0.60, "likely"),
    (0.40, "as likely as not"),
    (0.15, "possible"),
    (0.05, "unlikely"),
    (0.01, "very unlikely"),
    (0.0, "all but ruled out"),
)
# Weight of evidence: Good, Probability and the Weighing of Evidence (1950), ch. 6: ten decibans
# multiply the odds by ten, one deciban is about the least that a mind notices. The words are own.
_WEIGHT: Final = (
    (30.0, "decisive"),
    (20.0, "very strong"),
    (13.0, "strong"),
    (8.0, "good"),
    (4.0, "fair"),
    (1.0, "weak"),
    (0.0, "says nothing"),
)
FIT_NOTHING: Final = (
    "These readings fit nothing that is modelled here. Repeat the readings named as not fitting "
    "before trusting any explanation."
)
ROLE_WORDS: Final[dict[str, str]] = {
    "supply-regulated": "regulated supply",
    "supply-battery": "battery feed",
    "sensor-ground": "sensor ground",
    "signal-analogue": "signal, a voltage",
    "signal-switching": "signal, switching",
    "signal-thermistor": "thermistor signal",
    "signal-switch": "switch signal",
    "generator-signal": "signal of a generating sensor",
    "generator-return": "return of a generating sensor",
    "heater-control": "heater control",
    "driver-control": "driver control",
    "motor": "motor lead",
    "shield": "cable screen",
    "not-used": "not used",
}
_WIRE_WORDS: Final[dict[str, str]] = {
    "supply-regulated": "regulated supply wire",
    "supply-battery": "battery feed wire",
    "sensor-ground": "sensor ground wire",
    "signal-analogue": "signal wire",
    "signal-switching": "switching signal wire",
    "signal-thermistor": "thermistor signal wire",
    "signal-switch": "switch signal wire",
    "generator-signal": "live wire of the generating sensor",
    "generator-return": "return wire of the generating sensor",
    "heater-control": "heater control wire",
    "driver-control": "driver control wire",
    "motor": "motor wire",
    "shield": "cable screen",
    "not-used": "unused wire",
}
_FAULT_WORDS: Final[dict[str, str]] = {
    "open": "the {wire}{at} is broken or makes no contact, between control unit and connector",
    "resistance": "unwanted resistance in the {wire}{at}, or at its contact",
    "short-to-ground": "the {wire}{at} touches body or ground",
    "short-to-supply": "the {wire}{at} touches the regulated supply",
    "short-to-battery": "the {wire}{at} touches battery voltage",
    "supply-low": "the regulated supply{at} is weak or pulled down, though its wire is sound",
    "ground-lifted": "the ground that the {wire}{at} returns to is itself lifted",
    "control-unit-input": "pull-up, bias or input in the control unit, behind the {wire}{at}",
    "sensor-open": "the {part} is open inside or has a bad contact, on the {wire}{at}",
    "sensor-shorted": "the {part} is shorted inside, on the {wire}{at}",
    "sensor-stuck": "the {part}'s output on the {wire}{at} does not move",
    "sensor-drift": "the {part}'s output on the {wire}{at} moves but is off its curve",
    "swapped": "the {wire}{at} are exchanged against the sensor",
}
# What hangs on the wire, where it is not simply the sensor.
_PART_WORDS: Final[dict[str, str]] = {
    "heater-control": "heater",
    "driver-control": "actuator",
    "motor": "motor",
}
_QUANTITY_WORDS: Final[dict[str, str]] = {
    "volts": "volts",
    "volts_high": "highest volts",
    "volts_low": "lowest volts",
    "level_high": "high level",
    "level_low": "low level",
    "volts_ac": "AC volts",
    "volts_loaded": "volts with load",
    "hertz": "hertz",
    "duty_percent": "duty",
    "sensor_ohms": "sensor ohms",
    "harness_ohms": "harness ohms",
    "battery_volts": "battery volts",
    "black_lead_check": "black lead check",
    "ambient_celsius": "temperature",
    "scan": "control unit's",
    "fitted": "fitted resistor",
}
_UNITS_READ: Final = {"degC": "°C", "1/min": "rpm"}
_READING: Final = re.compile(
    rf"(?P<round>.+?) (?P<quantity>{'|'.join(sorted(_QUANTITY_WORDS, key=len, reverse=True))})"
    r"(?: (?P<place>.+))?"
)
_CLAIM_TERMINAL: Final = re.compile(r"terminal (?P<pin>\S+) is (?P<role>\S+)")


def probability_words(share: float) -> str:
    """Say a probability in words."""
    return next(words for bound, words in _PROBABILITY if share >= bound or bound == 0.0)


def percent(share: float) -> str:
    """Write a probability in per cent with as many digits as it bears; never 0 or 100."""
    if share > 0.9995:
        return "> 99.9 %"
    if share < 0.001:
        return "< 0.1 %"
    if share >= 0.985 or share < 0.015:
        return f"{100 * share:.1f} %"
    return f"{100 * share:.0f} %"


def sure(share: float) -> str:
    """Words with the number beside them: "nearly sure, 97 %"."""
    return f"{probability_words(share)}, {percent(share)}"


def strength_words(decibans: float) -> str:
    """Say how strong a weight of evidence is, whichever way it pulls."""
    size = abs(decibans)
    return next(words for bound, words in _WEIGHT if size >= bound or bound == 0.0)


def weight_words(decibans: float) -> str:
    """Say a weight of evidence in words, and which way it pulls."""
    words = strength_words(decibans)
    if abs(decibans) < _WEIGHT[-2][0]:
        return words
    return f"{words}, {'for' if decibans > 0 else 'against'}"


def role_words(role: str) -> str:
    """Say a wire's job in few words."""
    return ROLE_WORDS.get(role, role)


def terminals_words(terminals: tuple[str, ...]) -> str:
    """Say "terminal 3", "terminals 1 and 3" or "terminals 1, 2 and 3"; nothing without any."""
    if not terminals:
        return ""
    if len(terminals) == 1:
        return f"terminal {terminals[0]}"
    return f"terminals {', '.join(terminals[:-1])} and {terminals[-1]}"


def role_and_fault_words(role: str, fault: str) -> str:
    """Say a role and the fault under which a wire would have it, as a rival is named."""
    if split_fault(fault)[0] == NO_FAULT:
        return role_words(role)
    return f"{role_words(role)} (if {fault_words(fault)})"


def fault_words(fault: str, terminals: tuple[str, ...] = ()) -> str:
    """Say a fault as a sentence without its full stop."""
    kind, named = split_fault(fault)
    if kind == NO_FAULT:
        return "no fault in this circuit"
    if kind not in _FAULT_WORDS or not named:
        return fault
    roles = named.split("+")
    wires = [_WIRE_WORDS.get(role, role) for role in roles]
    wire = wires[0] if len(wires) == 1 else " and the ".join(wires)
    place = terminals_words(terminals)
    part = _PART_WORDS.get(roles[0], "sensor")
    return _FAULT_WORDS[kind].format(wire=wire, part=part, at=f" ({place})" if place else "")


def claim_words(claim: str) -> str:
    """Say a claim of the answer ("terminal 3 is sensor-ground", "fault open:motor") in words.

    Anything else is already worded and stays as it is.
    """
    terminal = _CLAIM_TERMINAL.fullmatch(claim)
    if terminal:
        return f"terminal {terminal['pin']} is: {role_words(terminal['role'])}"
    if claim.startswith("fault "):
        return fault_words(claim.removeprefix("fault "))
    return claim


def reading_words(reading: str) -> str:
    """Say a reading's name ("A volts_loaded 1") in words ("A: volts with load at 1")."""
    match = _READING.fullmatch(reading)
    if match is None:
        return reading
    quantity = _QUANTITY_WORDS[match["quantity"]]
    place = match["place"]
    if not place:
        return f"{match['round']}: {quantity}"
    joint = " " if match["quantity"] == "scan" else " at "
    return f"{match['round']}: {quantity}{joint}{place}"


def is_circuit_reading(reading: str) -> bool:
    """Whether this was read of the circuit: not the odds before, not the temperature around it."""
    match = _READING.fullmatch(reading)
    return match is not None and match["quantity"] != "ambient_celsius"


def tells_only_circuit(reading: str) -> bool:
    """Whether a reading says no more than that the control unit has such a value from here.

    Temperatures and what it sees at its input are compared as numbers as well.
    """
    match = _READING.fullmatch(reading)
    if match is None or match["quantity"] != "scan":
        return False
    return not match["place"].endswith((" temperature", " volts", " hertz", " supply"))


def reading_pins(reading: str) -> tuple[str, ...]:
    """Tell the pins that a reading was taken at; none for battery, black lead, control unit."""
    match = _READING.fullmatch(reading)
    if match is None or match["quantity"] == "scan" or not match["place"]:
        return ()
    return tuple(match["place"].split("-"))


def reading_round(reading: str) -> str:
    """Tell the round that a reading was taken in; nothing for what is no reading."""
    match = _READING.fullmatch(reading)
    return "" if match is None else match["round"]


def source_words(reading: str) -> str:
    """Say what it is that tells: "what terminal C reads"."""
    pins = reading_pins(reading)
    if pins:
        return f"what {terminals_words(pins)} {'reads' if len(pins) == 1 else 'read'}"
    match = _READING.fullmatch(reading)
    if match is not None and match["quantity"] == "scan":
        return "the control unit's own values"
    return "what was read at the battery"


def quantity_words(quantity: str) -> str:
    """Say what is measured, in words."""
    return _QUANTITY_WORDS.get(quantity, quantity)


def state_words(*, plugged: bool, key: str, rpm: float = 0.0, action: str = "") -> str:
    """Say the state a reading is taken in: "unplugged, key on"; "plugged in, running"."""
    parts = ["plugged in" if plugged else "unplugged"]
    if key == "run":
        parts.append(f"running at {rpm:.0f} rpm" if rpm > IDLE_BELOW_RPM else "idling")
    else:
        parts.append({"off": "key off", "on": "key on", "crank": "cranking"}.get(key, key))
    if action:
        parts.append(action)
    return ", ".join(parts)


def minutes_words(minutes: float) -> str:
    """Minutes as one says them; an estimate bears no more than halves."""
    halves = max(1, round(2 * minutes))
    if halves == 1:
        return "half a minute"
    if halves == 2:
        return "1 minute"
    if minutes >= 10 or halves % 2 == 0:
        return f"{round(minutes)} minutes"
    return f"{halves / 2:.1f} minutes"


def gain_words(bits: float) -> str:
    """Say what a reading is expected to tell; one bit halves what is open."""
    if bits >= 0.8:
        return "splits what is open in half or better"
    if bits >= 0.4:
        return "tells a good deal"
    if bits >= 0.1:
        return "tells something"
    return "tells little"


def measured(value: float, unit: str) -> str:
    """Write a value with its unit as the trade says it; an unknown unit just stands behind."""
    if unit == "share":
        return format_quantity(100 * value, "percent")
    try:
        return format_quantity(value, unit)
    except KeyError:
        return f"{value:.4g} {unit}".strip()


def interval_words(low: float, high: float, unit: str) -> str:
    """Write the two ends of an interval, the unit once where both have the same."""
    first, second = measured(low, unit), measured(high, unit)
    number, _, first_unit = first.partition(" ")
    return f"{number if second.endswith(' ' + first_unit) else first} to {second}"


def counted(number: int, one: str, many: str = "") -> str:
    """A number of things: "1 job", "2 jobs", "20,000 jobs"."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def unit_words(unit: str) -> str:
    """A unit as it is read, where logs spell it for machines."""
    return _UNITS_READ.get(unit, unit)
