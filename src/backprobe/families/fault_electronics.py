"""What a sensor's electronics do when a fault starves them, forces them, or leaves them alone.

Near their usual supply an output and a resistor stand for them. Beyond, their junctions conduct,
their current falls with the voltage, their output lets go, and what it leaks begins to show.
"""

from __future__ import annotations

from dataclasses import replace

from backprobe.families.element_kinds import is_integrated
from backprobe.families.faults import COMMON_PRACTICE, OUTPUTS, SUPPLIES, Fault
from backprobe.families.netlist import Netlist
from backprobe.families.schema import Element, Prior

LOWER_JUNCTION, UPPER_JUNCTION = "fault.lower-junction", "fault.upper-junction"
LOWER = Prior("choice", choices=("there", "none"), weights=(0.8, 0.2), source=COMMON_PRACTICE)
UPPER = Prior("choice", choices=("there", "none"), weights=(0.5, 0.5), source=COMMON_PRACTICE)
# An output that drives passes what it is forced to on to its supply, but for protected ones.
BACK_FEED = "fault.back-feed"
BACK_FEED_TAKEN = Prior(
    "choice", choices=("taken", "blocked"), weights=(0.7, 0.3), source=COMMON_PRACTICE
)
# The wrong way round, a chip conducts straight from its ground to its supply, or by its output.
BACKWARD = "fault.backward"
BACKWARD_PATH = Prior(
    "choice", choices=("chip", "output"), weights=(0.5, 0.5), source=COMMON_PRACTICE
)
OUTPUT_LEAK_OHM = "fault.output-leak-ohm"
OUTPUT_LEAK = Prior("log_uniform", 2e6, 1e13, source=COMMON_PRACTICE)
# What a transistor keeps across itself with hardly any current through it.
FLOOR_VOLT, FLOOR_OHM = "fault.output-floor-volt", "fault.output-floor-ohm"
FLOOR = Prior("log_uniform", 0.005, 0.4, source=COMMON_PRACTICE)
LITTLE_OHM = Prior("fixed", 1.0, source=COMMON_PRACTICE)
# V that sensors are made for, by the node that feeds them; a regulator of 8 to 10 V elsewhere.
NOMINAL_VOLT = {"feed": 12.6, "vcc": 5.0, "ref": 5.0}
OTHER_VOLT = 8.5
LEAST_SUPPLY = (0.7, 1.6)  # that an output works with, shares of what its family says
LEAST_SHARE = 0.01  # of its greatest, what a consumption's resistance comes down to
# Kinds of fault on a feed or a return that leave the sensor less than it needs, or give it more.
STARVING = (
    *("open", "resistance", "sensor-open", "supply-low", "short-to-ground", "short-to-battery"),
)
LEAST_FULL_VOLT = 1.2  # of supply from which on electronics draw their full current, V
# Below one or two junctions only what lies beside them conducts: dividers, filters, leaks.
ONSET_VOLT = "fault.onset-volt"
ONSET = Prior("log_uniform", 0.02, 1.1, source=COMMON_PRACTICE)
STARVED = Prior("log_uniform", 2e4, 5e7, source=COMMON_PRACTICE)


def let_electronics_answer(netlist: Netlist, fault: Fault) -> None:
    """Edit a netlist in place, beside the fault itself, for what the sensor makes of it."""
    if _forces_outputs(fault):
        _add_junctions(netlist, may_block=fault.role in SUPPLIES)
        if _is_backward(netlist, fault):
            _let_it_conduct_backward(netlist)
    if _starves(fault):
        _give_appetite(netlist)
    if fault.kind in (*STARVING, "swapped", "control-unit-input"):
        _let_it_stop(netlist)
    if _starves(fault) or fault.kind == "ground-lifted":
        _vary_the_least_supply(netlist)
    if fault.kind in ("open", "control-unit-input") and fault.role in OUTPUTS:
        _add_leaks(netlist, fault)


def _forces_outputs(fault: Fault) -> bool:
    """Whether an output may be forced beyond its supply or ground, or lose one of them.

    In other circuits its junctions carry nothing and are left out: they would only cost time.
    """
    if fault.kind in ("open", "resistance", "sensor-open"):
        return fault.role in (*SUPPLIES, "sensor-ground")
    if fault.kind in ("short-to-supply", "short-to-battery"):
        return fault.role in (*OUTPUTS, "sensor-ground")
    if fault.kind == "short-to-ground":
        return fault.role in SUPPLIES
    return fault.kind in ("supply-low", "swapped")


def _add_junctions(netlist: Netlist, *, may_block: bool) -> None:
    """From the ground of each integrated output to it, and from it to its own supply.

    An open collector that is a transistor by itself has neither; one that may be pulled above its
    supply goes without the second one. ``may_block``: an output that drives may, too.
    """
    found: dict[tuple[str, str], tuple[str, str] | None] = {}
    for e in netlist.elements:
        if e.side != "sensor" or not is_integrated(e.kind, e.parameters):
            continue
        output, supply, ground = e.nodes[0], *e.nodes[-2:]
        lower, upper = None, e.only_if
        if e.kind == "contact":
            netlist.values |= {LOWER_JUNCTION: LOWER, UPPER_JUNCTION: UPPER}
            lower, upper = (LOWER_JUNCTION, "there"), (UPPER_JUNCTION, "there")
        elif may_block and upper is None:
            netlist.values[BACK_FEED] = BACK_FEED_TAKEN
            upper = (BACK_FEED, "taken")
        found.setdefault((ground, output), lower)
        found.setdefault((output, supply), upper)
    netlist.junctions = [(*ends, only_if) for ends, only_if in found.items()]


