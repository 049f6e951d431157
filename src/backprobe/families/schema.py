"""What a family file says, as frozen dataclasses.

A family is everything known beforehand of one kind of sensor circuit: a netlist of named elements
on the control unit's and on the sensor's side, the wires between them with their roles, how large
each value may be (priors), and how the driven quantities move from state to state. Values are SI;
temperatures are degrees Celsius because the trade measures them so, and the key names say it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

PriorKind = Literal["fixed", "normal", "uniform", "log_uniform", "log_normal", "choice"]
Side = Literal["control-unit", "sensor"]
Unit = Literal["volt", "celsius", "share", "ampere", "hertz", "ohm"]

PRIOR_KINDS: tuple[PriorKind, ...] = ("normal", "uniform", "log_uniform", "log_normal", "choice")
UNITS: tuple[Unit, ...] = ("volt", "celsius", "share", "ampere", "hertz", "ohm")
STATES: tuple[str, ...] = (
    "key-on",
    "crank",
    "idle",
    "raised",
    "snap-low",
    "snap-high",
    "sweep-low",
    "sweep-high",
)
# Where a driven quantity says nothing of a state it moves as it does in this other one.
STATE_FALLBACK: Mapping[str, str] = {
    "crank": "key-on",
    "idle": "key-on",
    "raised": "key-on",
    "snap-low": "idle",
    "snap-high": "raised",
    "sweep-low": "key-on",
    "sweep-high": "key-on",
}
BUILT_IN_NODES: tuple[str, ...] = (
    "battery-",
    "body",
    "battery",
    "feed",
    "cu-battery",
    "vcc",
    "ref",
    "cu-ground",
    "cu-inner",
)
MOST_SWITCHING_ELEMENTS = 2
# Chance that a contact, a driver or the tooth before a sensor is drawn afresh in the next round of
# the same state, where the family doesn't say: common practice, no source. Somebody may have worked
# it in between, and nobody has to.
CHOICE_MOVES = 0.5
MOST_WIRES = 8


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed of a value before anything is measured.

    ``a`` and ``b`` are: the value itself (fixed, b unused); mean and standard deviation (normal);
    lower and upper limit (uniform, log_uniform); median and the factor of one standard deviation
    (log_normal). A choice uses ``choices`` and ``weights`` (which sum to one) instead.
    """

    kind: PriorKind
    a: float = 0.0
    b: float = 0.0
    choices: tuple[float | str, ...] = ()
    weights: tuple[float, ...] = ()
    source: str = ""


@dataclass(frozen=True, slots=True)
class Driven:
    """A quantity that the vehicle's state moves: temperature, a share of full scale, duty ...

    Either ``always`` holds in all states, changing by ``drift`` (one standard deviation) between
    rounds, or ``states`` has a prior a state, repeating within ``repeat`` between rounds in the
    same state. Where its prior is a choice, ``moves`` is the chance that it is drawn afresh from
    one round to the next in the same state; 0: the choice belongs to the state alone. ``limits``
    is a uniform prior whose ends no sound vehicle goes beyond, however wide its priors are taken.
    """

    unit: Unit
    always: Prior | None = None
    drift: float = 0.0
    states: Mapping[str, Prior] = field(default_factory=dict)
    repeat: float = 0.0
    moves: float = CHOICE_MOVES
    limits: Prior | None = None

    def prior(self, state: str) -> Prior:
        """Prior of this quantity in a state, following the fallbacks."""
        return self.always if self.always is not None else self.states[self.resolved(state)]

    def resolved(self, state: str) -> str:
        """The state whose value this quantity has in a state: itself, or one it moves with."""
        if self.always is not None:
            return STATES[0]
        while state not in self.states:
            state = STATE_FALLBACK[state]
        return state


def options_of(prior: Prior | Driven) -> tuple[str, ...]:
    """What an element's ``only_if`` may name of a value: words, or 0 and 1 of a driven share.

    Such a share is 0 or 1 in every state, and nothing moves it off between rounds.
    """
    if isinstance(prior, Prior):
        return tuple(one for one in prior.choices if isinstance(one, str))
    every = (prior.always,) if prior.always is not None else tuple(prior.states.values())
    numbers = {one for each in every for one in each.choices or (each.a,)}
    is_pick = all(each.kind in ("choice", "fixed") for each in every) and numbers == {0.0, 1.0}
    still = prior.unit == "share" and prior.repeat == prior.drift == 0.0
    return ("0", "1") if is_pick and still else ()


@dataclass(frozen=True, slots=True)
class Wire:
    """One wire of the connector: probed at node ``name``, between ``to`` and ``name.pin``."""

    name: str
    role: str
    to: str

    @property
    def pin(self) -> str:
        """Node on the sensor's side of the connector."""
        return f"{self.name}.pin"


@dataclass(frozen=True, slots=True)
class Element:
    """A part of the netlist; ``parameters`` maps a key to a value's or driven quantity's name."""

    name: str
    kind: str
    side: Side
    nodes: tuple[str, ...]
    parameters: Mapping[str, str]
    only_if: tuple[str, str] | None = None
    passive: bool = False


@dataclass(frozen=True, slots=True)
class Family:
    """All that is known beforehand of one kind of sensor circuit."""

    id: str
    title: str
    kind: str
    prior: float
    about: str
    source: str
    wires: tuple[Wire, ...]
    values: Mapping[str, Prior]
    driven: Mapping[str, Driven]
    elements: tuple[Element, ...]
    reports: tuple[tuple[str, str], ...] = ()
