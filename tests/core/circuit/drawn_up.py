"""Families' circuits with known values, ready for the program's solver and for another one.

A `Subject` is a family with a fault: its netlist (for ngspice) and its compiled circuit (for the
program), and cases of it: mode, levels of its switching elements, and values by name.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.evaluate import Evaluation, evaluate
from backprobe.core.circuit.plan import FIRST_SLOT, N_SWITCH, ONE_SLOT, Mode, stack_plans
from backprobe.families.circuit import FamilyCircuit, compile_family
from backprobe.families.element_kinds import is_switching
from backprobe.families.fault_edits import apply_fault
from backprobe.families.faults import HEALTHY, Fault
from backprobe.families.netlist import Netlist, netlist_of
from backprobe.families.schema import STATES, Family, Prior, options_of
from tests.core.circuit.ngspice import Point

Array = NDArray[np.float64]

# Every mode and state that a technician measures in; with the key off nothing is driven.
MOMENTS = (
    (Mode.UNPLUGGED, "key-on"),
    *((Mode.PLUGGED, state) for state in STATES),
    (Mode.UNPLUGGED_OFF, "key-on"),
)


def middle(prior: Prior) -> float:
    """The middle of a prior; of a choice the most common option (its number, where words)."""
    if prior.kind == "uniform":
        return (prior.a + prior.b) / 2
    if prior.kind == "log_uniform":
        return float(np.sqrt(prior.a * prior.b))
    if prior.kind == "choice":
        weights = prior.weights or (1.0,)
        return _option(prior, int(np.argmax(weights)))
    return prior.a


def drawn(prior: Prior, rng: np.random.Generator) -> float:
    """A value drawn from a prior."""
    if prior.kind == "uniform":
        return float(rng.uniform(prior.a, prior.b))
    if prior.kind == "log_uniform":
        return float(np.exp(rng.uniform(np.log(prior.a), np.log(prior.b))))
    if prior.kind == "normal":
        return float(rng.normal(prior.a, prior.b))
    if prior.kind == "log_normal":
        return float(prior.a * prior.b ** rng.normal())
    if prior.kind == "choice":
        return _option(prior, int(rng.choice(len(prior.choices), p=prior.weights or None)))
    return prior.a


def _option(prior: Prior, number: int) -> float:
    chosen = prior.choices[number]
    return float(number) if isinstance(chosen, str) else float(chosen)


@dataclass(frozen=True)
class Case:
    """One circuit in one mode with one set of values."""

    mode: Mode
    levels: tuple[int, ...]
    values: Mapping[str, float]


class Subject:
    """A family with a fault, drawn up both ways."""

    def __init__(self, family: Family, fault: Fault = HEALTHY) -> None:
        self.name = f"{family.id}, {fault.name} {fault.wire}".strip()
        self.netlist: Netlist = netlist_of(family)
        apply_fault(self.netlist, fault)
        self.circuit: FamilyCircuit = compile_family(family, fault)
        switching = [e for e in self.netlist.elements if is_switching(e.kind, e.parameters)]
        self.levels = list(product((0, 1), repeat=len(switching)))

    def central(self, state: str) -> dict[str, float]:
        """Values in the middle of their priors in a state."""
        static = {name: middle(prior) for name, prior in self.netlist.values.items()}
        moved = {name: middle(d.prior(state)) for name, d in self.netlist.driven.items()}
        return self._bounded(static | moved)

    def random(self, state: str, rng: np.random.Generator) -> dict[str, float]:
        """Values drawn from their priors in a state."""
        static = {name: drawn(prior, rng) for name, prior in self.netlist.values.items()}
        moved = {name: drawn(d.prior(state), rng) for name, d in self.netlist.driven.items()}
        return self._bounded(static | moved)

    def _bounded(self, values: dict[str, float]) -> dict[str, float]:
        """Shares within 0 and 1, as the program keeps them."""
        shares = {name for name, d in self.netlist.driven.items() if d.unit == "share"}
        return {n: min(max(v, 0.0), 1.0) if n in shares else v for n, v in values.items()}

    def words(self, values: Mapping[str, float]) -> dict[str, str]:
        """Options that an element may depend on, by the name of their choice."""
        chosen = {
            name: str(prior.choices[int(values[name])])
            for name, prior in self.netlist.values.items()
            if prior.choices and isinstance(prior.choices[0], str)
        }
        numbers = {n: f"{values[n]:g}" for n, d in self.netlist.driven.items() if options_of(d)}
        return chosen | numbers

    def central_cases(self) -> Iterator[Case]:
        """Every mode and state at every level, with central values."""
        for mode, state in MOMENTS:
            values = self.central(state)
            levels = self.levels if mode != Mode.UNPLUGGED_OFF else self.levels[:1]
            for level in levels:
                yield Case(mode, level, values)

    def point(self, case: Case, probe: str = "") -> Point:
        """A case for ngspice."""
        words = self.words(case.values)
        return Point(self.netlist, case.values, words, case.mode, case.levels, probe)


def solve(
    subjects: Sequence[Subject], cases: Sequence[Sequence[Case]], *, every_node: bool = False
) -> Evaluation:
    """The program's answers for cases of some subjects, as many cases each, in one batch.

    With ``every_node`` all nodes of the plan are read in place of the probe points.
    """
    plans = [subject.circuit.plan for subject in subjects]
    if every_node:
        nodes = [tuple(range(1, len(plan.node_names) + 1)) for plan in plans]
        pairs = zip(plans, nodes, strict=True)
        plans = [replace(plan, probe_nodes=n, unit_nodes=n) for plan, n in pairs]
    table = stack_plans(plans)
    values = np.zeros((len(subjects), len(cases[0]), table.n_value))
    values[..., ONE_SLOT] = 1.0
    for row, (subject, own) in enumerate(zip(subjects, cases, strict=True)):
        for slot, name in enumerate(subject.circuit.slots, start=FIRST_SLOT):
            values[row, :, slot] = [case.values[name] for case in own]
    level = np.zeros((len(cases[0]), N_SWITCH), dtype=np.int64)
    for number, case in enumerate(cases[0]):
        level[number, : len(case.levels)] = case.levels
    mode = np.array([int(case.mode) for case in cases[0]])
    return evaluate(table, values, mode, level)
