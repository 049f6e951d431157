"""The kinds of element that a family's netlist may hold, with the keys that each one takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Parameter:
    """One key of an element: its unit in words and the values that make sense."""

    unit: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class ElementKind:
    """What an element of this kind is called, needs and may have.

    ``between`` names the ends of the list under the key ``between``; where it is empty the
    element has the keys output, supply and ground, a node each. ``forms`` are the sets of
    parameters of which one must be complete; ``optional`` may be added. ``needs`` are nodes and a
    parameter that go together or not at all: an output that works only while it is fed.
    """

    meaning: str
    between: tuple[str, ...]
    forms: tuple[tuple[str, ...], ...]
    optional: tuple[str, ...] = ()
    passive: bool = False
    needs: tuple[str, ...] = ()

    @property
    def node_keys(self) -> tuple[str, ...]:
        """The keys that hold nodes."""
        fed = tuple(key for key in self.needs if key not in PARAMETERS)
        return ("between", *fed) if self.between else OUTPUT_NODES

    def node_key(self, index: int) -> str:
        """Return the key that holds the node with this place in an element's nodes."""
        ends = len(self.between)
        return "between" if index < ends else self.node_keys[index - ends + (1 if ends else 0)]

    @property
    def parameters(self) -> tuple[str, ...]:
        """Every key that holds a value, each once, in the order of the forms."""
        listed = [key for form in self.forms for key in form]
        fed = [key for key in self.needs if key in PARAMETERS]
        return tuple(dict.fromkeys((*listed, *self.optional, *fed)))


OUTPUT_NODES: Final = ("output", "supply", "ground")

_OHM = Parameter("ohm", 1e-4, 1e12)
_VOLT = Parameter("volt", -100.0, 100.0)
_SHARE = Parameter("share", 0.0, 1.0)
_HERTZ = Parameter("hertz", 0.0, 1e6)
_RATIO = Parameter("share", -0.5, 1.5)

PARAMETERS: Final[Mapping[str, Parameter]] = {
    "ohm": _OHM,
    "ohm_25": _OHM,
    "ohm_0": _OHM,
    "closed_ohm": _OHM,
    "open_ohm": _OHM,
    "wiper_ohm": _OHM,
    "volt": _VOLT,
    "volt_low": _VOLT,
    "volt_high": _VOLT,
    "full_volt": Parameter("volt", 1e-3, 100.0),
    "closed_volt": Parameter("volt", 0.0, 100.0),
    "onset_volt": Parameter("volt", 0.0, 100.0),
    "ac_volt": Parameter("volt", 0.0, 100.0),
    "ampere": Parameter("ampere", -100.0, 100.0),
    "limit_ampere": Parameter("ampere", 1e-6, 100.0),
    "beta_kelvin": Parameter("kelvin", 500.0, 10000.0),
    "celsius": Parameter("celsius", -60.0, 1200.0),
    "closed": _SHARE,
    "high": _SHARE,
    "position": _SHARE,
    "ratio": _RATIO,
    "ratio_low": _RATIO,
    "ratio_high": _RATIO,
    "hertz": _HERTZ,
}

ELEMENT_KINDS: Final[Mapping[str, ElementKind]] = {
    "resistor": ElementKind("resistor", ("one end", "other end"), (("ohm",),), passive=True),
    "source": ElementKind(
        "voltage source", ("plus", "minus"), (("volt", "ohm"),), optional=("limit_ampere",)
    ),
    "sink": ElementKind(
        "current sink", ("from", "to"), (("ampere", "full_volt"),), optional=("onset_volt",)
    ),
    "thermistor": ElementKind(
        "thermistor",
        ("one end", "other end"),
        (("ohm_25", "beta_kelvin", "celsius"),),
        passive=True,
    ),
    "platinum": ElementKind(
        "platinum resistor", ("one end", "other end"), (("ohm_0", "celsius"),), passive=True
    ),
    "contact": ElementKind(
        "contact",
        ("one end", "other end"),
        (("closed_ohm", "open_ohm", "closed"),),
        optional=("hertz", "closed_volt"),
        needs=("supply", "ground", "full_volt"),
    ),
    "potentiometer": ElementKind(
        "potentiometer",
        ("end a", "wiper", "end b"),
        (("ohm", "wiper_ohm", "position"),),
        passive=True,
    ),
    "coil": ElementKind(
        "coil", ("one end", "other end"), (("ohm",),), optional=("ac_volt", "hertz"), passive=True
    ),
    "cell": ElementKind("cell", ("plus", "minus"), (("volt", "ohm"),), optional=("ac_volt",)),
    "ratiometric": ElementKind(
        "output that is a share of its supply",
        (),
        (("ratio", "ohm"), ("ratio_low", "ratio_high", "high", "ohm")),
        optional=("hertz", "full_volt"),
    ),
    "regulated": ElementKind(
        "output with its own regulator",
        (),
        (("volt", "ohm", "full_volt"), ("volt_low", "volt_high", "high", "ohm", "full_volt")),
        optional=("hertz",),
    ),
}


def is_switching(kind: str, parameters: Mapping[str, object]) -> bool:
    """Tell whether an element of this kind, with these keys, moves between two levels."""
    return kind == "contact" or "high" in parameters


def is_integrated(kind: str, parameters: Mapping[str, object]) -> bool:
    """Tell whether an element is the output of an integrated circuit, with its junctions."""
    return kind in ("ratiometric", "regulated") or (kind == "contact" and "full_volt" in parameters)
