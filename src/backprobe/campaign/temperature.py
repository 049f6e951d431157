"""Thermistors and platinum elements, each below a pull-up in the control unit."""

import math

import numpy as np

from backprobe.campaign.block import (
    Block,
    FaultOption,
    Moment,
    ScanPort,
    Story,
    Values,
    Wire,
    changed,
    set_to,
)
from backprobe.campaign.inputs import INF, add_input, draw_input
from backprobe.campaign.nodal import Netlist
from backprobe.campaign.rails import OPEN_OHM, VCC
from backprobe.campaign.spreads import Random, chance, even, log_even, pick
from backprobe.core.engine.thermistor_curve import TableCurve
from backprobe.curves.curve_file import TemperatureCurve
from backprobe.curves.loader import curve_named

KELVIN = 273.15
# Published curves of parts makers' thermistors; rows of their tables, no law between them is used.
PUBLISHED = ("ntc-2k5-at-20", "ntc-3k5-at-20", "ntc-1k7-at-20")
PUBLISHED_CELSIUS = (-20.0, 0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 120.0)
# IEC 60751: platinum above 0 degC, R = R0 (1 + A t + B t^2); the cubic term below 0 degC is less
# than the part's own tolerance here.
PLATINUM_A, PLATINUM_B = 3.9083e-3, -5.775e-7


def published_ohm(name: str, celsius: float) -> float:
    """A row of a published table, ohm."""
    curve = curve_named(name)
    if not isinstance(curve, TemperatureCurve) or not isinstance(curve.law, TableCurve):
        raise TypeError(name)
    (row,) = np.flatnonzero(curve.law.celsius_rows == celsius)
    return float(curve.law.ohm_rows[row])


PUBLISHED_OHM = tuple(
    tuple(published_ohm(name, celsius) for celsius in PUBLISHED_CELSIUS) for name in PUBLISHED
)


def three_points(
    points: tuple[tuple[float, float], tuple[float, float], tuple[float, float]],
) -> tuple[float, float, float]:
    """Fit Steinhart and Hart's A, B, C to three pairs of degC and ohm.

    Steinhart & Hart, Deep-Sea Research 15 (1968) 497: 1/T = A + B ln R + C (ln R)^3.
    """
    logs = [math.log(ohm) for _, ohm in points]
    inverse = [1.0 / (celsius + KELVIN) for celsius, _ in points]
    slope_2 = (inverse[1] - inverse[0]) / (logs[1] - logs[0])
    slope_3 = (inverse[2] - inverse[0]) / (logs[2] - logs[0])
    c = (slope_3 - slope_2) / (logs[2] - logs[1]) / sum(logs)
    b = slope_2 - c * (logs[0] ** 2 + logs[0] * logs[1] + logs[1] ** 2)
    a = inverse[0] - (b + logs[0] ** 2 * c) * logs[0]
    return a, b, c


def bent_ohm(ohm_25: float, beta: float, bend: float, celsius: float) -> float:
    """Resistance of a thermistor whose beta changes with temperature, ohm."""
    x = 1.0 / (celsius + KELVIN) - 1.0 / (25.0 + KELVIN)
    return ohm_25 * math.exp(x * beta * (1.0 - bend * x * 1000.0))


def steinhart_hart_ohm(a: float, b: float, c: float, celsius: float) -> float:
    """Resistance at a temperature, ohm: the cubic in ln R solved by Newton's method."""
    inverse = 1.0 / (celsius + KELVIN)
    log_ohm = (inverse - a) / b
    for _ in range(60):
        error = a + b * log_ohm + c * log_ohm**3 - inverse
        step = error / (b + 3.0 * c * log_ohm**2)
        log_ohm -= step
        if abs(step) < 1e-13 * max(1.0, abs(log_ohm)):
            break
    return math.exp(log_ohm)


def steinhart_hart_celsius(a: float, b: float, c: float, ohm: float) -> float:
    """Temperature at a resistance, degC."""
    log_ohm = math.log(ohm)
    return 1.0 / (a + b * log_ohm + c * log_ohm**3) - KELVIN


