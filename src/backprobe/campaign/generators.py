"""Sensors that make their own voltage: pick-ups, knock elements, oxygen cells."""

from backprobe.campaign.block import (
    Block,
    FaultOption,
    Moment,
    Story,
    Toggle,
    Values,
    Wire,
    changed,
    set_to,
)
from backprobe.campaign.inputs import INF, add_input, draw_input
from backprobe.campaign.nodal import Netlist
from backprobe.campaign.rails import BODY, INNER, OPEN_OHM, RAIL, VCC
from backprobe.campaign.spreads import Random, chance, even, log_even, pick

PIEZO_OHM = 2e4
ASLEEP_OHM = 3e4


class Pair(Block):
    """A sensor across two wires, its control-unit inputs biased in one of several ways.

    Bias: "alike" = both ends to the same weak voltage, "ground" = both ends weakly held at ground,
    "single" = the return tied to the sensor ground rail, the signal weakly biased.
    """

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.plus, self.minus = f"{name}.signal", f"{name}.return"

    def wires(self) -> tuple[Wire, ...]:
        """Live end and other end."""
        return (
            Wire(self.plus, "generator-signal", f"{self.plus}.cu"),
            Wire(self.minus, "generator-return", f"{self.minus}.cu"),
        )

    def draw_bias(self, rng: Random, alike: float, grounded: float) -> dict[str, float]:
        """Draw the bias network; what is left of one is the share of single-ended inputs."""
        kind = pick(rng, (alike, 0.0), (grounded, 1.0), (1.0 - alike - grounded, 2.0))
        unbiased = kind == 2.0 and chance(rng, 0.4)
        return {
            self.key("bias kind"): kind,
            self.key("bias volt"): 0.0 if kind == 1.0 or unbiased else even(rng, 1.2, 2.7),
            self.key("bias ohm"): log_even(rng, 3e3, 1.5e5),
            self.key("bias match"): even(rng, 0.97, 1.03),
            self.key("plus open"): 0.0,
            self.key("lost alike"): float(chance(rng, 0.5)),
            self.key("between"): pick(rng, (0.5, INF), (0.5, log_even(rng, 5e3, 3e5))),
            self.key("leak"): 0.0,
        }

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the bias of both ends."""
        plus, minus = f"{self.plus}.cu", f"{self.minus}.cu"
        volt = values[self.key("bias volt")] if now.awake else 0.0
        volt += self.rectified(values, now)
        ohm, match = values[self.key("bias ohm")], values[self.key("bias match")]
        net.source(plus, INNER, volt, ohm + values[self.key("plus open")])
        if values[self.key("bias kind")] == 2.0:
            net.resistor(minus, RAIL, 0.05)
        else:
            net.source(minus, INNER, volt, ohm * match)
        net.resistor(plus, minus, values[self.key("between")])
        for node in (plus, minus):
            net.resistor(node, INNER, 4e7)

    def rectified(self, values: Values, now: Moment) -> float:
        """What an input that clamps one half of the swings harder adds to its own mean, V."""
        del values, now
        return 0.0

    def interchangeable(self, values: Values) -> tuple[frozenset[str], ...]:
        """Both ends, where they are biased alike."""
        if values[self.key("bias kind")] == 2.0:
            return ()
        return (frozenset({self.plus, self.minus}),)

    def lost_bias(self, values: Values) -> FaultOption:
        """The bias is gone: its source, which both ends share, or the live end's own resistor."""
        shared = values[self.key("bias volt")] > 0.0 and values[self.key("lost alike")] > 0.5
        lost = {self.key("bias volt"): 0.0} if shared else {self.key("plus open"): 3e8}
        return FaultOption("control-unit-input", (self.plus,), changed(**lost))

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Across the sensor."""
        return ((self.plus, self.minus),)


class Inductive(Pair):
    """A coil and a magnet at a toothed wheel."""

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw the coil, its volts a turn and the bias."""
        uneven = rng.spawn(1)[0]
        return {
            self.key("rectified"): pick(uneven, (0.65, 0.0), (0.35, even(uneven, 0.05, 0.4))),
            **self.draw_bias(rng, 0.55, 0.32),
            self.key("coil"): log_even(rng, 150.0, 3800.0),
            self.key("in series"): 0.0,
            self.key("across"): INF,
            self.key("volt a turn"): log_even(rng, 0.08, 0.6),  # V rms a revolution a second
            self.key("teeth"): float(rng.integers(30, 61)),
        }

    def toggles(self, values: Values, now: Moment) -> tuple[Toggle, ...]:
        """Alternating while the wheel turns."""
        if not now.plugged or now.rpm <= 0.0:
            return ()
        return (Toggle(self.name, 0.5, now.rpm / 60.0 * values[self.key("teeth")]),)

    def _rms(self, values: Values, now: Moment) -> float:
        return values[self.key("volt a turn")] * now.rpm / 60.0 if self.name in now.levels else 0.0

    def rectified(self, values: Values, now: Moment) -> float:
        """A share of the swings, up to some volts."""
        return min(values[self.key("rectified")] * self._rms(values, now), 2.5)

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the coil; at either level of its alternating voltage."""
        rms = self._rms(values, now)
        volt = rms if now.level(self.name) else -rms
        plus, minus, middle = f"{self.plus}.s", f"{self.minus}.s", f"{self.name}.coil"
        net.resistor(plus, middle, values[self.key("in series")] + 0.02)
        net.source(middle, minus, volt, values[self.key("coil")])
        net.resistor(middle, minus, values[self.key("across")])

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Open, shorted, weak; the bias gone."""
        w = (self.plus,)
        weak, coil = values[self.key("volt a turn")], values[self.key("coil")]
        return (
            FaultOption("sensor-open", w, changed(**{self.key("in series"): OPEN_OHM})),
            FaultOption("sensor-shorted", w, set_to(self.key("across")), 0.3, 30.0),
            FaultOption(
                "sensor-drift",
                w,
                lambda s: {self.key("volt a turn"): weak * s, self.key("coil"): coil * s},
                0.15,
                0.7,
            ),
            self.lost_bias(values),
        )


