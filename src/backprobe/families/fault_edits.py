"""What each kind of fault does to a netlist.

`open` and `resistance` lie between control unit and probe, a bad contact beyond the probe is
`sensor-open`; see the table of faults in the job format. Severity is a value like any other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from backprobe.families.fault_electronics import LITTLE_OHM, let_electronics_answer
from backprobe.families.faults import (
    COMMON_PRACTICE,
    DRIVEN_ENDS,
    LEAK_OHM,
    LIFT_VOLT,
    LOW_SHARE,
    OPEN_OHM,
    OUTPUTS,
    RESISTANCE_OHM,
    RETURNS,
    SHORT_OHM,
    SUPPLIES,
    Fault,
)
from backprobe.families.netlist import Netlist
from backprobe.families.output_edits import sensor_drift, sensor_stuck
from backprobe.families.schema import Driven, Element, Prior
from backprobe.vocabulary import NO_FAULT

SEVERITY = "fault.severity"  # value slot of every fault's unknown size
# What another branch pulls down is no stiff source any more.
PULLED_OHM = "fault.source-ohm"
PULLED = Prior("log_uniform", 0.1, 300.0, source=COMMON_PRACTICE)
FUSE, BLOWN_OHM, SOUND_FUSE_OHM = "fault.fuse", "fault.blown-ohm", "fault.sound-fuse-ohm"
BEHIND_FUSE = "behind-fuse"
FUSE_STATE = Prior(
    "choice", choices=("blown", "intact"), weights=(0.5, 0.5), source=COMMON_PRACTICE
)
BLOWN = Prior("log_uniform", 1e6, 1e9, source=COMMON_PRACTICE)
SOUND_FUSE = Prior("fixed", 0.005, source=COMMON_PRACTICE)
LIVE = "fault.live-wire"
LIVE_WIRE = Prior(
    "choice", choices=("switched", "permanent"), weights=(0.5, 0.5), source=COMMON_PRACTICE
)
REACHED = "fault.supply-wire"
REACHED_WIRE = Prior("choice", choices=("own", "5 V"), weights=(0.5, 0.5), source=COMMON_PRACTICE)
# Bad is the joint of the sensors' returns alone, or the control unit's own ground.
LIFTED = "fault.lifted"
LIFTED_PART = Prior("choice", choices=("rail", "whole"), weights=(0.7, 0.3), source=COMMON_PRACTICE)
# A bad path lifts a ground by the current that returns through it: a share of the most, which is
# the fault's size. It may be steady, beyond one there is no more; else more returns while the
# engine runs.
LIFT_SHARE, LIFT_OHM = "fault.lift-share", "fault.lift-ohm"
LIFT_BY_STATE = Driven(
    "share",
    states={
        "key-on": Prior("uniform", 0.4, 1.6, source=COMMON_PRACTICE),
        "crank": Prior("uniform", 0.4, 1.6, source=COMMON_PRACTICE),
        "idle": Prior("uniform", 0.6, 1.8, source=COMMON_PRACTICE),
        "raised": Prior("uniform", 0.6, 1.8, source=COMMON_PRACTICE),
    },
    repeat=0.02,
)
# Left of an input: the other resistor of a filter or divider, a burnt one, or mere leakage.
INPUT_LEFT_OHM = Prior("log_uniform", 1e5, 3e9, source=COMMON_PRACTICE)
# A break inside the sensor, where no damp reaches.
INNER_OPEN_OHM = Prior("log_uniform", 3e7, 3e9, source=COMMON_PRACTICE)
# Across an output inside, and across the turns of a coil, heater or motor.
INNER_SHORT_OHM = Prior("log_uniform", 0.1, 60.0, source=COMMON_PRACTICE)
TURNS_OHM = Prior("log_uniform", 0.03, 2.0, source=COMMON_PRACTICE)
# From half of the control unit's 5 V to either of its rails, and a junction beyond.
SATURATED = Prior("uniform", -3.2, 3.2, source=COMMON_PRACTICE)


def apply_fault(netlist: Netlist, fault: Fault) -> None:
    """Edit a netlist in place for one fault."""
    if fault.kind != NO_FAULT:
        _EDITS[fault.kind](netlist, fault)
    let_electronics_answer(netlist, fault)


def _open(netlist: Netlist, fault: Fault) -> None:
    netlist.values[SEVERITY] = OPEN_OHM
    netlist.series[fault.wire] = SEVERITY
    if fault.role in ("generator-signal", "generator-return"):
        _saturate(netlist, fault)


def _saturate(netlist: Netlist, fault: Fault) -> None:
    """An amplifier that drives a current through the sensor goes to a rail once its way is open.

    With the key on only, the cell is cold and nothing is driven yet.
    """
    node = next(w.to for w in netlist.family.wires if w.name == fault.wire)
    for e in netlist.elements:
        name = e.parameters.get("volt", "")
        if e.kind != "source" or e.side != "control-unit" or node not in e.nodes:
            continue
        if name in netlist.driven:
            states = netlist.driven[name].states
            moved = {s: p if s == "key-on" else SATURATED for s, p in states.items()}
            netlist.driven[name] = replace(netlist.driven[name], states=moved)


def _resistance(netlist: Netlist, fault: Fault) -> None:
    low, high = RESISTANCE_OHM[fault.role]
    netlist.values[SEVERITY] = Prior("log_uniform", low, high, source=COMMON_PRACTICE)
    netlist.series[fault.wire] = SEVERITY


def _bridge(netlist: Netlist, a: str, b: str, prior: Prior) -> None:
    netlist.values[SEVERITY] = prior
    netlist.bridges.append((a, b, SEVERITY, False))


def _short_ohm(fault: Fault) -> Prior:
    return LEAK_OHM if fault.role in (*OUTPUTS, "generator-return") else SHORT_OHM


def _short_to_ground(netlist: Netlist, fault: Fault) -> None:
    """A chafed wire touches the body."""
    _bridge(netlist, fault.wire, "body", _short_ohm(fault))
    if fault.role == "supply-battery":
        _fuse(netlist)


def _fuse(netlist: Netlist) -> None:
    """A short of the battery feed may have blown the fuse of this connector's wires.

    What the control unit feeds by itself lives on.
    """
    netlist.values |= {FUSE: FUSE_STATE, BLOWN_OHM: BLOWN, SOUND_FUSE_OHM: SOUND_FUSE}
    feed = "feed"
    for word, ohm in (("intact", SOUND_FUSE_OHM), ("blown", BLOWN_OHM)):
        netlist.elements.append(
            Element(
                name=f"fuse-{word}",
                kind="resistor",
                side="control-unit",
                nodes=(feed, BEHIND_FUSE),
                parameters={"ohm": ohm},
                only_if=(FUSE, word),
            )
        )
    for wire, node in netlist.unit_node_of.items():
        if node == feed:
            netlist.unit_node_of[wire] = BEHIND_FUSE


def _short_to_supply(netlist: Netlist, fault: Fault) -> None:
    """The other wire is this sensor's own feed, or the 5 V of another sensor beside it."""
    own = next((w for w in netlist.family.wires if w.role == "supply-regulated"), None)
    if own is None or own.to == "ref":
        _bridge(netlist, fault.wire, "ref" if own is None else own.name, _short_ohm(fault))
        return
    netlist.values[REACHED] = REACHED_WIRE
    _short_to_either(netlist, fault, REACHED, {"own": own.name, "5 V": "ref"})


