"""What hangs on a control unit's pin: inputs with pull-ups and clamps, low-side drivers."""

from backprobe.campaign.block import Moment, Values
from backprobe.campaign.devices import Clamp, Transistor
from backprobe.campaign.nodal import Netlist
from backprobe.campaign.rails import CU_BATTERY, INNER, VCC
from backprobe.campaign.spreads import Random, even, log_even, pick

INF = float("inf")


def draw_input(rng: Random, pull_up: float, pull_down: float, name: str) -> dict[str, float]:
    """Draw an input: its pull resistors as given (infinite = none), clamps and leakage."""
    return {
        f"{name}.up": pull_up,
        f"{name}.down": pull_down,
        f"{name}.clamp": log_even(rng, 700.0, 1e5),
        f"{name}.leak": log_even(rng, 2e6, 2e8),
    }


def add_input(net: Netlist, values: Values, name: str, node: str, rail: str = VCC) -> None:
    """Add an input's pull-up to a rail, its pull-down, clamps and leakage."""
    net.resistor(node, rail, values[f"{name}.up"])
    net.resistor(node, INNER, values[f"{name}.down"])
    net.resistor(node, INNER, values[f"{name}.leak"])
    # An input that is meant for more than 5 V has its clamps at that voltage.
    nodes = (net.node(node), net.node(rail), net.node(INNER))
    net.add(Clamp(nodes, values[f"{name}.clamp"]))


def draw_driver(rng: Random, name: str) -> dict[str, float]:
    """Draw a low-side driver: its on-resistance and what its diagnosis does to an open wire."""
    bias = pick(rng, (0.35, "none"), (0.3, "divider"), (0.2, "battery"), (0.15, "weak"))
    total = log_even(rng, 8e3, 1.5e5)
    share = even(rng, 0.12, 0.4)  # of battery voltage: about 2 to 4 V
    up, down = {
        "none": (INF, log_even(rng, 5e4, 2e6)),
        "divider": (total * (1.0 - share), total * share),
        "battery": (log_even(rng, 1e4, 2e5), INF),
        "weak": (log_even(rng, 2e5, 3e6), log_even(rng, 5e4, 1e6)),
    }[bias]
    return {
        f"{name}.up": up,
        f"{name}.down": down,
        f"{name}.on": log_even(rng, 0.03, 0.7),
        f"{name}.limit": even(rng, 4.0, 14.0),
        f"{name}.saturation": pick(rng, (0.8, 0.03), (0.2, even(rng, 0.3, 0.9))),
    }


def add_driver(net: Netlist, values: Values, name: str, node: str, now: Moment, on: bool) -> None:
    """Add a low-side driver, on or off."""
    rail = CU_BATTERY if now.awake else INNER
    net.resistor(node, rail, values[f"{name}.up"])
    net.resistor(node, INNER, values[f"{name}.down"])
    net.resistor(node, INNER, 5e6)
    if on and now.awake:
        # Its gate is driven by the control unit, which is awake: the supply it needs is there.
        nodes = (net.node(node), net.node(VCC), net.node(INNER))
        saturation = values[f"{name}.saturation"]
        limit = values[f"{name}.limit"]
        net.add(Transistor(nodes, saturation, values[f"{name}.on"], limit, 2.0))
