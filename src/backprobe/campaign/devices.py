"""What is not a resistor: clamps, junctions, supplies that give up, output stages, transistors.

Each follows its textbook shape closely enough for the volts that a meter shows, with slopes that
Newton's method can follow. Currents count positive into the device at each node.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

Currents: TypeAlias = tuple[Sequence[float], Sequence[Sequence[float]]]

JUNCTION_SLOPE = 0.04  # V a factor e of current: a small silicon junction with its own resistance
JUNCTION_VOLT = 0.6  # V at one milliampere
STEEPEST_JUNCTION = 0.85  # V beyond which the junction is taken as straight
LEAN = 1e-4  # share of its slope that a limiter keeps beyond its limit; no real one is flat


def _limited(amperes: float, limit: float) -> tuple[float, float]:
    """Bend a current towards a limit; give it and its slope against the unlimited one."""
    ratio = amperes / limit
    root = math.sqrt(1.0 + ratio * ratio)
    return amperes / root + LEAN * amperes, 1.0 / root**3 + LEAN


def _softplus(x: float, width: float) -> tuple[float, float]:
    """max(x, 0) with a rounded corner, and its slope."""
    scaled = x / width
    if scaled > 30.0:
        return x, 1.0
    if scaled < -30.0:
        return width * math.exp(max(scaled, -600.0)), math.exp(max(scaled, -600.0))
    return width * math.log1p(math.exp(scaled)), 1.0 / (1.0 + math.exp(-scaled))


def _pair(ampere: float, siemens: float) -> Currents:
    return (ampere, -ampere), ((siemens, -siemens), (-siemens, siemens))


@dataclass(slots=True)
class Junction:
    """A diode from the first node to the second."""

    nodes: tuple[int, ...]
    volt: float = JUNCTION_VOLT

    def currents(self, volts: Sequence[float]) -> Currents:
        """Shockley's law, made straight far beyond the knee."""
        across = volts[0] - volts[1] - self.volt + JUNCTION_VOLT
        saturation = 1e-3 * math.exp(-JUNCTION_VOLT / JUNCTION_SLOPE)
        bent = min(max(across, -1.0), STEEPEST_JUNCTION)
        grown = saturation * math.exp(bent / JUNCTION_SLOPE)
        slope = grown / JUNCTION_SLOPE if across > -1.0 else 0.0
        ampere = grown - saturation + (slope * (across - bent) if across > bent else 0.0)
        return _pair(ampere, slope)


@dataclass(slots=True)
class Clamp:
    """Protection of an input: (input, upper rail, lower rail), a series resistance, two diodes."""

    nodes: tuple[int, ...]
    ohm: float

    def currents(self, volts: Sequence[float]) -> Currents:
        """Current flows into the rails once the input is half a volt beyond them."""
        up, up_slope = _softplus(volts[0] - volts[1] - 0.55, 0.03)
        down, down_slope = _softplus(volts[2] - volts[0] - 0.55, 0.03)
        siemens = 1.0 / self.ohm
        upper, lower = up * siemens, down * siemens
        a, b = up_slope * siemens, down_slope * siemens
        return (upper - lower, -upper, lower), ((a + b, -a, -b), (-a, a, 0.0), (-b, 0.0, b))


@dataclass(slots=True)
class Supply:
    """A regulator: (output, ground); gives up to `limit`, takes back up to `sink`, ampere."""

    nodes: tuple[int, ...]
    volt: float
    ohm: float
    limit: float
    sink: float

    def currents(self, volts: Sequence[float]) -> Currents:
        """Stiff near its voltage, a constant current beyond its limit."""
        wanted = (self.volt - (volts[0] - volts[1])) / self.ohm
        given, slope = _limited(wanted, self.limit if wanted > 0.0 else self.sink)
        return _pair(-given, slope / self.ohm)


@dataclass(slots=True)
class Consumer:
    """A sensor's own appetite: (supply, ground); nearly constant current above `full_volt`."""

    nodes: tuple[int, ...]
    ampere: float
    full_volt: float

    def currents(self, volts: Sequence[float]) -> Currents:
        """A resistance at little voltage, a constant current at full voltage."""
        wanted = 1.6 * self.ampere * (volts[0] - volts[1]) / self.full_volt
        taken, slope = _limited(wanted, self.ampere)
        return _pair(taken, slope * 1.6 * self.ampere / self.full_volt)


@dataclass(slots=True)
class OutputStage:
    """A sensor's driven output: (output, supply, ground).

    The wanted output stands `ratio` of the supply plus `volt` above the ground, kept `headroom`
    below the supply. Below `start_volt` of supply the stage lets go.
    """

    nodes: tuple[int, ...]
    ratio: float
    volt: float
    ohm: float
    source_limit: float
    sink_limit: float
    start_volt: float
    headroom: float = 0.05

    def currents(self, volts: Sequence[float]) -> Currents:
        """Limited drive towards the wanted output, from the supply or into the ground."""
        output, supply, ground = volts
        fed = supply - ground
        ideal = self.ratio * fed + self.volt
        excess, excess_slope = _softplus(ideal - (fed - self.headroom), 0.02)
        wanted = (ground + ideal - excess - output) / self.ohm
        limit = self.source_limit if wanted > 0.0 else self.sink_limit
        drive, drive_slope = _limited(wanted, limit)
        awake, awake_slope = _awake(fed, self.start_volt)
        by_output = -awake * drive_slope / self.ohm
        by_fed = self.ratio - excess_slope * (self.ratio - 1.0)
        by_supply = awake * drive_slope * by_fed / self.ohm + awake_slope * drive
        slopes = (by_output, by_supply, -by_output - by_supply)
        ampere = awake * drive
        none = (0.0, 0.0, 0.0)
        negative = tuple(-slope for slope in slopes)
        if ampere > 0.0:
            return (-ampere, ampere, 0.0), (negative, slopes, none)
        return (-ampere, 0.0, ampere), (negative, none, slopes)


@dataclass(slots=True)
class Transistor:
    """An open collector that is on: (collector, supply, emitter); `volt` left across it."""

    nodes: tuple[int, ...]
    volt: float
    ohm: float
    limit: float
    start_volt: float

    def currents(self, volts: Sequence[float]) -> Currents:
        """Sinks current while its sensor is fed; lets go below `start_volt` of supply."""
        collector, supply, emitter = volts
        over, over_slope = _softplus(collector - emitter - self.volt, 0.004)
        over -= _softplus(-self.volt, 0.004)[0]  # nothing flows where there is no voltage
        drive, drive_slope = _limited(over / self.ohm, self.limit)
        awake, awake_slope = _awake(supply - emitter, self.start_volt)
        by_collector = awake * drive_slope * over_slope / self.ohm
        by_supply = awake_slope * drive
        slopes = (by_collector, by_supply, -by_collector - by_supply)
        ampere = awake * drive
        negative = tuple(-slope for slope in slopes)
        return (ampere, 0.0, -ampere), (slopes, (0.0, 0.0, 0.0), negative)


def _awake(fed: float, start_volt: float) -> tuple[float, float]:
    """Share of a stage's drive that is there at a supply voltage, and its slope."""
    scaled = min(max((fed - start_volt) / 0.08, -40.0), 40.0)
    share = 1.0 / (1.0 + math.exp(-scaled))
    return share, share * (1.0 - share) / 0.08
