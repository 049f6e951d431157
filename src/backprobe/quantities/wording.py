"""From a value in the plain unit to the words of the trade."""

import math

from backprobe.quantities.unit import Unit, unit_named


def format_quantity(value: float, unit: str) -> str:
    """Write a value the way a technician says it: "12 mV", "2.41 V", "2.21 kohm", "OL"."""
    kind = unit_named(unit)
    if not math.isfinite(value):
        return "not measured" if math.isnan(value) else "OL" if value > 0 else "-OL"
    if kind.symbol == "V":
        return _format_volts(value)
    if not kind.bases:
        return f"{_plain(value, kind.significant)} {kind.symbol}"
    return _format_prefixed(value, kind)


def _format_prefixed(value: float, kind: Unit) -> str:
    """With the largest prefix that leaves a number of one or more, after rounding."""
    rounded = float(f"{value:.{kind.significant - 1}e}")
    for prefix, factor in (("G", 1e9), ("M", 1e6), ("k", 1e3), ("", 1.0)):
        if abs(rounded) >= factor:
            return f"{_plain(rounded / factor, kind.significant)} {prefix}{kind.symbol}"
    return f"{_plain(rounded * 1e3, kind.significant)} {'m' if rounded else ''}{kind.symbol}"


def _format_volts(value: float) -> str:
    """Volts below one in millivolts, as drops and offsets are spoken of; two decimals above."""
    if abs(value) < 0.9995:
        millivolts = round(value * 1e3, 1 if abs(value) < 0.09995 else 0)
        return f"{millivolts + 0.0:g} mV"
    return f"{value:.2f} V" if abs(value) < 99.95 else f"{value:.1f} V"


def _plain(value: float, significant: int) -> str:
    """Round to so many digits, without an exponent and without trailing zeros."""
    if value == 0:
        return "0"
    decimals = max(0, significant - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