def _short_to_battery(netlist: Netlist, fault: Fault) -> None:
    """The other wire is a permanent feed, or one behind the ignition switch."""
    netlist.values[LIVE] = LIVE_WIRE
    _short_to_either(netlist, fault, LIVE, {"permanent": "battery", "switched": "feed"})


def _short_to_either(netlist: Netlist, fault: Fault, choice: str, nodes: Mapping[str, str]) -> None:
    netlist.values[SEVERITY] = _short_ohm(fault)
    for word, node in nodes.items():
        netlist.elements.append(
            Element(
                name=f"short-to-{node}",
                kind="resistor",
                side="control-unit",
                nodes=(fault.wire, node),
                parameters={"ohm": SEVERITY},
                only_if=(choice, word),
            )
        )


def _supply_low(netlist: Netlist, fault: Fault) -> None:
    """The source of the supply gives less than it should, whatever pulls it down."""
    node = next(w.to for w in netlist.family.wires if w.name == fault.wire)
    sources = [e for e in netlist.elements if e.kind == "source" and e.nodes[0] == node]
    netlist.elements = [_lowered(netlist, e) if e in sources else e for e in netlist.elements]
    conditions = [e.only_if for e in sources if e.only_if is not None]
    if len(conditions) == len(sources) and len({name for name, _ in conditions}) == 1:
        _settle(netlist, conditions[0][0], {word for _, word in conditions})


def _settle(netlist: Netlist, name: str, words: set[str]) -> None:
    """Only with these options is there anything for the fault to sit on."""
    if name in netlist.driven:  # moved by the state, which no fault settles
        return
    prior = netlist.values[name]
    weights = [w if c in words else 0.0 for c, w in zip(prior.choices, prior.weights, strict=True)]
    total = sum(weights)
    netlist.values[name] = replace(prior, weights=tuple(w / total for w in weights))


def _lowered(netlist: Netlist, element: Element) -> Element:
    prior = netlist.values[element.parameters["volt"]]
    usual = prior.a if prior.kind in ("fixed", "normal", "log_normal") else (prior.a + prior.b) / 2
    netlist.values[SEVERITY] = replace(LOW_SHARE, a=LOW_SHARE.a * usual, b=LOW_SHARE.b * usual)
    netlist.values[PULLED_OHM] = PULLED
    changed = {"volt": SEVERITY, "ohm": PULLED_OHM}
    return replace(element, parameters={**element.parameters, **changed})


