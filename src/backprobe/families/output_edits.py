"""What an output does that sticks, or that moves but is wrong.

Stuck, what moves it stands still; drifted, what it shows lies beyond its usual range.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from backprobe.families.fault_electronics import prior_ends
from backprobe.families.faults import COMMON_PRACTICE, Fault
from backprobe.families.netlist import Netlist
from backprobe.families.outputs import is_bare_contact, moved_elements, sensor_behind, signals
from backprobe.families.schema import Driven, Prior

STUCK_SHARE = Prior("uniform", 0.02, 0.98, source=COMMON_PRACTICE)
STUCK_LEVEL = Prior("choice", choices=(0.0, 1.0), weights=(0.5, 0.5), source=COMMON_PRACTICE)
STUCK_VOLT = Prior("uniform", 0.0, 5.0, source=COMMON_PRACTICE)
STUCK_CELL = Prior("uniform", 0.0, 1.0, source=COMMON_PRACTICE)
SILENT = Prior("fixed", 0.0, source=COMMON_PRACTICE)
DRIFT_WIDTH = 0.75  # how far beyond its usual range a drifted output goes, in widths of it
DRIFT_FACTOR = 6.0  # factor on a thermistor's resistance or on a frequency
PLATINUM_DRIFT = 1.5  # factor on a platinum sensor's: wrong type, water, a strand of its own leads
# A generating sensor with shorted turns, a wide gap, a tired magnet; a poisoned or leaking cell.
WEAK_FACTOR = 8.0  # by how much less voltage
SHORTED_TURNS = 6.0  # by which factor less of a coil's resistance
CELL_SHIFT = 0.4  # V up or down
BURNT_OHM = Prior("log_uniform", 50.0, 1e4, source=COMMON_PRACTICE)  # left across a closed contact
# The resistance at 25 degC of the curve that the control unit has, whatever the sensor became.
SOUND_OHM = "fault.sound-ohm"
# What drifts in a temperature sensor, and by which factor.
DRIFTING = {"thermistor": ("ohm_25", DRIFT_FACTOR), "platinum": ("ohm_0", PLATINUM_DRIFT)}


def sensor_stuck(netlist: Netlist, fault: Fault) -> None:
    """What moves the output stands still."""
    for name, keys in _moving(netlist, fault).items():
        netlist.driven[name] = _stuck(netlist.driven[name], keys, fault)


def _moving(netlist: Netlist, fault: Fault) -> dict[str, set[str]]:
    """Driven quantities that move the output on a fault's wire, each with the keys it moves.

    One that moves another output as well gets a double of its own here: one of two tracks sticks,
    the other goes on.
    """
    pin = netlist.own_pin(fault.wire)
    mine = moved_elements(netlist.elements, netlist.driven, pin)
    names = {n for e in mine for n in e.parameters.values()} & signals(netlist.driven)
    others = [e for e in netlist.elements if e not in mine]
    shared = names & {name for e in others for name in e.parameters.values()}
    double = {name: f"{name} on {fault.wire}" for name in shared}
    for name, own in double.items():
        netlist.driven[own] = netlist.driven[name]
    keys: dict[str, set[str]] = {}
    changed = {}
    for e in mine:
        parameters = {key: double.get(name, name) for key, name in e.parameters.items()}
        changed[e.name] = replace(e, parameters=parameters)
        for key, name in parameters.items():
            if name in names or name in double.values():
                keys.setdefault(name, set()).add(key)
    netlist.elements = [changed.get(e.name, e) for e in netlist.elements]
    return keys


def _stuck(driven: Driven, keys: set[str], fault: Fault) -> Driven:
    if keys & {"ac_volt", "hertz"}:
        prior = SILENT
    elif keys & {"closed", "high"}:
        prior = STUCK_LEVEL
    elif driven.unit == "share":
        prior = STUCK_SHARE
    elif fault.role == "generator-signal":
        prior = STUCK_CELL
    elif driven.unit == "ampere":
        prior = _span(driven, 0.0)
    else:
        prior = STUCK_VOLT
    return Driven(driven.unit, always=prior, drift=0.0, moves=0.0)


def _span(driven: Driven, beyond: float) -> Prior:
    """A uniform prior over all states' ranges, widened by a share of each width."""
    priors = [driven.always] if driven.always is not None else list(driven.states.values())
    ends = [prior_ends(p) for p in priors]
    low, high = min(e[0] for e in ends), max(e[1] for e in ends)
    width = high - low
    return Prior("uniform", low - beyond * width, high + beyond * width, source=COMMON_PRACTICE)


