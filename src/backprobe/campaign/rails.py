"""What every control unit shares: battery, switched feed, inner supplies and grounds."""

from backprobe.campaign.block import Block, FaultOption, Moment, Story, Values, Wire
from backprobe.campaign.devices import Consumer, Supply
from backprobe.campaign.nodal import Netlist
from backprobe.campaign.spreads import Random, chance, even, log_even, pick

# Node names that wires start from.
FEED, VCC, REF, REF_B, REF_8 = "feed", "vcc", "ref", "ref-b", "ref-8"
CU_BATTERY = "cu-battery"  # battery voltage inside the control unit, behind its protection
INNER, RAIL, BODY = "cu-inner", "cu-ground", "body"
OPEN_OHM = 1e13
SENSOR_AMPERE = 0.05  # more than any sensor here takes of a regulated supply


class Rails(Block):
    """Battery, feed, battery voltage, 5 V and 8 V of the control unit, sensor ground rail, body."""

    def __init__(self, outputs: tuple[str, ...] = (REF,)) -> None:
        super().__init__("rails")
        self.outputs = outputs

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw rails: some sag, some are shared with many other sensors."""
        values = {
            "rails.feed.ohm": log_even(rng, 0.01, 0.2),
            "rails.feed.drop": even(rng, 0.0, 0.35),
            "rails.feed.asleep": log_even(rng, 3.0, 3e3),
            "rails.vcc.volt": even(rng, 4.92, 5.08),
            "rails.vcc.asleep": log_even(rng, 200.0, 3e4),
            "rails.ground.ohm": log_even(rng, 0.003, 0.15),
            "rails.body.ohm": log_even(rng, 0.002, 0.05),
            "rails.short is permanent": float(chance(rng, 0.5)),
            "rails.lift": 0.0,
            "rails.lift.whole": float(chance(rng, 0.15)),
            "rails.lift.ampere": log_even(rng, 2.0, 40.0),
            **_battery_habits(rng.spawn(1)[0]),
        }
        for name in self.outputs:
            volt = even(rng, 7.3, 10.2) if name == REF_8 else even(rng, 4.86, 5.13)
            ohm, spare = log_even(rng, 0.05, 2.5), log_even(rng, 0.01, 0.5)
            sink, others = log_even(rng, 2e-4, 0.03), log_even(rng, 1e-4, 0.03)
            values |= {
                f"rails.{name}.volt": volt,
                f"rails.{name}.ohm": ohm,
                f"rails.{name}.limit": others + SENSOR_AMPERE + spare,
                f"rails.{name}.sink": sink,
                f"rails.{name}.others": others,
                f"rails.{name}.asleep": log_even(rng, 300.0, 5e4),
                f"rails.{name}.weak": float(chance(rng, 0.5)),
                f"rails.{name}.low": 0.0,
            }
        return values

    def quantities(self, values: Values, state: str, story: Story, rng: Random) -> dict[str, float]:
        """Draw ground offsets: more current flows once the engine runs."""
        del values, story
        busy = 1.0 if state == "key-on" else 1.6
        return {
            "rails.inner": even(rng, 0.0, 0.03 * busy),
            "rails.offset": even(rng, -0.002, 0.012 * busy),
            "rails.body": even(rng, -0.01, 0.025 * busy),
        }

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add battery, feed, regulators and grounds."""
        q = now.quantities
        net.source("battery", "battery-", now.battery, 0.008)
        net.expect("battery", now.battery)
        whole = values["rails.lift.whole"] > 0.5
        lift, lift_ohm = lifted_by(values, values["rails.lift"], now)
        # Without current nothing is lifted: asleep, all grounds are one within a millivolt.
        busy = 1.0 if now.awake else 0.02
        inner = busy * q.get("rails.inner", 0.0) + (lift if whole else 0.0)
        net.source(INNER, "battery-", inner, 0.004 + (lift_ohm if whole else 0.0))
        rail = busy * q.get("rails.offset", 0.0) + (0.0 if whole else lift)
        rail_ohm = values["rails.ground.ohm"] + (0.0 if whole else lift_ohm)
        net.source(RAIL, INNER, rail, rail_ohm)
        net.source(BODY, "battery-", busy * q.get("rails.body", 0.0), values["rails.body.ohm"])
        self._battery_inside(net, values, now)
        inside = values["rails.vcc.volt"]
        if now.awake:
            volt = min(inside, max(now.battery - 0.7, 0.0))
            net.expect(VCC, volt)
            net.add(Supply((net.node(VCC), net.node(INNER)), volt, 0.15, 0.3, 0.05))
        else:
            net.resistor(VCC, INNER, values["rails.vcc.asleep"])
        for name in self.outputs:
            self._output(net, values, now, name)

    @staticmethod
    def _battery_inside(net: Netlist, values: Values, now: Moment) -> None:
        turns = now.running or now.cranking
        for node, part, is_on in (
            (FEED, "rails.feed", turns or values["rails.feed.waits"] < 0.5),
            (CU_BATTERY, "rails.protection", True),
        ):
            if now.awake and is_on:
                net.expect(node, now.battery - values[f"{part}.drop"])
                net.source(node, "battery", -values[f"{part}.drop"], values[f"{part}.ohm"])
            else:
                net.resistor(node, "battery-", values["rails.feed.asleep"])

    @staticmethod
    def _output(net: Netlist, values: Values, now: Moment, name: str) -> None:
        if not now.awake:
            net.resistor(name, INNER, values[f"rails.{name}.asleep"])
            return
        nodes = (net.node(name), net.node(INNER))
        volt = min(values[f"rails.{name}.volt"], max(now.battery - 0.9, 0.0))
        limit = values[f"rails.{name}.limit"]
        remaining = values[f"rails.{name}.low"]
        ohm = values[f"rails.{name}.ohm"]
        if remaining and values[f"rails.{name}.weak"] > 0.5:
            volt, ohm = volt * remaining, ohm + 5.0
        elif remaining:
            # Another branch takes all that the regulator gives.
            net.resistor(name, "battery-", max(volt * remaining / limit, 0.05))
        net.expect(name, volt)
        net.add(Supply(nodes, volt, ohm, limit, values[f"rails.{name}.sink"]))
        net.add(Consumer((net.node(name), net.node(RAIL)), values[f"rails.{name}.others"], 4.0))


