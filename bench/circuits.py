"""Circuit solutions per second, against ngspice on the same circuits."""

import math
import shutil
import tempfile
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.evaluate import Evaluation, evaluate
from backprobe.core.circuit.plan import (
    FIRST_SLOT,
    N_SWITCH,
    ONE_SLOT,
    CircuitTable,
    Mode,
    stack_plans,
)
from backprobe.families.circuit import FamilyCircuit, compile_family
from backprobe.families.loader import load_families
from backprobe.families.schema import Prior
from bench.decks import deck, solve
from bench.report import Measured, least_seconds

Array = NDArray[np.float64]

N_DRAW = 2000  # sets of values a circuit
N_REPEAT = 4
N_DECK = 5  # of these also given to ngspice, a circuit
LEAST_RATIO = 1000.0
# In percent; the rest have an element at its limit or short of supply, which the decks leave out.
LEAST_SHARE = 90.0
SAME_VOLT = 1e-4  # V; the two must agree to 0.1 mV, or they did not solve the same circuit


def draw(prior: Prior, rng: np.random.Generator, size: int) -> Array:
    """Values of a prior; a choice among words gives the number of the word."""
    match prior.kind:
        case "fixed":
            return np.full(size, prior.a)
        case "normal":
            return rng.normal(prior.a, prior.b, size)
        case "uniform":
            return rng.uniform(prior.a, prior.b, size)
        case "log_uniform":
            return np.asarray(np.exp(rng.uniform(np.log(prior.a), np.log(prior.b), size)))
        case "log_normal":
            return np.asarray(prior.a * prior.b ** rng.normal(size=size))
        case "choice":
            number = rng.choice(len(prior.choices), size, p=prior.weights)
            return np.array(
                [i if isinstance(c, str) else c for i, c in enumerate(prior.choices)], dtype=float
            )[number]


def values_of(circuit: FamilyCircuit, n_slot: int, rng: np.random.Generator) -> Array:
    """Sets of values of one circuit by slot, shape (N_DRAW, n_slot), SI units."""
    values = np.zeros((N_DRAW, n_slot))
    values[:, ONE_SLOT] = 1.0
    for number, name in enumerate(circuit.slots, start=FIRST_SLOT):
        prior = circuit.values.get(name)
        values[:, number] = draw(prior or circuit.driven[name].prior("key-on"), rng, N_DRAW)
    return values


@dataclass(frozen=True)
class Batch:
    """One circuit with many sets of values: what both solvers get."""

    circuit: FamilyCircuit
    table: CircuitTable
    values: Array  # (1, N_DRAW, n_slot)

    def solve(self) -> Evaluation:
        """Solve all, plugged in with the key on, switching elements at their low level."""
        mode = np.full(N_DRAW, int(Mode.PLUGGED))
        level = np.zeros((N_DRAW, N_SWITCH), dtype=np.int64)
        return evaluate(self.table, self.values, mode, level)


def batches() -> list[Batch]:
    """Every family's sound circuit."""
    rng = np.random.default_rng(1)
    found = []
    for family in load_families():
        circuit = compile_family(family)
        table = stack_plans([circuit.plan])
        found.append(Batch(circuit, table, values_of(circuit, table.n_value, rng)[None]))
    return found


def ngspice_seconds(batch_list: list[Batch], folder: Path) -> tuple[float, float, int]:
    """Seconds a circuit with one run of ngspice each, and with one run for all; how many agree."""
    alone, together, n_same = 0.0, 0.0, 0
    for number, batch in enumerate(batch_list):
        plan = batch.circuit.plan
        files = []
        for i in range(N_DECK):
            path = folder / f"{number}-{i}.cir"
            text = deck(plan, batch.values[0, i], Mode.PLUGGED, (0,) * N_SWITCH)
            path.write_text(text, encoding="utf-8")
            files.append(path)
        difference = np.abs(solve(plan, files) - batch.solve().voltage[0, :N_DECK]).max(axis=1)
        n_same += int((difference < SAME_VOLT).sum())
        together += least_seconds(partial(solve, plan, files), N_REPEAT) / N_DECK
        alone += least_seconds(partial(solve, plan, files[:1]), N_REPEAT)
    return alone / len(batch_list), together / len(batch_list), n_same


def measure() -> list[Measured]:
    """The rows of the report."""
    batch_list = batches()
    ours = sum(least_seconds(batch.solve, N_REPEAT) for batch in batch_list)
    ours /= N_DRAW * len(batch_list)
    rows = [Measured(f"circuits solved, {len(batch_list)} families", 1.0 / ours, "/s")]
    if shutil.which("ngspice") is None:
        return [*rows, Measured("times ngspice (not installed)", math.nan, "x", least=LEAST_RATIO)]
    with tempfile.TemporaryDirectory() as folder:
        alone, together, n_same = ngspice_seconds(batch_list, Path(folder))
    share = 100.0 * n_same / (N_DECK * len(batch_list))
    return [
        *rows,
        Measured("circuits solved by ngspice, one run each", 1.0 / alone, "/s"),
        Measured("times ngspice, one run each", alone / ours, "x", least=LEAST_RATIO),
        Measured("times ngspice, one run for five", together / ours, "x"),
        Measured("of these the same voltages within 0.1 mV", share, "%", least=LEAST_SHARE),
    ]
