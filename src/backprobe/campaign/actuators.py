"""Heaters, coils and motors that the control unit switches, and the wide-range cell."""

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
from backprobe.campaign.inputs import INF, add_driver, draw_driver
from backprobe.campaign.nodal import Netlist
from backprobe.campaign.rails import CU_BATTERY, INNER, OPEN_OHM
from backprobe.campaign.spreads import Random, chance, even, log_even, pick

ASLEEP_OHM = 3e4  # a buffer without its supply


class Load(Block):
    """A heater or coil between a battery feed and a low-side driver.

    What: "heater", "injector", "solenoid" (pulse-width driven), "relay" (steady).
    """

    def __init__(self, name: str, supply: str, what: str) -> None:
        super().__init__(name)
        self.supply = supply
        self.what = what

    def wires(self) -> tuple[Wire, ...]:
        """The controlled low side."""
        role = "heater-control" if self.what == "heater" else "driver-control"
        return (Wire(self.name, role, f"{self.name}.cu"),)

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw the load, its driver and the drive at key on and running."""
        ohm, hertz, duty = {
            "heater": (log_even(rng, 2.2, 18.0), log_even(rng, 1.5, 250.0), even(rng, 0.15, 0.95)),
            "injector": (log_even(rng, 9.0, 19.0), 0.0, even(rng, 0.012, 0.06)),
            "solenoid": (log_even(rng, 2.5, 55.0), log_even(rng, 8.0, 900.0), even(rng, 0.1, 0.85)),
            "relay": (log_even(rng, 55.0, 150.0), 0.0, 0.0),
        }[self.what]
        steady = {"heater": 0.25, "injector": 0.0, "solenoid": 0.05, "relay": 0.0}[self.what]
        on_at_key = {"heater": 0.35, "injector": 0.0, "solenoid": 0.25, "relay": 0.5}[self.what]
        return {
            self.key("ohm"): ohm,
            self.key("hot"): even(rng, 1.5, 2.6) if self.what == "heater" else even(rng, 1.0, 1.25),
            self.key("in series"): 0.0,
            self.key("across"): INF,
            self.key("hertz"): hertz,
            self.key("duty"): duty,
            self.key("at key"): float(chance(rng, on_at_key)),
            self.key("steady"): float(chance(rng, steady)),
            self.key("stuck"): -1.0,
            **draw_driver(rng, self.name),
        }

    def _driven(self, values: Values, now: Moment) -> float:
        """Share of time on: 0 or 1 where it doesn't switch."""
        if not now.awake:
            return 0.0
        if values[self.key("stuck")] >= 0.0:
            return values[self.key("stuck")]
        if self.what == "relay":
            return 1.0 if now.running or now.cranking else values[self.key("at key")]
        if not now.running and not (now.cranking and self.what == "injector"):
            return values[self.key("duty")] if values[self.key("at key")] > 0.5 else 0.0
        return 1.0 if values[self.key("steady")] > 0.5 else values[self.key("duty")]

    def toggles(self, values: Values, now: Moment) -> tuple[Toggle, ...]:
        """Pulse width, or one injection a cycle."""
        share = self._driven(values, now)
        hertz = now.rpm / 120.0 if self.what == "injector" else values[self.key("hertz")]
        if 0.0 < share < 1.0 and hertz > 0.0:
            return (Toggle(self.name, share, hertz),)
        return ()

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the driver, on or off."""
        on = now.levels.get(self.name, int(self._driven(values, now) > 0.5)) == 1
        add_driver(net, values, self.name, f"{self.name}.cu", now, on)

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the load."""
        warm = values[self.key("hot")] if now.running else 1.0
        ohm = values[self.key("ohm")] * warm + values[self.key("in series")]
        supply, control = f"{self.supply}.s", f"{self.name}.s"
        net.resistor(supply, control, ohm)
        net.resistor(supply, control, values[self.key("across")])

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Burnt through, shorted turns; the driver dead or always on."""
        w = (self.name,)
        del values
        return (
            FaultOption("sensor-open", w, changed(**{self.key("in series"): OPEN_OHM})),
            FaultOption("sensor-shorted", w, set_to(self.key("across")), 0.05, 1.0),
        )

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Across the load."""
        return ((self.supply, self.name),)