def _ground_lifted(netlist: Netlist, fault: Fault) -> None:
    """The rail stands higher; where it is the control unit's, perhaps with all of its inside."""
    nodes = {w.to for w in netlist.family.wires if w.name in fault.wires}
    netlist.values[SEVERITY] = LIFT_VOLT
    rails = [e for e in netlist.elements if e.kind == "source" and e.nodes[0] in nodes]
    rails = [e for e in rails if e.name in ("ground-rail", "body-ground")]
    alone = len(rails) == 1 and rails[0].name == "ground-rail"
    if alone:
        netlist.values[LIFTED] = LIFTED_PART
        rails += [e for e in netlist.elements if e.name == "inner-ground"]
    netlist.values[LIFT_OHM], netlist.driven[LIFT_SHARE] = LITTLE_OHM, LIFT_BY_STATE
    for e in rails:
        most, ohm = f"{e.name}.most", e.parameters["ohm"]
        lifted = replace(
            e,
            kind="ratiometric",
            nodes=(e.nodes[0], most, e.nodes[1]),
            parameters={"ratio": LIFT_SHARE, "ohm": ohm},
        )
        greatest = {"volt": SEVERITY, "ohm": LIFT_OHM}
        netlist.elements = [x for x in netlist.elements if x is not e]
        netlist.elements.append(
            replace(e, name=most, nodes=(most, e.nodes[1]), parameters=greatest)
        )
        if not alone:
            netlist.elements.append(lifted)
            continue
        mine, other = ("rail", "whole") if e.name == "ground-rail" else ("whole", "rail")
        netlist.elements += [
            replace(lifted, name=f"{e.name}-lifted", only_if=(LIFTED, mine)),
            replace(e, only_if=(LIFTED, other)),
        ]


def _control_unit_input(netlist: Netlist, fault: Fault) -> None:
    """Pull-up, pull-down or bias of the input have gone; what is left of it still leaks.

    A resistor across both ends of a generator is another part than its bias, and stays.
    """
    node = next(w.to for w in netlist.family.wires if w.name == fault.wire)
    ends = {w.to for w in netlist.family.wires if w.role.startswith("generator")}
    netlist.values[SEVERITY] = INPUT_LEFT_OHM
    mine = [e for e in netlist.elements if e.side == "control-unit" and node in e.nodes]
    lost = [e for e in mine if e.kind != "resistor" or not ends >= set(e.nodes)] or mine
    netlist.elements = [e for e in netlist.elements if e not in lost]
    netlist.bridges.append((node, "cu-inner", SEVERITY, False))


def _sensor_open(netlist: Netlist, fault: Fault) -> None:
    if fault.is_poor:  # between the halves of the connector: to an ohmmeter the sensor is sound
        low, high = RESISTANCE_OHM[fault.role]
        netlist.values[SEVERITY] = Prior("log_uniform", low, high, source=COMMON_PRACTICE)
        netlist.mated[fault.wire] = SEVERITY
        return
    netlist.values[SEVERITY] = INNER_OPEN_OHM
    if fault.role in SUPPLIES:  # in the connector, too
        netlist.mated[fault.wire] = SEVERITY
        return
    netlist.contact[fault.wire] = SEVERITY


def _sensor_shorted(netlist: Netlist, fault: Fault) -> None:
    pin = netlist.own_pin(fault.wire)
    netlist.values[SEVERITY] = TURNS_OHM if fault.role in DRIVEN_ENDS else INNER_SHORT_OHM
    netlist.bridges.append((pin, _return_pin(netlist, fault), SEVERITY, True))


def _return_pin(netlist: Netlist, fault: Fault) -> str:
    """Where the output's own return, or the other end of its coil, is."""
    wires = netlist.family.wires
    partner = {
        "heater-control": ("supply-battery",),
        "driver-control": ("supply-battery",),
        "motor": ("motor",),
        "generator-signal": ("generator-return", "sensor-ground"),
    }.get(fault.role, RETURNS)
    shared = [
        w
        for w in wires
        if w.role in partner
        and w.name != fault.wire
        and any(
            e.side == "sensor" and w.pin in e.nodes and netlist.own_pin(fault.wire) in e.nodes
            for e in netlist.elements
        )
    ]
    others = [w for w in wires if w.role in partner and w.name != fault.wire]
    chosen = shared or others
    return chosen[0].pin if chosen else "battery-"


def _swapped(netlist: Netlist, fault: Fault) -> None:
    first, second = netlist.pin_of[fault.wire], netlist.pin_of[fault.other]
    netlist.pin_of[fault.wire], netlist.pin_of[fault.other] = second, first


_EDITS: dict[str, Callable[[Netlist, Fault], None]] = {
    "open": _open,
    "resistance": _resistance,
    "short-to-ground": _short_to_ground,
    "short-to-supply": _short_to_supply,
    "short-to-battery": _short_to_battery,
    "supply-low": _supply_low,
    "ground-lifted": _ground_lifted,
    "control-unit-input": _control_unit_input,
    "sensor-open": _sensor_open,
    "sensor-shorted": _sensor_shorted,
    "sensor-stuck": sensor_stuck,
    "sensor-drift": sensor_drift,
    "swapped": _swapped,
}
