"""Sensors that switch their signal wire: frequency, levels, serial pulses."""

from backprobe.campaign.active import Active
from backprobe.campaign.block import (
    FaultOption,
    Moment,
    ScanPort,
    Story,
    Toggle,
    Values,
    changed,
)
from backprobe.campaign.devices import Transistor
from backprobe.campaign.inputs import add_input
from backprobe.campaign.nodal import Netlist
from backprobe.campaign.rails import CU_BATTERY, FEED, INNER, REF_8, VCC
from backprobe.campaign.spreads import Random, chance, even, log_even, pick


class Frequency(Active):
    """An air-mass sensor whose frequency tells the flow."""

    role = "signal-switching"

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw output kind, pull-up and scale of the frequency."""
        ampere = log_even(rng, 0.04, 0.5) if self.fed_by == FEED else log_even(rng, 0.004, 0.04)
        return {
            **self.draw_electronics(rng, ampere, log_even(rng, 680.0, 1.6e4)),
            self.key("open collector"): float(chance(rng, 0.7)),
            self.key("inner leak"): log_even(rng, 5e6, 3e8),
            self.key("scale"): pick(
                rng, (0.85, even(rng, 0.8, 1.3)), (0.15, even(rng, 0.02, 0.08))
            ),
            self.key("duty"): even(rng, 0.42, 0.58),
        }

    def quantities(self, values: Values, state: str, story: Story, rng: Random) -> dict[str, float]:
        """Draw the frequency from the flow: about 1.8 kHz at rest, 2.0 to 2.6 at idle."""
        del story
        low, high = {
            "key-on": (1750.0, 1900.0),
            "crank": (1850.0, 2250.0),
            "raised": (2450.0, 3300.0),
            "snap-high": (4500.0, 8000.0),
        }.get(state, (1950.0, 2700.0))
        return {self.key("hertz"): values[self.key("scale")] * even(rng, low, high)}

    def toggles(self, values: Values, now: Moment) -> tuple[Toggle, ...]:
        """The output switches whenever the sensor is fed."""
        hertz = self.measured(values, now, "hertz")
        if not now.plugged or hertz <= 0.0:
            return ()
        return (Toggle(self.name, values[self.key("duty")], hertz),)

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the input with its pull-up."""
        del now
        add_input(net, values, self.name, f"{self.name}.cu")

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the electronics and the output at its present level."""
        self.add_electronics(net, values)
        high = now.level(self.name) == 1
        if values[self.key("open collector")] < 0.5:
            self.add_stage(net, values, 0.0, even_level(high))
        elif not high:
            self.add_switch(net, values)

    def add_switch(self, net: Netlist, values: Values) -> None:
        """Add the output transistor, on."""
        output, supply, ground = self.nodes()
        nodes = (net.node(output), net.node(supply), net.node(ground))
        start = values[self.key("start")]
        net.add(Transistor(nodes, 0.06, 4.0 + values[self.key("ohm")] / 40.0, 0.03, start))

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Open, shorted, standing still, off its curve; the pull-up gone."""
        w = (self.name,)
        scale = values[self.key("scale")]
        return (
            *self.common_faults(),
            FaultOption("sensor-stuck", w, changed(**{f"stuck:{self.key('hertz')}": 0.0})),
            FaultOption("sensor-drift", w, lambda s: {self.key("scale"): scale * s}, 0.6, 1.7),
            self.input_fault(),
        )

    def scans(self) -> tuple[ScanPort, ...]:
        """Air mass flow from frequency."""

        def flow(values: Values, hertz: float) -> float:
            kilohertz = hertz / values[self.key("scale")] / 1000.0
            return float(max(kilohertz - 1.81, 0.0) ** 1.45 * 14.0)

        return (ScanPort("air mass flow", self.name, flow, by_hertz=True),)


def even_level(high: bool) -> float:
    """Levels of a push-pull output on a 5 V scale."""
    return 4.75 if high else 0.12