class Knock(Pair):
    """A piezo element; nearly an open circuit for direct current."""

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw the element and the bias; some have a resistor across."""
        return {
            **self.draw_bias(rng, 0.4, 0.3),
            self.key("element"): pick(
                rng, (0.75, log_even(rng, 1e6, 2e9)), (0.25, log_even(rng, 1e5, 1e6))
            ),
            self.key("in series"): 0.0,
            self.key("across"): INF,
            self.key("rms"): log_even(rng, 0.005, 0.15),
        }

    def toggles(self, values: Values, now: Moment) -> tuple[Toggle, ...]:
        """It rattles with the engine."""
        del values
        return (Toggle(self.name, 0.5, 6500.0),) if now.plugged and now.rpm > 0.0 else ()

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the element: for direct current its resistance, for its rattle its capacitance.

        About 1.2 nF is 20 kohm at the rattle's 6.5 kHz. A netlist at one instant has no
        capacitance, so the current that goes through it is put in by hand, where it has a way.
        """
        plus, minus, middle = f"{self.plus}.s", f"{self.minus}.s", f"{self.name}.crystal"
        in_series = values[self.key("in series")]
        rms = values[self.key("rms")] * now.rpm / 1000.0 if self.name in now.levels else 0.0
        volt = rms if now.level(self.name) else -rms
        net.resistor(plus, middle, in_series + 0.02)
        net.source(middle, minus, volt, values[self.key("element")])
        net.resistor(middle, minus, values[self.key("across")])
        wires = in_series + values[f"{self.plus}.wire"] + values[f"{self.minus}.wire"]
        if rms > 0.0 and wires < PIEZO_OHM:
            ampere = volt / (PIEZO_OHM + values[self.key("bias ohm")])
            net.current(middle, ampere)
            net.current(minus, -ampere)

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Open, shorted; the bias gone."""
        w = (self.plus,)
        return (
            FaultOption("sensor-open", w, changed(**{self.key("in series"): OPEN_OHM})),
            FaultOption("sensor-shorted", w, set_to(self.key("across")), 0.3, 300.0),
            self.lost_bias(values),
        )


class OxygenCell(Pair):
    """A zirconia cell on a weak bias of about 0.45 V; its resistance falls as it warms."""

    def __init__(self, name: str, *, shell_ground: bool = False) -> None:
        super().__init__(name)
        self.shell_ground = shell_ground  # the cell's other end is its shell: the exhaust, no wire

    def wires(self) -> tuple[Wire, ...]:
        """Both ends, or the live one only."""
        return super().wires()[:1] if self.shell_ground else super().wires()

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw bias, what the return stands at, and how the cell behaves."""
        raised = pick(rng, (0.72, 0.0), (0.28, even(rng, 0.25, 2.6)))
        raised = 0.0 if self.shell_ground else raised
        return {
            self.key("bias volt"): even(rng, 0.38, 0.5),
            self.key("bias ohm"): log_even(rng, 4e4, 1e6),
            self.key("raised"): raised,
            self.key("raised ohm"): log_even(rng, 2.0, 300.0),
            self.key("hot ohm"): log_even(rng, 60.0, 1.2e4),
            self.key("cold ohm"): log_even(rng, 1e7, 1e10),
            self.key("low"): even(rng, 0.06, 0.25),
            self.key("high"): even(rng, 0.68, 0.92),
            self.key("share"): even(rng, 0.35, 0.65),
            self.key("hertz"): log_even(rng, 0.3, 3.0),
            self.key("steady"): pick(rng, (0.75, 0.0), (0.25, even(rng, 0.5, 0.78))),
            self.key("in series"): 0.0,
            self.key("across"): INF,
            **draw_input(rng, INF, INF, self.name),
        }

    def quantities(self, values: Values, state: str, story: Story, rng: Random) -> dict[str, float]:
        """Draw whether the cell is hot: not before the engine runs, then nearly always."""
        del values, story
        running = state not in {"key-on", "crank", "sweep-low", "sweep-high"}
        return {self.key("hot"): float(running and rng.random() < 0.97)}

    def _hot(self, values: Values, now: Moment) -> bool:
        return self.measured(values, now, "hot") > 0.5

    def toggles(self, values: Values, now: Moment) -> tuple[Toggle, ...]:
        """Hot, it swings between lean and rich."""
        if not now.plugged or not self._hot(values, now) or values[self.key("steady")] > 0.0:
            return ()
        if f"stuck:{self.name}" in values:
            return ()
        return (Toggle(self.name, values[self.key("share")], values[self.key("hertz")]),)

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the bias against the return, and what the return is tied to."""
        plus, minus = f"{self.plus}.cu", f"{self.minus}.cu"
        if self.shell_ground:
            minus = INNER
        raised = values[self.key("raised")]
        if raised > 0.0 and now.awake:
            net.source(minus, INNER, raised, values[self.key("raised ohm")])
        elif raised > 0.0:
            net.resistor(minus, INNER, ASLEEP_OHM)  # a buffer without its supply
        elif not self.shell_ground:
            net.resistor(minus, RAIL, 0.05)
        bias = values[self.key("bias volt")] if now.awake else 0.0
        net.source(plus, minus, bias, values[self.key("bias ohm")])
        add_input(net, values, self.name, plus, VCC)

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the cell."""
        hot = self._hot(values, now)
        steady = values[self.key("steady")]
        volt = steady or values[self.key("high" if now.level(self.name) else "low")]
        volt = values.get(f"stuck:{self.name}", volt) if hot else 0.0
        ohm = values[self.key("hot ohm" if hot else "cold ohm")]
        plus, middle = f"{self.plus}.s", f"{self.name}.cell"
        minus = BODY if self.shell_ground else f"{self.minus}.s"
        net.resistor(plus, middle, values[self.key("in series")] + 0.02)
        net.source(middle, minus, volt, ohm)
        net.resistor(middle, minus, values[self.key("across")])

    def interchangeable(self, values: Values) -> tuple[frozenset[str], ...]:
        """Never: the return is the stiff one."""
        del values
        return ()

    def lost_bias(self, values: Values) -> FaultOption:
        """The bias is gone."""
        del values
        return FaultOption(
            "control-unit-input", (self.plus,), changed(**{self.key("bias ohm"): 1e9})
        )

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """None: no ohmmeter on cells."""
        return ()

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Open, shorted, stuck lean or rich, lazy; the bias gone."""
        w = (self.plus,)
        low, high = values[self.key("low")], values[self.key("high")]
        return (
            FaultOption("sensor-open", w, changed(**{self.key("in series"): OPEN_OHM})),
            FaultOption("sensor-shorted", w, set_to(self.key("across")), 0.3, 30.0),
            FaultOption("sensor-stuck", w, set_to(f"stuck:{self.name}"), 0.04, 0.9),
            FaultOption(
                "sensor-drift",
                w,
                lambda s: {self.key("low"): low + s, self.key("high"): high + s},
                0.15,
                0.4,
            ),
            self.lost_bias(values),
        )
