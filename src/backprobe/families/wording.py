"""Short words for the values of a family: what stands beside a symbol or in a table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from backprobe.families.element_kinds import PARAMETERS
from backprobe.families.schema import Driven, Element, Family, Prior

UNIT_SIGN: Final[Mapping[str, str]] = {
    "ohm": "ohm",
    "volt": "V",
    "ampere": "A",
    "celsius": "degC",
    "kelvin": "K",
    "hertz": "Hz",
    "share": "",
}
# Keys whose value says most about an element, in this order.
_TELLING: Final = (
    "ohm_25",
    "ohm_0",
    "volt",
    "ampere",
    "ratio",
    "closed",
    "high",
    "volt_low",
    "ohm",
    "closed_ohm",
)
_PREFIXES: Final = ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"))
_NO_PREFIX: Final = ("degC", "K", "")


def number(value: float, unit: str) -> str:
    """Write a value with its unit in three digits at most: "2.2 kohm", "0.45 V", "85 degC"."""
    sign = UNIT_SIGN.get(unit, unit)
    scale, prefix = _scale(abs(value), sign)
    return f"{_digits(value / scale)} {prefix}{sign}".rstrip()


def spread(prior: Prior, unit: str) -> str:
    """Write what a prior allows: "1 to 10 kohm", "5 V", "0 or 1"."""
    if prior.kind == "choice":
        return " or ".join(
            one if isinstance(one, str) else number(one, unit) for one in prior.choices
        )
    if prior.kind in {"uniform", "log_uniform"}:
        return _range(prior.a, prior.b, unit)
    if prior.kind == "normal":
        return f"{number(prior.a, unit)} +-{number(prior.b, unit)}"
    if prior.kind == "log_normal":
        return f"{number(prior.a, unit)} within a factor of {_digits(prior.b)}"
    return number(prior.a, unit)


def parameter_words(family: Family, element: Element, key: str) -> str:
    """Write what one key of an element holds: its spread, or the driven quantity's name."""
    name = element.parameters[key]
    if name in family.driven:
        return name
    return spread(family.values[name], PARAMETERS[key].unit)


def element_words(family: Family, element: Element) -> str:
    """Write the value that says most about an element, for a label beside its symbol."""
    for key in _TELLING:
        if key in element.parameters:
            words = parameter_words(family, element, key)
            if key == "volt" and "ohm" in element.parameters and element.kind == "source":
                return f"{words} behind {parameter_words(family, element, 'ohm')}"
            return words
    return ""


def driven_words(driven: Driven) -> list[tuple[str, str, str]]:
    """List state, spread and source of a driven quantity."""
    if driven.always is not None:
        return [("all states", spread(driven.always, driven.unit), driven.always.source)]
    return [
        (state, spread(prior, driven.unit), prior.source) for state, prior in driven.states.items()
    ]


def _range(low: float, high: float, unit: str) -> str:
    sign = UNIT_SIGN.get(unit, unit)
    lower, upper = _scale(abs(low), sign), _scale(abs(high), sign)
    if lower == upper or low == 0:
        scale, prefix = upper
        return f"{_digits(low / scale)} to {_digits(high / scale)} {prefix}{sign}".rstrip()
    return f"{number(low, unit)} to {number(high, unit)}"


def _scale(size: float, sign: str) -> tuple[float, str]:
    if sign in _NO_PREFIX or size == 0:
        return 1.0, ""
    # 0.45 V reads better than 450 mV beside other volts; below a tenth the prefix helps.
    for scale, prefix in _PREFIXES:
        if size >= scale * (0.1 if scale == 1.0 else 1.0):
            return scale, prefix
    return _PREFIXES[-1]


def _digits(value: float) -> str:
    text = f"{value:.3g}"
    return f"{float(text):.0f}" if "e" in text else text