class Hall(Active):
    """A speed or position sensor with an open collector and a pull-up in the control unit."""

    role = "signal-switching"

    def __init__(
        self, name: str, supply: str, ground: str, fed_by: str, *, cam: bool = False
    ) -> None:
        super().__init__(name, supply, ground, fed_by)
        self.cam = cam

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw the pull-up, what it goes to (5 V, 8 V or battery) and the duty."""
        to_feed = chance(rng, 0.25 if self.fed_by == FEED else 0.04)
        return {
            **self.draw_electronics(rng, log_even(rng, 0.003, 0.025), log_even(rng, 680.0, 1.6e4)),
            self.key("inner leak"): log_even(rng, 5e6, 3e8),
            self.key("up to"): 2.0 if to_feed else float(self.fed_by == REF_8 and chance(rng, 0.4)),
            self.key("duty"): even(rng, 0.15, 0.85) if self.cam else even(rng, 0.33, 0.67),
            self.key("at rest"): float(rng.integers(2)),
            self.key("saturation"): even(rng, 0.03, 0.35),
            self.key("teeth"): float(rng.integers(1, 6)) if self.cam else 58.0,
            self.key("on ohm"): log_even(rng, 3.0, 60.0),
        }

    def rail(self, values: Values) -> str:
        """Node that the pull-up goes to."""
        return (VCC, REF_8, CU_BATTERY)[int(values[self.key("up to")])]

    def toggles(self, values: Values, now: Moment) -> tuple[Toggle, ...]:
        """It switches while the engine turns."""
        if not now.plugged or now.rpm <= 0.0 or f"stuck:{self.name}" in values:
            return ()
        turns = now.rpm / (120.0 if self.cam else 60.0)
        return (Toggle(self.name, values[self.key("duty")], turns * values[self.key("teeth")]),)

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the input with its pull-up; asleep, that to the battery pulls to ground."""
        rail = self.rail(values)
        if rail == CU_BATTERY and not now.awake:
            rail = INNER
        add_input(net, values, self.name, f"{self.name}.cu", rail)

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the electronics, and the transistor where it is on."""
        self.add_electronics(net, values)
        high = now.levels.get(self.name, int(values[self.key("at rest")]))
        high = int(values.get(f"stuck:{self.name}", high))
        if high:
            return
        output, supply, ground = self.nodes()
        nodes = (net.node(output), net.node(supply), net.node(ground))
        saturation, ohm = values[self.key("saturation")], values[self.key("on ohm")]
        net.add(Transistor(nodes, saturation, ohm, 0.04, values[self.key("start")]))

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Open, shorted or standing still; the pull-up gone."""
        del values
        w = (self.name,)
        return (
            *self.common_faults(),
            FaultOption("sensor-stuck", w, changed(**{f"stuck:{self.name}": 1.0})),
            self.input_fault(),
        )


class Pulses(Active):
    """A serial pulse sensor (SAE J2716): levels below 0.5 and above 4.1 V, many kilohertz."""

    role = "signal-switching"

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw levels, share of time high (mean about 3.0 to 4.2 V) and the pull-up."""
        return {
            **self.draw_electronics(rng, log_even(rng, 0.004, 0.025), log_even(rng, 7e3, 7e4)),
            self.key("low"): even(rng, 0.04, 0.42),
            self.key("high"): even(rng, 4.15, 4.95),
            self.key("share"): even(rng, 0.6, 0.87),
            self.key("hertz"): log_even(rng, 2e3, 3e4),
        }

    def toggles(self, values: Values, now: Moment) -> tuple[Toggle, ...]:
        """It sends whenever it is fed."""
        if not now.plugged or f"stuck:{self.name}" in values:
            return ()
        return (Toggle(self.name, values[self.key("share")], values[self.key("hertz")]),)

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the input with its pull-up."""
        del now
        add_input(net, values, self.name, f"{self.name}.cu")

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the electronics and the output at its present level."""
        self.add_electronics(net, values)
        level = "high" if now.levels.get(self.name, 1) else "low"
        self.add_stage(net, values, 0.0, values[self.key(level)])

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Open, shorted or silent; the pull-up gone."""
        del values
        return (
            *self.common_faults(),
            FaultOption("sensor-stuck", (self.name,), changed(**{f"stuck:{self.name}": 1.0})),
            self.input_fault(),
        )
