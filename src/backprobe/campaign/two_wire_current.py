"""Sensors that speak by the current they draw, and plain heating."""

from backprobe.campaign.block import (
    Block,
    FaultOption,
    Moment,
    Toggle,
    Values,
    Wire,
    changed,
    set_to,
)
from backprobe.campaign.devices import Consumer
from backprobe.campaign.inputs import INF
from backprobe.campaign.nodal import Netlist
from backprobe.campaign.rails import OPEN_OHM, RAIL
from backprobe.campaign.spreads import Random, even, log_even, pick


class CurrentSensor(Block):
    """A two-wire speed sensor that draws 7 or 14 mA through a shunt in the control unit."""

    def __init__(self, name: str, supply: str) -> None:
        super().__init__(name)
        self.supply = supply

    def wires(self) -> tuple[Wire, ...]:
        """The signal wire to the shunt."""
        return (Wire(self.name, "signal-switching", f"{self.name}.cu"),)

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw both currents and the shunt."""
        low = even(rng, 5.6e-3, 8.6e-3)
        return {
            self.key("low"): low,
            self.key("high"): low * even(rng, 1.85, 2.15),
            self.key("shunt"): pick(
                rng, *((1.0, ohm * even(rng, 0.97, 1.03)) for ohm in (75.0, 100.0, 115.0, 150.0))
            ),
            self.key("full"): even(rng, 2.0, 4.5),
            self.key("at rest"): float(rng.integers(2)),
            self.key("duty"): even(rng, 0.35, 0.65),
            self.key("teeth"): float(rng.integers(40, 60)),
            self.key("in series"): 0.1,
            self.key("across"): INF,
            self.key("clamp"): log_even(rng, 1e3, 5e4),
        }

    def toggles(self, values: Values, now: Moment) -> tuple[Toggle, ...]:
        """It switches while the wheel turns; with the engine in most uses."""
        if not now.plugged or now.rpm <= 0.0 or f"stuck:{self.name}" in values:
            return ()
        return (
            Toggle(self.name, values[self.key("duty")], now.rpm / 60.0 * values[self.key("teeth")]),
        )

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the shunt."""
        del now
        net.resistor(f"{self.name}.cu", RAIL, values[self.key("shunt")])

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the sensor at its present current."""
        high = now.levels.get(self.name, int(values[self.key("at rest")]))
        high = int(values.get(f"stuck:{self.name}", high))
        ampere = values[self.key("high" if high else "low")]
        supply, inside, end = f"{self.supply}.s", f"{self.name}.chip", self._returns_to()
        net.resistor(supply, inside, values[self.key("in series")])
        net.add(Consumer((net.node(inside), net.node(end)), ampere, values[self.key("full")]))
        net.resistor(inside, end, values[self.key("across")])

    def _returns_to(self) -> str:
        return f"{self.name}.s"

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Open, shorted, standing still, leaking; the shunt burnt open."""
        w = (self.name,)
        low, high = values[self.key("low")], values[self.key("high")]
        return (
            FaultOption("sensor-open", w, changed(**{self.key("in series"): OPEN_OHM})),
            FaultOption("sensor-shorted", w, set_to(self.key("across")), 0.5, 20.0),
            FaultOption("sensor-stuck", w, changed(**{f"stuck:{self.name}": 0.0})),
            FaultOption(
                "sensor-drift",
                w,
                lambda s: {self.key("low"): low + s, self.key("high"): high + s},
                1.5e-3,
                6e-3,
            ),
            FaultOption("control-unit-input", w, set_to(self.key("shunt")), 1e5, 1e6),
        )


class CurrentSensorFedBySignal(CurrentSensor):
    """One that is fed through the shunt; its other wire is the return."""

    def __init__(self, name: str, fed_by: str, ground: str) -> None:
        super().__init__(name, name)
        self.fed_by, self.ground = fed_by, ground

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the shunt."""
        del now
        net.resistor(f"{self.name}.cu", self.fed_by, values[self.key("shunt")])

    def _returns_to(self) -> str:
        return f"{self.ground}.s"


class Heating(Block):
    """Battery current through a sensor's own heating, into its ground."""

    def __init__(self, name: str, supply: str, ground: str) -> None:
        super().__init__(name)
        self.supply = supply
        self.ground = ground

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw its current."""
        return {self.key("ampere"): log_even(rng, 0.03, 0.6)}

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add it."""
        del now
        nodes = (net.node(f"{self.supply}.s"), net.node(f"{self.ground}.s"))
        net.add(Consumer(nodes, values[self.key("ampere")], 5.0))
