"""What the standard's own codes about sensors mean (SAE J2012, in own words, from memory).

Only codes whose meaning is the standard's own and that speak of a sensor's circuit or of what
follows from it. "Low" and "high" speak of the voltage at the control unit's input.
"""

from __future__ import annotations

from typing import Final

# Circuits with the standard's usual five codes in a row: first code, circuit.
_CIRCUITS: Final[tuple[tuple[int, str], ...]] = (
    (0x0100, "air mass flow A"),
    (0x0105, "manifold or barometric pressure"),
    (0x0110, "intake air temperature 1"),
    (0x0115, "coolant temperature 1"),
    (0x0120, "throttle or pedal position A"),
    (0x0180, "fuel temperature A"),
    (0x0190, "fuel rail pressure A"),
    (0x0195, "oil temperature"),
    (0x0220, "throttle or pedal position B"),
)
_IN_A_ROW: Final = (
    "circuit",
    "circuit range or performance: plausible voltage, implausible value",
    "circuit low",
    "circuit high",
    "circuit intermittent",
)
_OTHERS: Final[dict[int, str]] = {
    0x0068: "manifold pressure and air mass flow do not fit the throttle position",
    0x0069: "manifold and barometric pressure do not fit each other",
    0x0071: "ambient temperature circuit range or performance",
    0x0072: "ambient temperature circuit low",
    0x0073: "ambient temperature circuit high",
    0x0087: "fuel rail pressure too low",
    0x0088: "fuel rail pressure too high",
    0x0128: "coolant stays below the thermostat's temperature",
    0x0130: "oxygen sensor circuit, bank 1 sensor 1",
    0x0131: "oxygen sensor circuit low, bank 1 sensor 1",
    0x0132: "oxygen sensor circuit high, bank 1 sensor 1",
    0x0133: "oxygen sensor slow, bank 1 sensor 1",
    0x0134: "oxygen sensor shows no activity, bank 1 sensor 1",
    0x0135: "oxygen sensor heater circuit, bank 1 sensor 1",
    0x0171: "mixture too lean, bank 1",
    0x0172: "mixture too rich, bank 1",
    0x0174: "mixture too lean, bank 2",
    0x0175: "mixture too rich, bank 2",
    0x0325: "knock sensor 1 circuit, bank 1",
    0x0335: "crankshaft position A circuit",
    0x0336: "crankshaft position A circuit range or performance",
    0x0340: "camshaft position A circuit, bank 1",
    0x0341: "camshaft position A circuit range or performance, bank 1",
    0x0500: "vehicle speed sensor A",
    0x0560: "system voltage",
    0x0562: "system voltage low",
    0x0563: "system voltage high",
    0x0641: "sensor reference voltage A circuit open",
    0x0642: "sensor reference voltage A circuit low",
    0x0643: "sensor reference voltage A circuit high",
    0x0651: "sensor reference voltage B circuit open",
    0x0652: "sensor reference voltage B circuit low",
    0x0653: "sensor reference voltage B circuit high",
    0x2187: "mixture too lean at idle, bank 1",
    0x2188: "mixture too rich at idle, bank 1",
    0xC100: "lost communication with engine control unit A",
    0xC101: "lost communication with transmission control unit",
}


def code_meaning(high: int, low: int) -> str:
    """Say what a code's two bytes mean; empty where this small table doesn't have it."""
    number = high << 8 | low
    if number in _OTHERS:
        return _OTHERS[number]
    for first, circuit in _CIRCUITS:
        if 0 <= number - first < len(_IN_A_ROW):
            return f"{circuit} {_IN_A_ROW[number - first]}"
    return ""
