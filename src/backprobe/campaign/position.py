"""Levers and what reads them: resistance tracks, electronic tracks, contacts."""

from backprobe.campaign.active import Active
from backprobe.campaign.block import (
    Block,
    FaultOption,
    Moment,
    ScanPort,
    Story,
    Toggle,
    Values,
    Wire,
    changed,
    set_to,
    stuck,
)
from backprobe.campaign.inputs import INF, add_input, draw_input
from backprobe.campaign.nodal import Netlist
from backprobe.campaign.rails import CU_BATTERY, INNER, OPEN_OHM, VCC
from backprobe.campaign.spreads import Random, chance, even, log_even, pick

CURVES = ("plain", "opposed", "half", "parallel")


class Lever(Block):
    """What is moved: a throttle plate, a pedal, a valve; 0 = rest, 1 = fully open."""

    def __init__(self, name: str, what: str) -> None:
        super().__init__(name)
        self.what = what

    def quantities(self, values: Values, state: str, story: Story, rng: Random) -> dict[str, float]:
        """Draw where it stands."""
        del values, story
        rest = even(rng, -0.004, 0.008)
        if self.what == "valve":
            rest = even(rng, 0.0, 0.7) if state in {"idle", "raised", "crank"} else rest
        if self.what == "throttle body" and state != "sweep-high":
            rest += even(rng, 0.0, 0.1)
        stands = {
            "raised": even(rng, 0.02, 0.12) if self.what != "pedal" else even(rng, 0.05, 0.2),
            "snap-high": even(rng, 0.35, 1.0),
            "sweep-high": even(rng, 0.94, 1.0),
        }
        return {self.key("stand"): stands.get(state, rest)}


def draw_curve(rng: Random, curve: str, name: str) -> dict[str, float]:
    """Draw the share of supply at rest and fully open."""
    closed, opened = even(rng, 0.07, 0.2), even(rng, 0.76, 0.96)
    if curve == "opposed":
        closed, opened = 1.0 - closed, 1.0 - opened
    elif curve == "half":
        closed, opened = closed / 2.0, opened / 2.0
    elif curve == "parallel":
        closed, opened = closed + even(rng, 0.06, 0.16), min(opened + 0.1, 0.97)
    elif chance(rng, 0.06):
        closed, opened = opened, closed  # some levers fall with travel
    return {f"{name}.closed": closed, f"{name}.opened": opened}


def draw_hold(rng: Random) -> tuple[float, float]:
    """Draw the pull resistors of a control unit's input: what it does to an open wire."""
    hold = pick(rng, (0.5, "down"), (0.38, "up"), (0.12, "none"))
    up = log_even(rng, 8e3, 1e6) if hold == "up" else INF
    down = log_even(rng, 3e4, 1.2e6) if hold == "down" else INF
    return up, down


class Track(Block):
    """A resistance track with a wiper on the signal wire."""

    def __init__(
        self, name: str, supply: str, ground: str, lever: str, curve: str = "plain"
    ) -> None:
        super().__init__(name)
        self.supply = supply
        self.ground = ground
        self.lever = lever
        self.curve = curve

    def wires(self) -> tuple[Wire, ...]:
        """The wiper's wire."""
        return (Wire(self.name, "signal-analogue", f"{self.name}.cu"),)

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw track, wiper, travel and input."""
        return {
            self.key("track"): log_even(rng, 700.0, 9e3),
            self.key("wiper"): log_even(rng, 5.0, 2.2e3),
            self.key("in series"): 0.0,
            self.key("across"): INF,
            self.key("shift"): 0.0,
            **draw_curve(rng, self.curve, self.name),
            **draw_input(rng, *draw_hold(rng), self.name),
        }

    def share(self, values: Values, now: Moment) -> float:
        """Where the wiper stands, as a share of the track from its ground end."""
        stand = now.quantities.get(f"{self.lever}.stand", 0.0)
        closed, opened = values[self.key("closed")], values[self.key("opened")]
        share = closed + stand * (opened - closed) + values[self.key("shift")]
        return min(max(values.get(f"stuck:{self.name}", share), 0.004), 0.996)

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the input."""
        del now
        add_input(net, values, self.name, f"{self.name}.cu")

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the track in two halves, and the wiper."""
        share, track = self.share(values, now), values[self.key("track")]
        wiper = f"{self.name}.wiper"
        net.resistor(f"{self.supply}.s", wiper, track * (1.0 - share))
        net.resistor(wiper, f"{self.ground}.s", track * share)
        net.resistor(
            wiper, f"{self.name}.s", values[self.key("wiper")] + values[self.key("in series")]
        )
        net.resistor(wiper, f"{self.ground}.s", values[self.key("across")])

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Wiper open, shorted to the return, stuck, worn; the input gone."""
        del values
        w = (self.name,)
        return (
            FaultOption("sensor-open", w, changed(**{self.key("in series"): OPEN_OHM})),
            FaultOption("sensor-shorted", w, set_to(self.key("across")), 0.3, 20.0),
            FaultOption("sensor-stuck", w, set_to(f"stuck:{self.name}"), 0.05, 0.95),
            FaultOption("sensor-drift", w, lambda s: {self.key("shift"): s - 1.0}, 0.65, 1.35),
            FaultOption(
                "control-unit-input",
                w,
                changed(**{self.key("up"): OPEN_OHM, self.key("down"): OPEN_OHM}),
            ),
        )

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """All three ends."""
        return (
            (self.supply, self.ground),
            (self.supply, self.name),
            (self.name, self.ground),
        )

    def scans(self) -> tuple[ScanPort, ...]:
        """Throttle position, from the first track only."""
        if self.curve != "plain":
            return ()
        return (
            ScanPort(
                "throttle position",
                self.name,
                lambda _, volts: min(max((volts / 5.0 - 0.1) * 125.0, 0.0), 100.0),
            ),
        )


