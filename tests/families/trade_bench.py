"""A family with textbook parts and perhaps a fault, and what a meter shows of it.

Parts are as a textbook draws them (5.00 V, short clean wires); a meter of 10 Mohm stands from the
wire to battery negative.
"""

from collections.abc import Mapping

from backprobe.core.circuit.evaluate import Evaluation
from backprobe.core.circuit.nodal import loaded_voltage
from backprobe.core.circuit.plan import Mode
from backprobe.families.fault_edits import LIFT_SHARE, PULLED_OHM
from backprobe.families.fault_electronics import BACKWARD, ONSET_VOLT, UPPER_JUNCTION
from backprobe.families.faults import HEALTHY, Fault, faults_of
from backprobe.families.loader import load_families
from tests.core.circuit.drawn_up import Case, Subject, solve

Known = Mapping[str, float | str]

FAMILIES = {family.id: family for family in load_families()}
METER = 10e6
BATTERY = 12.5
SHORT = 5.0  # ohm of two bare wires that touch; damp leaks through far more
GHOST = 0.35  # what a wire that nothing holds may show
IDEAL: dict[str, float | str] = {
    "battery-volts": BATTERY,
    "feed-loss": 0.0,
    "feed-ohm": 0.02,
    "inner-offset": 0.0,
    "rail-offset": 0.0,
    "rail-ohm": 0.005,
    "body-offset": 0.0,
    "vcc-volts": 5.0,
    "ref-volts": 5.0,
    "ref-ohm": 0.05,
    "ref-limit": 0.1,
    PULLED_OHM: 0.05,
    UPPER_JUNCTION: "none",  # a plain open collector
    "output.closed_volt": 0.0,  # of a field-effect transistor
    ONSET_VOLT: 0.05,  # a sensor that draws as a resistor does
    BACKWARD: "output",  # the wrong way round it conducts through its output
    LIFT_SHARE: 1.0,  # a lifted ground stands at the most that its fault's size says
    "cu-battery-loss": 0.0,
    "junction-volt": 0.5,  # with the tens of microampere that an input takes
}


class Bench:
    """A family with known parts and perhaps a fault, and what a meter shows of it."""

    def __init__(self, name: str, known: Known, fault: str = "", size: float | None = None) -> None:
        family = FAMILIES[name]
        self.wires = [wire.name for wire in family.wires]
        self.subject = Subject(family, chosen(name, fault) if fault else HEALTHY)
        values = self.subject.central("key-on")
        priors = self.subject.netlist.values
        for key, value in (IDEAL | dict(known)).items():
            if key in IDEAL and key not in values:
                continue
            assert key in values, key
            values[key] = (
                float(priors[key].choices.index(value)) if isinstance(value, str) else value
            )
        if size is None and fault.startswith("short-to-"):
            size = SHORT
        if size is not None:
            values["fault.severity"] = size
        self.values = values

    def at(self, plugged: bool, levels: tuple[int, ...]) -> Evaluation:
        mode = Mode.PLUGGED if plugged else Mode.UNPLUGGED
        return solve([self.subject], [[Case(mode, levels, self.values)]])

    def volts(
        self,
        wire: str,
        *,
        plugged: bool,
        levels: tuple[int, ...] | None = None,
        load: float = METER,
    ) -> float:
        """Volts on a wire at given levels (all at their low one unless told)."""
        own = levels if levels is not None else self.subject.levels[0]
        found, place = self.at(plugged, own), self.wires.index(wire)
        source = found.thevenin[0, 0, place, place]
        return float(loaded_voltage(found.voltage[0, 0, place], source, load))

    def mean(self, wire: str, share: float, *, plugged: bool = True) -> float:
        """What a DC meter shows of an element that is at its second level for a share."""
        low, high = (self.volts(wire, plugged=plugged, levels=(level,)) for level in (0, 1))
        return (1.0 - share) * low + share * high

    def unit(self, wire: str, *, levels: tuple[int, ...] | None = None) -> float:
        """Volts at the control unit's own end of a wire, plugged in."""
        own = levels if levels is not None else self.subject.levels[0]
        return float(self.at(True, own).unit_voltage[0, 0, self.wires.index(wire)])

    def behind(self, wire: str, *, plugged: bool) -> float:
        """Resistance that the wire is fed through, ohm."""
        place = self.wires.index(wire)
        return float(self.at(plugged, self.subject.levels[0]).thevenin[0, 0, place, place])


def chosen(name: str, text: str) -> Fault:
    """A fault by kind and wire ("open signal")."""
    kind, *wires = text.split()
    found = [f for f in faults_of(FAMILIES[name]) if f.kind == kind and set(f.wires) >= set(wires)]
    assert found, text
    return found[0]


def thermistor(
    ohm: float, pull_up: float = 2200.0, fault: str = "", size: float | None = None
) -> Bench:
    """A thermistor that has a resistance now, whatever its curve."""
    known: dict[str, float | str] = {"pull-up": pull_up, "pull-up-feed": "vcc"}
    known |= {"temperature": 25.0, "thermistor.ohm_25": ohm}
    return Bench("thermistor-two-wire", known, fault, size)
