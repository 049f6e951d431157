"""Units in which logs are written, and the way to the ones used here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

_SAME_SIGNS: Final = str.maketrans({"µ": "u", "μ": "u", "º": "°", "\u00a0": " "})
_POUND: Final = 453.59237  # g; the international pound (1959)
_MILE: Final = 1.609344  # km; the international mile (1959)
_GALLON: Final = 3.785411784  # L; US gallon, NIST SP 811 (2008), appendix B.8
AIR_A_STROKE: Final = "mg/stroke"
"""Air of one intake stroke: becomes a mass flow with the engine speed and the cylinders."""


@dataclass(frozen=True, slots=True)
class KnownUnit:
    """A spelled unit: the unit used here, factor and offset to it."""

    unit: str
    factor: float = 1.0
    offset: float = 0.0


def _spelled(unit: str, factor: float, *names: str) -> dict[str, KnownUnit]:
    return {name.lower(): KnownUnit(unit, factor) for name in names}


# NIST SP 811 (2008), appendix B.8: factors with seven digits where they are not exact.
_KNOWN: Final[dict[str, KnownUnit]] = {
    **_spelled("1/min", 1.0, "rpm", "1/min", "/min", "r/min", "min-1", "u/min", "tr/min"),
    **_spelled("1/min", 60.0, "rps", "1/s"),
    **_spelled("km/h", 1.0, "km/h", "kph", "kmh", "km/hr"),
    **_spelled("km/h", _MILE, "mph", "mi/h"),
    **_spelled("km/h", 3.6, "m/s"),
    **_spelled("degC", 1.0, "°c", "degc", "c", "deg c", "celsius", "grad c"),
    **{name: KnownUnit("degC", 5 / 9, -160 / 9) for name in ("°f", "degf", "f", "deg f")},
    **{name: KnownUnit("degC", 1.0, -273.15) for name in ("k", "kelvin")},
    **_spelled("g/s", 1.0, "g/s", "g/sec", "gps", "gm/s", "grams/sec"),
    **_spelled("g/s", 1 / 3.6, "kg/h", "kg/hr"),
    **_spelled("g/s", 1e3, "kg/s"),
    **_spelled("g/s", _POUND / 60, "lb/min", "lbs/min", "lb/m", "lbm/min"),
    **_spelled(AIR_A_STROKE, 1.0, "mg/stroke", "mg/str", "mg/stk", "mg/hub", "mg/h", "mg/cp"),
    **_spelled("kPa", 1.0, "kpa", "kpaa", "kpa abs"),
    **_spelled("kPa", 1e-3, "pa"),
    **_spelled("kPa", 0.1, "hpa", "mbar", "mbara"),
    **_spelled("kPa", 100.0, "bar", "bara"),
    **_spelled("kPa", 1e3, "mpa"),
    **_spelled("kPa", 6.894757, "psi", "psia", "psig"),
    **_spelled("kPa", 3.386389, "inhg", "in hg", "in.hg", '"hg'),
    **_spelled("kPa", 0.1333224, "mmhg", "torr"),
    **_spelled("%", 1.0, "%", "pct", "percent"),
    **_spelled("V", 1.0, "v", "volt", "volts"),
    **_spelled("V", 1e-3, "mv"),
    **_spelled("A", 1.0, "a", "amp", "amps"),
    **_spelled("A", 1e-3, "ma"),
    **_spelled("Hz", 1.0, "hz"),
    **_spelled("Hz", 1e3, "khz"),
    **_spelled("deg", 1.0, "°", "deg", "degrees", "° crk", "°crk", "°ca"),
    **_spelled("L/h", 1.0, "l/h", "l/hr", "lph"),
    **_spelled("L/h", _GALLON, "gph", "gal/h"),
    **_spelled("s", 1.0, "s", "sec", "secs", "second", "seconds"),
    **_spelled("s", 1e-3, "ms", "msec", "millis", "milliseconds"),
    **_spelled("s", 1e-6, "us", "usec"),
    **_spelled("s", 60.0, "min", "minutes"),
    **_spelled("", 1.0, "lambda", "λ", "ratio", "-"),
}


def known_log_unit(written: str) -> KnownUnit | None:
    """Find a unit however it is spelled; None where it isn't known."""
    text = " ".join(written.translate(_SAME_SIGNS).strip().strip("()[]").split())
    if text in ("MPa", "mPa"):
        return KnownUnit("kPa", 1e3 if text == "MPa" else 1e-6)
    return _KNOWN.get(text.lower())


def convert_factor(written: str, unit: str) -> tuple[float, float] | None:
    """Give factor and offset from a written unit to the wanted one; None where they don't go.

    A written unit that is empty is taken for the wanted one.
    """
    if not written:
        return 1.0, 0.0
    known = known_log_unit(written)
    if known is None or known.unit != unit:
        return None
    return known.factor, known.offset
