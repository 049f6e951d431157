"""True values of what the program estimates, by the names of job-file format 1."""

from backprobe.campaign.circuit import Circuit
from backprobe.campaign.faulting import Fault
from backprobe.campaign.inputs import INF
from backprobe.campaign.readings import Bench, BlackLead, RoundState
from backprobe.campaign.temperature import Platinum, Thermistor
from backprobe.campaign.vehicle import TrueValue

GOOD_LEAD = BlackLead(0.001, 0.0)
UNLOADED = 1e12


def true_values(
    circuit: Circuit, fault: Fault, states: tuple[RoundState, ...], pins: dict[str, str]
) -> tuple[TrueValue, ...]:
    """Collect the true values of every round and terminal."""
    found: list[TrueValue] = []
    of_wire = {key: pin for pin, key in pins.items()}
    bench = Bench(circuit, UNLOADED)
    for state in states:
        if state.low is not None or not state.moment.awake:
            continue
        battery = bench.across_battery(state.moment)
        found.append(TrueValue("battery", state.name, "", battery))
        for pin, key in pins.items():
            found += _of_terminal(circuit, bench, state, pin, key)
        found += _of_thermistors(circuit, state, of_wire)
    found += _pull_ups(circuit, of_wire)
    if fault.name.startswith("resistance:"):
        found += [
            TrueValue("added resistance", "", of_wire[key], fault.severity) for key in fault.wires
        ]
    return tuple(found)


def _of_terminal(
    circuit: Circuit, bench: Bench, state: RoundState, pin: str, key: str
) -> list[TrueValue]:
    role = circuit.role(key)
    if role in {"not-used", "shield"}:
        return []
    levels = bench.levels(state.moment, GOOD_LEAD, key)
    name = "supply" if role.startswith("supply") else "signal"
    if role == "sensor-ground":
        name = "sensor ground offset"
    found = [TrueValue(name, state.name, pin, levels.mean())]
    strongest = levels.strongest()
    if strongest is not None and abs(strongest[1]) > 0.5 and name == "signal":
        toggle, swing = strongest
        share = toggle.share if swing > 0.0 else 1.0 - toggle.share
        found.append(TrueValue("duty", state.name, pin, share))
        found.append(TrueValue("frequency", state.name, pin, toggle.hertz))
    return found


def _of_thermistors(
    circuit: Circuit, state: RoundState, of_wire: dict[str, str]
) -> list[TrueValue]:
    found = []
    for block in circuit.blocks:
        if isinstance(block, Thermistor):
            celsius = block.measured(circuit.values, state.moment, "celsius")
            ohm = block.ohm(circuit.values, celsius)
            pin = of_wire[block.name]
            found.append(TrueValue("thermistor resistance", state.name, pin, ohm))
            found.append(TrueValue("thermistor temperature", state.name, pin, celsius))
    return found


def _pull_ups(circuit: Circuit, of_wire: dict[str, str]) -> list[TrueValue]:
    return [
        TrueValue("pull-up resistance", "", of_wire[block.name], ohm)
        for block in circuit.blocks
        if block.name in of_wire
        for ohm in (circuit.values.get(f"{block.name}.up", INF),)
        if ohm < 1e6
        and (isinstance(block, Thermistor | Platinum) or _is_switched(circuit, block.name))
    ]


def _is_switched(circuit: Circuit, key: str) -> bool:
    return circuit.role(key) in {"signal-switch", "signal-switching"}
