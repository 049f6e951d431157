"""Circuit solutions per second, against ngspice on the same circuits."""

import shutil
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.evaluate import Evaluation, evaluate
from backprobe.core.circuit.plan import FIRST_SLOT, N_SWITCH, ONE_SLOT, Mode, stack_plans
from backprobe.families.circuit import FamilyCircuit, compile_family
from backprobe.families.loader import load_families
from backprobe.families.schema import Prior
from bench.decks import deck, solve
from bench.report import Measured, seconds_of

Array = NDArray[np.float64]

N_DRAW = 2000  # sets of values a circuit
N_DECK = 5  # of these also given to ngspice, a circuit
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


def ngspice_seconds(
    circuits: list[FamilyCircuit], values: Array, answer: Evaluation, folder: Path
) -> tuple[float, float, int]:
    """Seconds a circuit with one run of ngspice each, and with one run for all; how many agree."""
    alone, together, n_same = 0.0, 0.0, 0
    for h, circuit in enumerate(circuits):
        files = []
        for i in range(N_DECK):
            path = folder / f"{h}-{i}.cir"
            text = deck(circuit.plan, values[h, i], Mode.PLUGGED, (0,) * N_SWITCH)
            path.write_text(text, encoding="utf-8")
            files.append(path)
        n_terminal = len(circuit.plan.probe_nodes)
        found = solve(circuit.plan, files)
        difference = np.abs(found - answer.voltage[h, :N_DECK, :n_terminal]).max(axis=1)
        n_same += int((difference < SAME_VOLT).sum())
        together += seconds_of(lambda: solve(circuit.plan, files), 1)[0]  # noqa: B023 - run at once
        alone += seconds_of(lambda: solve(circuit.plan, files[:1]), N_DECK)[0]  # noqa: B023 - same
    n_deck = N_DECK * len(circuits)
    return alone / len(circuits), together / n_deck, n_same


def measure() -> list[Measured]:
    """The rows of the report."""
    circuits = [compile_family(family) for family in load_families()]
    table = stack_plans([circuit.plan for circuit in circuits])
    rng = np.random.default_rng(1)
    values = np.stack([values_of(circuit, table.n_value, rng) for circuit in circuits])
    mode = np.full(N_DRAW, int(Mode.PLUGGED))
    level = np.zeros((N_DRAW, N_SWITCH), dtype=np.int64)
    answer = evaluate(table, values, mode, level)
    ours = min(seconds_of(lambda: evaluate(table, values, mode, level), 3))
    ours /= N_DRAW * len(circuits)
    rows = [
        Measured(f"circuits solved, {len(circuits)} families", 1.0 / ours, "/s"),
    ]
    if shutil.which("ngspice") is None:
        return [*rows, Measured("times ngspice (not installed)", float("nan"), "x", least=1000.0)]
    with tempfile.TemporaryDirectory() as folder:
        alone, together, n_same = ngspice_seconds(circuits, values, answer, Path(folder))
    return [
        *rows,
        Measured("circuits solved by ngspice, one run each", 1.0 / alone, "/s"),
        Measured("times ngspice, one run each", alone / ours, "x", least=1000.0),
        Measured("times ngspice, one run for all", together / ours, "x"),
        Measured(
            "of these the same voltages within 0.1 mV",
            100.0 * n_same / (N_DECK * len(circuits)),
            "%",
            least=80.0,
        ),
    ]
