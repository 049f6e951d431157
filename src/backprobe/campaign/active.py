"""Sensors with electronics: what they all have besides their output."""

from backprobe.campaign.block import Block, FaultOption, Values, Wire, changed, set_to
from backprobe.campaign.devices import Consumer, Junction, OutputStage
from backprobe.campaign.inputs import INF, draw_input
from backprobe.campaign.nodal import Netlist
from backprobe.campaign.rails import FEED, OPEN_OHM, REF_8
from backprobe.campaign.spreads import Random, chance, even, log_even


class Active(Block):
    """A sensor with electronics: signal, supply and ground wires, and what they share."""

    role = "signal-analogue"

    def __init__(self, name: str, supply: str, ground: str, fed_by: str) -> None:
        super().__init__(name)
        self.supply = supply
        self.ground = ground
        self.fed_by = fed_by
        # Where the output's own return is another wire than the power ground.
        self.reference = ground

    def wires(self) -> tuple[Wire, ...]:
        """The signal wire; supply and ground belong to other blocks."""
        return (Wire(self.name, self.role, f"{self.name}.cu"),)

    def draw_electronics(
        self, rng: Random, ampere: float, up: float = INF, down: float = INF
    ) -> dict[str, float]:
        """Draw what every such sensor has: appetite, drive, protection, and the input it meets.

        Its drive is made for the pull resistors that it works against.
        """
        start = {FEED: even(rng, 4.5, 8.0), REF_8: even(rng, 3.5, 6.0)}.get(
            self.fed_by, even(rng, 1.8, 3.8)
        )
        return {
            self.key("ampere"): ampere,
            self.key("full"): even(rng, 1.5, 4.0),
            self.key("ohm"): min(log_even(rng, 8.0, 1500.0), up / 15.0, down / 15.0),
            self.key("source"): max(log_even(rng, 8e-4, 0.02), 12.0 / down),
            self.key("sink"): max(log_even(rng, 5e-4, 0.02), 12.0 / up),
            self.key("start"): start,
            self.key("substrate"): float(chance(rng, 0.8)),
            self.key("inner leak"): log_even(rng, 5e4, 3e6),
            self.key("in series"): log_even(rng, 0.02, 2.0),
            self.key("across"): INF,
            **draw_input(rng, up, down, self.name),
        }

    def nodes(self) -> tuple[str, str, str]:
        """Nodes inside the sensor: output, supply, the ground that the output refers to."""
        return f"{self.name}.out", f"{self.supply}.s", f"{self.reference}.s"

    def add_electronics(self, net: Netlist, values: Values) -> None:
        """Add appetite, protection and the way to the signal pin."""
        output, supply, ground = self.nodes()
        power = f"{self.ground}.s"
        net.add(
            Consumer(
                (net.node(supply), net.node(power)),
                values[self.key("ampere")],
                values[self.key("full")],
            )
        )
        net.resistor(output, f"{self.name}.s", values[self.key("in series")])
        net.resistor(output, ground, values[self.key("across")])
        net.resistor(output, ground, values[self.key("inner leak")] * 3.0)
        net.resistor(output, supply, values[self.key("inner leak")])
        if values[self.key("substrate")] > 0.5:
            # Without its ground the chip sits near its supply, and hands that on through these.
            net.add(Junction((net.node(ground), net.node(output))))
            net.add(Junction((net.node(output), net.node(supply))))

    def add_stage(self, net: Netlist, values: Values, ratio: float, volt: float) -> None:
        """Add a driven output at ratio of supply plus a voltage."""
        output, supply, ground = self.nodes()
        net.add(
            OutputStage(
                (net.node(output), net.node(supply), net.node(ground)),
                ratio,
                volt,
                values[self.key("ohm")],
                values[self.key("source")],
                values[self.key("sink")],
                values[self.key("start")],
            )
        )

    def common_faults(self) -> tuple[FaultOption, ...]:
        """Output open inside, or shorted to its own return."""
        w = (self.name,)
        return (
            FaultOption("sensor-open", w, changed(**{self.key("in series"): OPEN_OHM})),
            FaultOption("sensor-shorted", w, set_to(self.key("across")), 0.3, 30.0),
        )

    def input_fault(self) -> FaultOption:
        """The control unit's own pull resistors are gone."""
        edits = changed(**{self.key("up"): OPEN_OHM, self.key("down"): OPEN_OHM})
        return FaultOption("control-unit-input", (self.name,), edits)