def platinum_ohm(ohm_0: float, celsius: float) -> float:
    """Resistance of a platinum element, ohm (IEC 60751, 0 to 850 degC)."""
    return ohm_0 * (1.0 + PLATINUM_A * celsius + PLATINUM_B * celsius**2)


class Thermistor(Block):
    """A thermistor and its pull-up: `place` is "air", "coolant" or "other"."""

    def __init__(self, name: str, ground: str, place: str = "other") -> None:
        super().__init__(name)
        self.ground = ground
        self.place = place

    def wires(self) -> tuple[Wire, ...]:
        """The signal wire; the return belongs to another block."""
        return (Wire(self.name, "signal-thermistor", f"{self.name}.cu"),)

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw a curve (published, or of the three-parameter kind) and a pull-up."""
        if chance(rng, 0.3):
            curve = PUBLISHED_OHM[int(rng.integers(3))]
            points = ((0.0, curve[1]), (40.0, curve[3]), (100.0, curve[6]))
        else:
            ohm_25, beta = log_even(rng, 900.0, 22e3), even(rng, 3150.0, 4250.0)
            bend = even(rng, -0.005, 0.11)  # a one-constant curve is straight; real ones bend
            points = (
                (0.0, bent_ohm(ohm_25, beta, bend, 0.0)),
                (40.0, bent_ohm(ohm_25, beta, bend, 40.0)),
                (100.0, bent_ohm(ohm_25, beta, bend, 100.0)),
            )
        a, b, c = three_points(points)
        usual = pick(rng, *((1.0, ohm) for ohm in (1e3, 1.5e3, 2.2e3, 2.49e3, 3.3e3, 4.7e3)))
        pull_up = pick(rng, (0.5, usual * even(rng, 0.97, 1.03)), (0.5, log_even(rng, 680.0, 8e3)))
        return {
            self.key("a"): a,
            self.key("b"): b,
            self.key("c"): c,
            self.key("scale"): even(rng, 0.94, 1.06),
            self.key("across"): INF,
            self.key("in series"): log_even(rng, 0.01, 1.0),
            self.key("hot pull-up"): pick(rng, (0.92, INF), (0.08, even(rng, 0.12, 0.3) * pull_up)),
            **draw_input(rng, pull_up, INF, self.name),
        }

    def quantities(self, values: Values, state: str, story: Story, rng: Random) -> dict[str, float]:
        """Draw the temperature: ambient, warming air, or an engine that warms up."""
        del values
        celsius = story.ambient + rng.normal(0.0, 1.0)
        if self.place == "coolant":
            celsius = story.engine_celsius
            if state not in {"key-on", "crank"}:
                celsius += even(rng, 0.0, 0.35) * max(95.0 - celsius, 0.0)
        elif self.place == "air" and state not in {"key-on", "crank"}:
            celsius += even(rng, -1.0, 20.0)
        elif self.place == "other":
            celsius = story.ambient + 0.5 * (story.engine_celsius - story.ambient)
        return {self.key("celsius"): celsius}

    def ohm(self, values: Values, celsius: float) -> float:
        """Resistance of the bare thermistor at a temperature, ohm."""
        a, b, c = (values[self.key(part)] for part in ("a", "b", "c"))
        return values[self.key("scale")] * steinhart_hart_ohm(a, b, c, celsius)

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the pull-up; some control units add a second one when it is hot."""
        node = f"{self.name}.cu"
        add_input(net, values, self.name, node)
        if now.plugged and self.measured(values, now, "celsius") > 50.0:
            net.resistor(node, VCC, values[self.key("hot pull-up")])

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the thermistor."""
        signal, middle = f"{self.name}.s", f"{self.name}.bead"
        net.resistor(signal, middle, values[self.key("in series")])
        ohm = self.ohm(values, self.measured(values, now, "celsius"))
        net.resistor(middle, f"{self.ground}.s", ohm)
        net.resistor(middle, f"{self.ground}.s", values[self.key("across")])

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Open, shorted or off its curve; the pull-up gone."""
        w = (self.name,)
        scale = values[self.key("scale")]
        return (
            FaultOption("sensor-open", w, changed(**{self.key("in series"): OPEN_OHM})),
            FaultOption("sensor-shorted", w, set_to(self.key("across")), 0.2, 40.0),
            FaultOption("sensor-drift", w, lambda s: {self.key("scale"): scale * s}, 0.25, 4.0),
            FaultOption(
                "control-unit-input",
                w,
                changed(**{self.key("up"): OPEN_OHM, self.key("hot pull-up"): OPEN_OHM}),
            ),
        )

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Signal to return."""
        return ((self.name, self.ground),)

    def scans(self) -> tuple[ScanPort, ...]:
        """Intake air or coolant temperature, as the control unit computes it."""
        names = {"air": "intake air temperature", "coolant": "coolant temperature"}
        if self.place not in names:
            return ()
        return (ScanPort(names[self.place], self.name, self._reported),)

    def _reported(self, values: Values, volts: float) -> float:
        supply = 5.0  # it measures its input as a share of its own 5 V
        share = min(max(volts / supply, 1e-4), 0.9999)
        pull_up = values[self.key("up")]
        if pull_up >= OPEN_OHM:
            pull_up = 2200.0
        ohm = pull_up * share / (1.0 - share)
        a, b, c = (values[self.key(part)] for part in ("a", "b", "c"))
        return min(max(steinhart_hart_celsius(a, b, c, ohm), -40.0), 149.0)


class Platinum(Block):
    """A platinum element for exhaust gas, below a pull-up."""

    def __init__(self, name: str, ground: str) -> None:
        super().__init__(name)
        self.ground = ground

    def wires(self) -> tuple[Wire, ...]:
        """The signal wire."""
        return (Wire(self.name, "signal-thermistor", f"{self.name}.cu"),)

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw a 200 ohm element (some 100, some 1000) and its pull-up."""
        ohm_0 = pick(rng, (0.8, 200.0), (0.1, 100.0), (0.1, 1000.0))
        return {
            self.key("ohm"): ohm_0 * even(rng, 0.98, 1.02),
            self.key("in series"): log_even(rng, 0.05, 3.0),
            self.key("across"): INF,
            **draw_input(rng, log_even(rng, 680.0, 2200.0), INF, self.name),
        }

    def quantities(self, values: Values, state: str, story: Story, rng: Random) -> dict[str, float]:
        """Draw the exhaust temperature: as the engine, or some hundred degrees at idle."""
        del values
        celsius = max(story.ambient, story.engine_celsius - even(rng, 0.0, 20.0))
        if state not in {"key-on", "crank"}:
            celsius = even(rng, 90.0, 420.0)
        return {self.key("celsius"): celsius}

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the pull-up."""
        del now
        add_input(net, values, self.name, f"{self.name}.cu")

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the element."""
        ohm = platinum_ohm(values[self.key("ohm")], self.measured(values, now, "celsius"))
        signal, ground = f"{self.name}.s", f"{self.ground}.s"
        net.resistor(signal, f"{self.name}.film", values[self.key("in series")])
        net.resistor(f"{self.name}.film", ground, max(ohm, 1.0))
        net.resistor(f"{self.name}.film", ground, values[self.key("across")])

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Open, shorted, drifted; the pull-up gone."""
        w = (self.name,)
        ohm = values[self.key("ohm")]
        return (
            FaultOption("sensor-open", w, changed(**{self.key("in series"): OPEN_OHM})),
            FaultOption("sensor-shorted", w, set_to(self.key("across")), 0.2, 20.0),
            FaultOption("sensor-drift", w, lambda s: {self.key("ohm"): ohm * s}, 0.5, 2.5),
            FaultOption("control-unit-input", w, changed(**{self.key("up"): OPEN_OHM})),
        )

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Signal to return."""
        return ((self.name, self.ground),)
