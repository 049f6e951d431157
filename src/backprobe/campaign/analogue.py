"""Sensors that drive a voltage: pressure and air mass."""

from backprobe.campaign.active import Active
from backprobe.campaign.block import FaultOption, Moment, ScanPort, Story, Values, stuck
from backprobe.campaign.inputs import INF, add_input
from backprobe.campaign.nodal import Netlist
from backprobe.campaign.rails import FEED
from backprobe.campaign.spreads import Random, chance, even, log_even, pick


class Analogue(Active):
    """A voltage output: `what` is "pressure", "barometer", "rail" or "air-mass"."""

    def __init__(self, name: str, supply: str, ground: str, fed_by: str, what: str) -> None:
        super().__init__(name, supply, ground, fed_by)
        self.what = what

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw whether it follows its supply, its appetite and the control unit's input."""
        hungry = self.what == "air-mass" and self.fed_by == FEED
        ampere = log_even(rng, 0.04, 0.7) if hungry else log_even(rng, 0.002, 0.03)
        ratiometric = self.fed_by != FEED and chance(rng, 0.9)
        down = log_even(rng, 3e4, 1.2e6)
        hold = pick(rng, (0.6, (INF, down)), (0.28, (log_even(rng, 7e3, 6e5), INF)), (0.12, None))
        if self.what == "air-mass":
            hold = pick(
                rng, (0.85, (INF, down)), (0.1, (log_even(rng, 7e3, 6e5), INF)), (0.05, None)
            )
        up, down = hold or (INF, INF)
        return {
            **self.draw_electronics(rng, ampere, up, down),
            self.key("ratiometric"): float(ratiometric),
            self.key("offset"): even(rng, -0.05, 0.05),
            self.key("slope"): even(rng, 0.97, 1.03),
            self.key("span"): even(rng, 0.9, 1.1),
        }

    def quantities(self, values: Values, state: str, story: Story, rng: Random) -> dict[str, float]:
        """Draw the output that the sensor means to give, V on a 5 V scale."""
        span = values[self.key("span")]
        draws = {
            "pressure": _manifold_volt,
            "barometer": _barometer_volt,
            "rail": _rail_volt,
            "air-mass": _air_mass_volt,
        }
        return {self.key("volt"): span * draws[self.what](state, story, rng)}

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the input."""
        del now
        add_input(net, values, self.name, f"{self.name}.cu")

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the electronics and the output."""
        self.add_electronics(net, values)
        volt = self.measured(values, now, "volt") * values[self.key("slope")]
        volt = min(max(volt + values[self.key("offset")], 0.1), 4.9)
        if values[self.key("ratiometric")] > 0.5:
            self.add_stage(net, values, volt / 5.0, 0.0)
        else:
            self.add_stage(net, values, 0.0, volt)

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Open, shorted, stuck, drifted output; the input gone."""
        w = (self.name,)
        offset, slope = values[self.key("offset")], values[self.key("slope")]
        return (
            *self.common_faults(),
            FaultOption("sensor-stuck", w, stuck(self.key("volt")), 0.2, 4.8),
            FaultOption(
                "sensor-drift",
                w,
                lambda s: {
                    self.key("offset"): offset + 0.3 * (s - 1.0),
                    self.key("slope"): slope * s,
                },
                0.5,
                1.6,
            ),
            self.input_fault(),
        )

    def scans(self) -> tuple[ScanPort, ...]:
        """Manifold pressure or air mass flow, by an invented curve of this sensor."""
        if self.what in {"pressure", "barometer"}:
            return (
                ScanPort("manifold pressure", self.name, lambda _, v: max(v, 0.0) * 22.0 + 8.0),
            )
        if self.what == "air-mass":
            return (ScanPort("air mass flow", self.name, lambda _, v: 1.9 * max(v, 0.0) ** 3.1),)
        return ()


def _manifold_volt(state: str, story: Story, rng: Random) -> float:
    full = story.barometer / 101.0
    if state in {"key-on", "snap-high"}:
        return full * even(rng, 3.75, 4.6) if state == "key-on" else full * even(rng, 3.0, 4.6)
    if state == "crank":
        return even(rng, 2.8, 4.4)
    return even(rng, 0.75, 1.8)


def _barometer_volt(state: str, story: Story, rng: Random) -> float:
    boost = even(rng, 0.0, 0.15) if state in {"raised", "snap-high"} else 0.0
    return (2.0 + boost) * story.barometer / 101.0 + even(rng, -0.05, 0.05)


def _rail_volt(state: str, story: Story, rng: Random) -> float:
    del story
    if state == "key-on":
        return pick(rng, (0.7, even(rng, 0.42, 0.6)), (0.3, even(rng, 0.6, 1.4)))
    return even(rng, 0.8, 2.0) if state != "snap-high" else even(rng, 1.5, 3.9)


def _air_mass_volt(state: str, story: Story, rng: Random) -> float:
    del story
    low, high = {
        "key-on": (0.55, 1.1),
        "crank": (0.9, 1.45),
        "idle": (0.95, 2.0),
        "snap-low": (0.95, 2.0),
        "raised": (1.4, 2.4),
        "snap-high": (2.9, 4.7),
    }.get(state, (0.55, 1.1))
    return even(rng, low, high)