def _is_backward(netlist: Netlist, fault: Fault) -> bool:
    """Whether the sensor's supply and ground are exchanged."""
    roles = {w.role for w in netlist.family.wires if w.name in fault.wires}
    return fault.kind == "swapped" and "sensor-ground" in roles and not roles.isdisjoint(SUPPLIES)


def _let_it_conduct_backward(netlist: Netlist) -> None:
    """From the ground of each integrated output to its supply, past the output or through it."""
    netlist.values[BACKWARD] = BACKWARD_PATH
    for e in netlist.elements:
        if e.side != "sensor" or not is_integrated(e.kind, e.parameters):
            continue
        output, supply, ground = e.nodes[0], *e.nodes[-2:]
        past = (ground, supply, (BACKWARD, "chip"))
        netlist.junctions = [
            (anode, cathode, (BACKWARD, "output") if (anode, cathode) == (ground, output) else only)
            for anode, cathode, only in netlist.junctions
            if (anode, cathode, only) != past
        ]
        netlist.junctions.append(past)


def _starves(fault: Fault) -> bool:
    """Whether the sensor gets much less than it needs, or more."""
    fed = fault.role in (*SUPPLIES, "sensor-ground")
    return fault.kind == "swapped" or (fed and fault.kind in STARVING)


def _give_appetite(netlist: Netlist) -> None:
    """What electronics draw from their supply, as it is far from their usual voltage.

    A resistor serves near it. Below, their regulators pass on what is there and the current falls
    with the voltage, often from a few volts on; above, it hardly grows. What a state drives, a hot
    element, stays a resistor.
    """
    wires = netlist.family.wires
    supplies = {w.pin: NOMINAL_VOLT.get(w.to, OTHER_VOLT) for w in wires if w.role in SUPPLIES}
    grounds = {w.pin for w in wires if w.role == "sensor-ground"}
    for e in netlist.elements:
        if e.kind != "resistor" or e.side != "sensor" or e.passive:
            continue
        if e.nodes[0] not in supplies or e.nodes[1] not in grounds:
            continue
        if e.parameters["ohm"] in netlist.driven:
            continue
        volt, (least, most) = supplies[e.nodes[0]], prior_ends(netlist.values[e.parameters["ohm"]])
        least = max(least, LEAST_SHARE * most)  # a normal prior's lower end may be none
        ampere, full = f"fault.{e.name}-ampere", f"fault.{e.name}-full-volt"
        netlist.values |= {
            ampere: Prior("log_uniform", volt / most, volt / least, source=COMMON_PRACTICE),
            full: Prior("log_uniform", LEAST_FULL_VOLT, volt, source=COMMON_PRACTICE),
        }
        sink = replace(e, kind="sink", parameters={"ampere": ampere, "full_volt": full})
        netlist.elements = [sink if x is e else x for x in netlist.elements]


def _let_it_stop(netlist: Netlist) -> None:
    """What a sensor draws ends before its supply has gone altogether."""
    sinks = [e for e in netlist.elements if e.kind == "sink" and e.side == "sensor"]
    if sinks:
        netlist.values |= {ONSET_VOLT: ONSET, "starved-ohm": STARVED}
    netlist.elements = [
        replace(e, parameters={"onset_volt": ONSET_VOLT, **e.parameters}) if e in sinks else e
        for e in netlist.elements
    ]


def _vary_the_least_supply(netlist: Netlist) -> None:
    """Where a 5 V output lets go is no matter while it is fed, and open when it is not."""
    for e in netlist.elements:
        name = e.parameters.get("full_volt")
        if name is None or e.side != "sensor" or not is_integrated(e.kind, e.parameters):
            continue
        usual = netlist.values[name]
        if usual.kind == "fixed":
            low, high = (share * usual.a for share in LEAST_SUPPLY)
            netlist.values[name] = Prior("uniform", low, high, source=COMMON_PRACTICE)


def _add_leaks(netlist: Netlist, fault: Fault) -> None:
    """What little current an open collector passes on from its supply: all that is left to it.

    With so little it can't pull down to its ground altogether. Against a pull-up neither would
    show, and both are left out elsewhere.
    """
    pin = next(w.pin for w in netlist.family.wires if w.name == fault.wire)
    for e in netlist.elements:
        if e.kind == "contact" and e.nodes[0] == pin and is_integrated(e.kind, e.parameters):
            netlist.values |= {
                OUTPUT_LEAK_OHM: OUTPUT_LEAK,
                FLOOR_VOLT: FLOOR,
                FLOOR_OHM: LITTLE_OHM,
            }
            above = f"{e.name}-floor"
            floor = Element(
                name=above,
                kind="source",
                side="sensor",
                nodes=(above, e.nodes[1]),
                parameters={"volt": FLOOR_VOLT, "ohm": FLOOR_OHM},
                passive=False,
            )
            values = {key: name for key, name in e.parameters.items() if key != "closed_volt"}
            output = replace(e, nodes=(pin, above, *e.nodes[2:]), parameters=values)
            leak = Element(
                name="output-leak",
                kind="resistor",
                side="sensor",
                nodes=(pin, e.nodes[-2]),
                parameters={"ohm": OUTPUT_LEAK_OHM},
                passive=False,
            )
            others = [output if x is e else x for x in netlist.elements]
            netlist.elements = [*others, floor, leak]


def prior_ends(prior: Prior) -> tuple[float, float]:
    """Lowest and highest usual value of a prior."""
    if prior.kind == "normal":
        return prior.a - 2 * prior.b, prior.a + 2 * prior.b
    if prior.kind == "log_normal":
        return prior.a / prior.b**2, prior.a * prior.b**2
    if prior.kind == "choice":
        numbers = [float(c) for c in prior.choices]
        return min(numbers), max(numbers)
    if prior.kind == "fixed":
        return prior.a, prior.a
    return prior.a, prior.b