class ElectronicTrack(Active):
    """A track without contact: a magnet and a chip that gives a share of its supply."""

    def __init__(
        self, name: str, supply: str, ground: str, fed_by: str, lever: str, curve: str = "plain"
    ) -> None:
        super().__init__(name, supply, ground, fed_by)
        self.lever = lever
        self.curve = curve

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw the chip, its travel and the input."""
        return {
            **self.draw_electronics(rng, log_even(rng, 0.003, 0.02), *draw_hold(rng)),
            self.key("shift"): 0.0,
            **draw_curve(rng, self.curve, self.name),
        }

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the input."""
        del now
        add_input(net, values, self.name, f"{self.name}.cu")

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the chip and its output."""
        self.add_electronics(net, values)
        stand = now.quantities.get(f"{self.lever}.stand", 0.0)
        closed, opened = values[self.key("closed")], values[self.key("opened")]
        share = closed + stand * (opened - closed) + values[self.key("shift")]
        share = min(max(values.get(f"stuck:{self.name}", share), 0.03), 0.97)
        self.add_stage(net, values, share, 0.0)

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Open, shorted, stuck, off its curve; the input gone."""
        del values
        w = (self.name,)
        return (
            *self.common_faults(),
            FaultOption("sensor-stuck", w, set_to(f"stuck:{self.name}"), 0.05, 0.95),
            FaultOption("sensor-drift", w, lambda s: {self.key("shift"): s - 1.0}, 0.65, 1.35),
            self.input_fault(),
        )


class Contact(Block):
    """A switch to the return below a pull-up: `moves` says when its contact changes.

    "lever" = closed at rest and open when the lever moves, "level" = it doesn't follow the engine,
    "pressure" = closed at rest, open with the engine running.
    """

    def __init__(self, name: str, ground: str, moves: str, lever: str = "") -> None:
        super().__init__(name)
        self.ground = ground
        self.moves = moves
        self.lever = lever

    def wires(self) -> tuple[Wire, ...]:
        """The switched wire."""
        return (Wire(self.name, "signal-switch", f"{self.name}.cu"),)

    def draw(self, rng: Random) -> dict[str, float]:
        """Draw pull-up (5 or 12 V), contact, coding resistors, and how it stands at rest."""
        coded = chance(rng, 0.08)
        return {
            **draw_input(rng, log_even(rng, 700.0, 1.2e4), INF, self.name),
            self.key("up to"): float(chance(rng, 0.35)),
            self.key("on"): log_even(rng, 0.02, 3.0) + (log_even(rng, 80.0, 900.0) if coded else 0),
            self.key("off"): log_even(rng, 900.0, 8e3) if coded else log_even(rng, 1e6, 1e10),
            self.key("closed"): float(rng.integers(2)) if self.moves == "level" else 1.0,
            self.key("in series"): 0.0,
            self.key("across"): INF,
        }

    def quantities(self, values: Values, state: str, story: Story, rng: Random) -> dict[str, float]:
        """Draw whether it is closed, 1, or open, 0."""
        del story, rng
        closed = values[self.key("closed")]
        if self.moves == "pressure" and state not in {"key-on", "crank"}:
            closed = 0.0
        if self.moves == "lever" and state in {"snap-high", "sweep-high", "raised"}:
            closed = 0.0
        return {self.key("closed"): closed}

    def toggles(self, values: Values, now: Moment) -> tuple[Toggle, ...]:
        """Contacts are at rest while a reading is taken."""
        del values, now
        return ()

    def control_unit(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the input with its pull-up."""
        rail = VCC
        if values[self.key("up to")] > 0.5:
            rail = CU_BATTERY if now.awake else INNER
        add_input(net, values, self.name, f"{self.name}.cu", rail)

    def sensor(self, net: Netlist, values: Values, now: Moment) -> None:
        """Add the contact."""
        closed = self.measured(values, now, "closed") > 0.5
        ohm = values[self.key("on" if closed else "off")] + values[self.key("in series")]
        net.resistor(f"{self.name}.s", f"{self.ground}.s", ohm)
        net.resistor(f"{self.name}.s", f"{self.ground}.s", values[self.key("across")])

    def faults(self, values: Values) -> tuple[FaultOption, ...]:
        """Never closes, never opens; burnt contacts; the pull-up gone."""
        w = (self.name,)
        on = values[self.key("on")]
        return (
            FaultOption("sensor-open", w, changed(**{self.key("in series"): OPEN_OHM})),
            FaultOption("sensor-shorted", w, set_to(self.key("across")), 0.1, 10.0),
            FaultOption("sensor-stuck", w, stuck(self.key("closed")), 0.0, 1.0),
            FaultOption("sensor-drift", w, lambda s: {self.key("on"): on + s}, 60.0, 5e3),
            FaultOption("control-unit-input", w, changed(**{self.key("up"): OPEN_OHM})),
        )

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Across the contact."""
        return ((self.name, self.ground),)
