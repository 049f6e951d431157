"""The units in which readings are written, and how each may be spelled."""

from dataclasses import dataclass
from typing import Final

_PREFIXES: Final[dict[str, float]] = {
    "u": 1e-6,
    "micro": 1e-6,
    "m": 1e-3,
    "milli": 1e-3,
    "": 1.0,
    "k": 1e3,
    "K": 1e3,
    "kilo": 1e3,
    "M": 1e6,
    "meg": 1e6,
    "mega": 1e6,
    "G": 1e9,
    "giga": 1e9,
}


@dataclass(frozen=True, slots=True)
class Unit:
    """A kind of quantity: how it is spelled, how far it can go, how it is written."""

    noun: str
    examples: str
    low: float
    high: float
    symbol: str
    bases: tuple[str, ...] = ()  # take a prefix; compared without regard to case
    others: tuple[tuple[str, float, float], ...] = ()  # spelling, factor, offset
    significant: int = 3
    below: str = ""  # what a value below the lowest means, where it means something


_UNITS: Final[dict[str, Unit]] = {
    # The highest range of a hand-held meter is 1000 V.
    "volt": Unit("voltage", '"12 mV" or "2.41 V"', -1e3, 1e3, "V", ("v", "volt", "volts")),
    # Below zero only as far as nulled leads can take it; 10 Gohm is beyond any hand-held meter.
    "ohm": Unit(
        "resistance",
        '"2.2 kohm", "4k7" or "350 ohm"',
        -1.0,
        1e10,
        "ohm",
        ("ohm", "ohms", "ω"),
        (("R", 1.0, 0.0), ("k", 1e3, 0.0), ("K", 1e3, 0.0), ("M", 1e6, 0.0), ("meg", 1e6, 0.0)),
        below=(
            "A meter shows a resistance below zero where there is voltage on the circuit:"
            " key off, sensor unplugged, and measure again."
        ),
    ),
    "hertz": Unit(
        "frequency", '"1.81 kHz" or "85 Hz"', 0.0, 1e8, "Hz", ("hz", "hertz"), significant=4
    ),
    "ampere": Unit(
        "current", '"7 mA" or "0.4 A"', -1e4, 1e4, "A", ("a", "amp", "amps", "ampere", "amperes")
    ),
    "percent": Unit(
        "percentage",
        '"40 %"',
        0.0,
        100.0,
        "%",
        others=(("%", 1.0, 0.0), ("percent", 1.0, 0.0), ("pct", 1.0, 0.0)),
    ),
    "trim": Unit(
        "fuel trim",
        '"+12.5 %" or "-3"',
        -100.0,
        100.0,
        "%",
        others=(("%", 1.0, 0.0), ("percent", 1.0, 0.0), ("pct", 1.0, 0.0)),
    ),
    "litre": Unit(
        "displacement",
        '"1.6 l" or "1598 cm3"',
        0.05,
        30.0,
        "l",
        others=(
            *((name, 1.0, 0.0) for name in ("l", "litre", "litres", "liter", "dm3")),
            *((name, 1e-3, 0.0) for name in ("cm3", "cm³", "ccm", "cc", "ml")),
            ("in3", 0.016387064, 0.0),  # the international inch is 25.4 mm (1959)
        ),
    ),
    "celsius": Unit(
        "temperature",
        '"19 degC" or "66 degF"',
        -100.0,
        1300.0,
        "°C",
        others=(
            *((name, 1.0, 0.0) for name in ("degC", "°C", "C", "celsius", "deg C", "° C")),
            *((f, 5 / 9, -160 / 9) for f in ("degF", "°F", "F", "fahrenheit", "deg F", "° F")),
            ("K", 1.0, -273.15),
            ("kelvin", 1.0, -273.15),
        ),
    ),
    "gram per second": Unit(
        "mass flow",
        '"3.2 g/s" or "11.5 kg/h"',
        0.0,
        2e3,
        "g/s",
        others=(
            *((name, 1.0, 0.0) for name in ("g/s", "g/sec", "gram per second")),
            *((name, 1 / 3.6, 0.0) for name in ("kg/h", "kg/hr")),
            ("kg/s", 1e3, 0.0),
            ("lb/min", 453.59237 / 60, 0.0),  # the international pound is 453.59237 g (1959)
        ),
    ),
    "kilopascal": Unit(
        "pressure",
        '"33 kPa" or "330 mbar"',
        0.0,
        4e5,
        "kPa",
        others=(
            *(("kPa", 1.0, 0.0), ("Pa", 1e-3, 0.0), ("hPa", 0.1, 0.0)),
            *(("MPa", 1e3, 0.0), ("bar", 100.0, 0.0), ("mbar", 0.1, 0.0)),
            # NIST SP 811 (2008), appendix B.8: conversion factors, 7 digits.
            *(("psi", 6.894757, 0.0), ("inHg", 3.386389, 0.0), ("mmHg", 0.1333224, 0.0)),
        ),
    ),
    "rpm": Unit(
        "engine speed",
        '"750 rpm"',
        0.0,
        2.5e4,
        "rpm",
        others=tuple((name, 1.0, 0.0) for name in ("rpm", "1/min", "/min", "r/min", "min-1")),
        significant=5,
    ),
}
_SHORT: Final = {
    "V": "volt",
    "Hz": "hertz",
    "A": "ampere",
    "%": "percent",
    "degC": "celsius",
    "g/s": "gram per second",
    "kPa": "kilopascal",
}


def unit_named(name: str) -> Unit:
    """Find a unit by its name (volt, ohm, ...) or its usual symbol (V, Hz, ...)."""
    return _UNITS[_SHORT.get(name, name)]


def factor_of(spelled: str, kind: Unit) -> tuple[float, float] | None:
    """Factor and offset from a written unit to the plain one; None where it isn't one."""
    if not spelled:
        return 1.0, 0.0
    for match_case in (True, False):
        for name, factor, offset in kind.others:
            # Small and capital letters mean different prefixes in "mPa" and "MPa", "m" and "M".
            same = spelled == name or (
                not match_case and name not in ("M", "MPa") and spelled.lower() == name.lower()
            )
            if same:
                return factor, offset
    for prefix, factor in _PREFIXES.items():
        if spelled.startswith(prefix) and spelled[len(prefix) :].strip().lower() in kind.bases:
            return factor, 0.0
    return None


def like(kind: Unit) -> str:
    """Tell how such a value is written."""
    return f"Write it like {kind.examples}."