def sensor_drift(netlist: Netlist, fault: Fault) -> None:
    """What comes out moves, beyond its usual range."""
    if fault.role == "generator-signal":
        _weaken(netlist, fault)
        return
    pin = netlist.own_pin(fault.wire)
    for e in netlist.elements:
        if e.kind in DRIFTING and pin in e.nodes:
            key, factor = DRIFTING[e.kind]
            if e.kind == "thermistor":
                netlist.values[SOUND_OHM] = netlist.values[e.parameters[key]]
            _widen(netlist, e.parameters[key], factor, factor)
    for e in moved_elements(netlist.elements, netlist.driven, pin):
        if is_bare_contact(e):
            netlist.values[e.parameters["closed_ohm"]] = BURNT_OHM
            return
    for name in _moving(netlist, fault):
        driven = netlist.driven[name]
        if driven.unit == "celsius":
            continue
        _change(netlist, name, partial(_drifted, driven=driven))


def _weaken(netlist: Netlist, fault: Fault) -> None:
    """A coil or piezo element that makes less voltage, a cell whose voltages have shifted."""
    for e in sensor_behind(netlist.elements, netlist.own_pin(fault.wire)):
        if e.kind == "coil":
            _widen(netlist, e.parameters["ohm"], SHORTED_TURNS, 1.0)
        if e.kind == "cell":
            _change(netlist, e.parameters["volt"], _shifted)
        if "ac_volt" in e.parameters:
            _change(netlist, e.parameters["ac_volt"], _weakened)


def _change(netlist: Netlist, name: str, how: Callable[[Prior], Prior]) -> None:
    """Replace what is taken of a quantity, a driven one's in every state."""
    if name in netlist.values:
        netlist.values[name] = how(netlist.values[name])
        return
    driven = netlist.driven[name]
    states = {state: how(prior) for state, prior in driven.states.items()}
    always = None if driven.always is None else how(driven.always)
    netlist.driven[name] = replace(driven, states=states, always=always)


def _shifted(prior: Prior) -> Prior:
    if prior.kind == "fixed":
        return prior
    low, high = prior_ends(prior)
    return Prior("uniform", low - CELL_SHIFT, high + CELL_SHIFT, source=COMMON_PRACTICE)


def _weakened(prior: Prior) -> Prior:
    low, high = prior_ends(prior)
    if low <= 0.0:
        return prior
    return Prior("log_uniform", low / WEAK_FACTOR, high, source=COMMON_PRACTICE)


def _widen(netlist: Netlist, name: str, down: float, up: float) -> None:
    low, high = prior_ends(netlist.values[name])
    netlist.values[name] = Prior("log_uniform", low / down, high * up, source=COMMON_PRACTICE)


def _drifted(prior: Prior, driven: Driven) -> Prior:
    low, high = prior_ends(prior)
    if driven.unit == "hertz" and low > 0:
        return Prior("log_uniform", low / DRIFT_FACTOR, high * DRIFT_FACTOR, source=COMMON_PRACTICE)
    if prior.kind == "choice":
        return prior
    span = _span(driven, 0.0)
    width = max(high - low, 0.5 * (span.b - span.a))
    return Prior(
        "uniform", low - DRIFT_WIDTH * width, high + DRIFT_WIDTH * width, source=COMMON_PRACTICE
    )