def _battery_habits(rng: Random) -> dict[str, float]:
    """Draw what differs from maker to maker: when the feed is on, what protects the control unit.

    Also by how much more current returns through a bad ground path once the engine runs. Drawn
    aside, so that all else of a vehicle is what it is without them.
    """
    return {
        "rails.feed.waits": float(chance(rng, 0.07)),  # until the engine turns
        "rails.protection.drop": pick(rng, (0.6, even(rng, 0.0, 0.15)), (0.4, even(rng, 0.3, 1.3))),
        "rails.protection.ohm": log_even(rng, 0.02, 0.3),
        "rails.lift.running": even(rng, 1.0, 2.2),
    }


def lifted_by(values: Values, lift: float, now: Moment) -> tuple[float, float]:
    """Volts that others' current lifts a ground by, and the resistance of its bad path.

    ``lift`` is that with the key on, V; the sensor's own current adds to it.
    """
    busy = values["rails.lift.running"] if now.running else 1.0
    return (lift * busy if now.awake else 0.0), lift / values["rails.lift.ampere"]


class SupplyWire(Block):
    """A wire that feeds the sensor from one of the rails."""

    def __init__(self, name: str, to: str) -> None:
        super().__init__(name)
        self.to = to

    def wires(self) -> tuple[Wire, ...]:
        """One wire, from the feed or a regulator."""
        role = "supply-battery" if self.to == FEED else "supply-regulated"
        return (Wire(self.name, role, self.to),)

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """A regulated supply may be low although its wire is sound."""
        del values
        if self.to == FEED:
            return ()

        def low(severity: float) -> dict[str, float]:
            return {f"rails.{self.to}.low": severity}

        return (FaultOption("supply-low", (self.name,), low, 0.04, 0.92),)


class ReturnWire(Block):
    """A wire that returns the sensor's current to the control unit or to the body."""

    def __init__(self, name: str, to: str = RAIL) -> None:
        super().__init__(name)
        self.to = to

    def wires(self) -> tuple[Wire, ...]:
        """One wire to the sensor ground rail or the body."""
        to = RAIL if self.to == RAIL else f"{self.name}.earth"
        return (Wire(self.name, "sensor-ground", to),)

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw the resistance of the bolt that a body return ends at."""
        return {self.key("bolt"): log_even(rng, 0.001, 0.05), self.key("lift"): 0.0}

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Tie a body return to the body."""
        if self.to != RAIL:
            lift, path_ohm = lifted_by(values, values[self.key("lift")], now)
            net.source(f"{self.name}.earth", BODY, lift, values[self.key("bolt")] + path_ohm)

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """The rail itself may stand above battery negative."""
        del values
        if self.to == RAIL:
            return (
                FaultOption("ground-lifted", (self.name,), lambda s: {"rails.lift": s}, 0.06, 2.5),
            )

        def lifted(severity: float) -> dict[str, float]:
            return {f"{self.name}.lift": severity}

        return (FaultOption("ground-lifted", (self.name,), lifted, 0.06, 2.5),)


class UnusedWire(Block):
    """A cavity with nothing on it, or a wire that ends nowhere."""

    def wires(self) -> tuple[Wire, ...]:
        """One wire that goes nowhere."""
        return (Wire(self.name, "not-used", f"{self.name}.nowhere"),)


class ShieldWire(Block):
    """The screen of a cable, joined to ground at the control unit's end only."""

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw whether it ends at the inner ground, the rail or the body."""
        return {self.key("end"): pick(rng, (0.5, 0.0), (0.3, 1.0), (0.2, 2.0))}

    def wires(self) -> tuple[Wire, ...]:
        """One wire, through its own short lead to a ground."""
        return (Wire(self.name, "shield", f"{self.name}.cu"),)

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Tie the screen to its ground."""
        del now
        end = (INNER, RAIL, BODY)[int(values[self.key("end")])]
        net.resistor(f"{self.name}.cu", end, 0.05)