class Motor(Block):
    """A motor that the control unit drives both ways through two half bridges."""

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.first, self.second = f"{name}.a", f"{name}.b"

    def wires(self) -> tuple[Wire, ...]:
        """Both leads."""
        return (
            Wire(self.first, "motor", f"{self.first}.cu"),
            Wire(self.second, "motor", f"{self.second}.cu"),
        )

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw the motor, the bridge, its bias when it rests and its drive."""
        habit = rng.spawn(1)[0]
        return {
            self.key("lies high"): float(chance(habit, 0.25)),
            self.key("pulled down"): pick(habit, (0.75, 0.0), (0.125, 1.0), (0.125, 2.0)),
            self.key("ohm"): log_even(rng, 0.7, 10.0),
            self.key("in series"): 0.0,
            self.key("across"): INF,
            self.key("on"): log_even(rng, 0.08, 0.6),
            self.key("duty"): even(rng, 0.05, 0.4),
            self.key("hertz"): log_even(rng, 500.0, 2e4),
            self.key("bias"): pick(rng, (0.5, 0.0), (0.3, even(rng, 0.3, 0.6)), (0.2, 1.0)),
            self.key("bias ohm"): log_even(rng, 1.5e3, 1e5),
            self.key("holds at key"): float(chance(rng, 0.7)),
        }

    def _drives(self, values: Values, now: Moment) -> bool:
        holds = now.running or values[self.key("holds at key")] > 0.5
        # Without its motor and position tracks the control unit lets the bridge go.
        return now.awake and now.plugged and holds

    def toggles(self, values: Values, now: Moment) -> tuple[Toggle, ...]:
        """Pulse width on the first lead."""
        if not self._drives(values, now):
            return ()
        return (Toggle(self.name, values[self.key("duty")], values[self.key("hertz")]),)

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add both half bridges: driven, or resting on their bias."""
        first, second = f"{self.first}.cu", f"{self.second}.cu"
        if self._drives(values, now):
            rest = CU_BATTERY if values[self.key("lies high")] else INNER
            top, bottom = (CU_BATTERY, INNER) if now.level(self.name) else (rest, rest)
            net.resistor(first, top, values[self.key("on")])
            net.resistor(second, bottom, values[self.key("on")])
            return
        volt = values[self.key("bias")] * (now.battery if now.awake else 0.0)
        pulled_down = values[self.key("pulled down")]  # neither, the first or the second lead
        for number, node in ((1.0, first), (2.0, second)):
            up = 0.0 if pulled_down == number else volt
            net.source(node, INNER, up, values[self.key("bias ohm")])

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the motor at rest."""
        del now
        first, second = f"{self.first}.s", f"{self.second}.s"
        net.resistor(first, second, values[self.key("ohm")] + values[self.key("in series")])
        net.resistor(first, second, values[self.key("across")])

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Worn brushes, shorted winding."""
        del values
        w = (self.first,)
        return (
            FaultOption("sensor-open", w, changed(**{self.key("in series"): OPEN_OHM})),
            FaultOption("sensor-shorted", w, set_to(self.key("across")), 0.03, 0.3),
        )

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Across the motor."""
        return ((self.first, self.second),)

    def interchangeable(self, values: Values) -> tuple[frozenset[str], ...]:
        """Both leads bear the same role; nothing to tell apart."""
        del values
        return (frozenset({self.first, self.second}),)


class WideRangeCell(Block):
    """Pump cell, reference cell and their common wire, held at about 2.5 V; perhaps a trim line."""

    def __init__(self, name: str, *, trimmed: bool) -> None:
        super().__init__(name)
        self.trimmed = trimmed
        self.pump, self.common = f"{name}.pump", f"{name}.common"
        self.reference, self.trim = f"{name}.reference", f"{name}.trim"

    def wires(self) -> tuple[Wire, ...]:
        """Cell wires against their common one; the trim line goes with the pump cell."""
        wires = [
            Wire(self.pump, "generator-signal", f"{self.pump}.cu"),
            Wire(self.common, "generator-return", f"{self.common}.cu"),
            Wire(self.reference, "generator-signal", f"{self.reference}.cu"),
        ]
        if self.trimmed:
            wires.append(Wire(self.trim, "generator-signal", f"{self.trim}.cu"))
        return tuple(wires)

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw the virtual ground, the bias of the other wires and both cells."""
        return {
            self.key("virtual"): even(rng, 2.25, 2.75),
            self.key("virtual ohm"): log_even(rng, 3.0, 150.0),
            self.key("nernst"): even(rng, 0.43, 0.47),
            self.key("cell ohm"): log_even(rng, 180.0, 450.0),
            self.key("cold ohm"): log_even(rng, 1e6, 1e9),
            self.key("pump ohm"): log_even(rng, 40.0, 200.0),
            self.key("hold"): log_even(rng, 8e3, 2e5),
            self.key("measuring"): even(rng, 55.0, 70.0),
            self.key("trim ohm"): log_even(rng, 25.0, 330.0),
            self.key("in series"): 0.0,
            self.key("across"): INF,
        }

    def quantities(self, values: Values, state: str, story: Story, rng: Random) -> dict[str, float]:
        """Draw the pump current, A, and whether the cell is hot."""
        del values, story
        running = state not in {"key-on", "crank", "sweep-low", "sweep-high"}
        return {
            self.key("hot"): float(running and rng.random() < 0.97),
            self.key("pump ampere"): even(rng, -4e-4, 4e-4) if running else 0.0,
            # Its own voltage between a lean or rich exhaust and the cell's chamber.
            self.key("pump emf"): float(rng.normal(0.0, 0.15)) if running else 0.0,
        }

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the virtual ground, the weak hold of each wire, the pump's drive."""
        common = f"{self.common}.cu"
        volt = values[self.key("virtual")] if now.awake else 0.0
        ohm = values[self.key("virtual ohm")] if now.awake else ASLEEP_OHM
        net.source(common, INNER, volt, ohm)
        for name in (self.pump, self.reference, *((self.trim,) if self.trimmed else ())):
            net.resistor(f"{name}.cu", common, values[self.key("hold")])
        hot = self.measured(values, now, "hot") > 0.5
        if now.awake and now.plugged and hot:
            ampere = now.quantities[self.key("pump ampere")]
            net.current(f"{self.pump}.cu", ampere)
            net.current(common, -ampere)
        if self.trimmed:
            net.resistor(f"{self.trim}.cu", f"{self.pump}.cu", values[self.key("measuring")])

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add both cells, and the trim resistor in the plug."""
        hot = self.measured(values, now, "hot") > 0.5
        cell = values[self.key("cell ohm" if hot else "cold ohm")]
        pump = values[self.key("pump ohm")] if hot else values[self.key("cold ohm")]
        middle, common = f"{self.name}.middle", f"{self.common}.s"
        net.resistor(f"{self.reference}.s", middle, values[self.key("in series")] + 0.02)
        net.source(middle, common, values[self.key("nernst")] if hot else 0.0, cell)
        net.resistor(middle, common, values[self.key("across")])
        emf = now.quantities.get(self.key("pump emf"), 0.0) if hot else 0.0
        net.source(f"{self.pump}.s", common, emf, pump)
        if self.trimmed:
            net.resistor(f"{self.trim}.s", f"{self.pump}.s", values[self.key("trim ohm")])

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Reference cell open or shorted."""
        del values
        w = (self.reference,)
        return (
            FaultOption("sensor-open", w, changed(**{self.key("in series"): OPEN_OHM})),
            FaultOption("sensor-shorted", w, set_to(self.key("across")), 0.3, 30.0),
        )
