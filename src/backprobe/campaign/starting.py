"""Whether the engine of a simulated vehicle starts: not without its crankshaft's signal."""

from dataclasses import replace

from backprobe.campaign.generators import Inductive
from backprobe.campaign.readings import Bench, BlackLead, Levels
from backprobe.campaign.switching import Hall
from backprobe.campaign.vehicle import Simulation

CRANKING_RPM = 220.0
CRANKING_VOLT = 10.0
LEAST_SWING = 2.0  # V that a logic input has to be moved by
LEAST_ALTERNATING = 0.3  # V peak to peak that a pick-up's input wakes up at


def engine_starts(simulation: Simulation) -> bool:
    """Whether what the starter turns is seen at the control unit's input.

    Only a crankshaft sensor keeps the engine from starting; without a camshaft's it starts late.
    """
    blocks = simulation.circuit.blocks
    pick_ups = [block for block in blocks if isinstance(block, Inductive)]
    halls = [block for block in blocks if isinstance(block, Hall) and not block.cam]
    return all(
        _swing(simulation, f"{block.plus}.cu", f"{block.minus}.cu") >= LEAST_ALTERNATING
        for block in pick_ups
    ) and all(_swing(simulation, f"{block.name}.cu") >= LEAST_SWING for block in halls)


def _swing(simulation: Simulation, node: str, other: str = "") -> float:
    """How far a node of the control unit is moved, against its other one, while cranked, V."""
    bench = Bench(simulation.circuit, 1e9)
    now = replace(
        simulation.states[0].moment,
        plugged=True,
        awake=True,
        running=False,
        cranking=True,
        rpm=CRANKING_RPM,
        battery=CRANKING_VOLT,
    )
    first = _moved(bench.levels(now, BlackLead(), node))
    return abs(first - _moved(bench.levels(now, BlackLead(), other))) if other else abs(first)


def _moved(levels: Levels) -> float:
    """Change of the volts by the toggle that moves them most, V."""
    strongest = levels.strongest()
    return strongest[1] if strongest is not None else 0.0
