"""The choice of the next measurement on the two circuits that the literature on diagnosis uses.

Hypotheses are enumerated here: which components have failed, the output of a failed one being any
of a set of values alike. Nothing of that is in the program; what is tested is that its expected
information ranks measurements as the published method does.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import chain, combinations, product
from typing import TypeAlias

import numpy as np
import pytest
from numpy.typing import NDArray

from backprobe.core.inference.information import entropy, expected_information

Array: TypeAlias = NDArray[np.float64]
Names: TypeAlias = frozenset[str]
State: TypeAlias = dict[str, int]


@dataclass(frozen=True)
class Circuit:
    """Components in the order of signals, each with its output and rule, and what was observed."""

    components: tuple[tuple[str, str, Callable[[State], int]], ...]
    inputs: tuple[tuple[str, int], ...]
    observed: tuple[tuple[str, int], ...]
    values: range

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(name for name, _, _ in self.components)

    def outcomes(self, failed: Names) -> Iterable[State]:
        """All signals, for every combination of values that the failed components may put out."""
        broken = [name for name in self.names if name in failed]
        for values in product(self.values, repeat=len(broken)):
            given = dict(zip(broken, values, strict=True))
            state = dict(self.inputs)
            for name, output, rule in self.components:
                state[output] = given[name] if name in given else rule(state)
            yield state

    def explains(self, state: State) -> bool:
        return all(state[signal] == value for signal, value in self.observed)


# de Kleer and Williams, Artificial Intelligence 32 (1987): three multipliers, two adders.
# A failed output is one of 16 values (four bits), as in the check values of this project.
POLYBOX = Circuit(
    components=(
        ("M1", "X", lambda s: s["A"] * s["C"]),
        ("M2", "Y", lambda s: s["B"] * s["D"]),
        ("M3", "Z", lambda s: s["C"] * s["E"]),
        ("A1", "F", lambda s: s["X"] + s["Y"]),
        ("A2", "G", lambda s: s["Y"] + s["Z"]),
    ),
    inputs=(("A", 3), ("B", 2), ("C", 2), ("D", 3), ("E", 3)),
    observed=(("F", 10), ("G", 12)),
    values=range(16),
)

# Reiter, Artificial Intelligence 32 (1987): a full adder given 1, 0 and carry 1.
FULL_ADDER = Circuit(
    components=(
        ("X1", "x", lambda s: s["a"] ^ s["b"]),
        ("A1", "p", lambda s: s["a"] & s["b"]),
        ("X2", "sum", lambda s: s["x"] ^ s["c"]),
        ("A2", "q", lambda s: s["x"] & s["c"]),
        ("O1", "carry", lambda s: s["p"] | s["q"]),
    ),
    inputs=(("a", 1), ("b", 0), ("c", 1)),
    observed=(("sum", 1), ("carry", 0)),
    values=range(2),
)


def subsets(names: Iterable[str], largest: int | None = None) -> list[Names]:
    pool = tuple(names)
    sizes = range((len(pool) if largest is None else largest) + 1)
    return [frozenset(s) for s in chain.from_iterable(combinations(pool, k) for k in sizes)]


def minimal(sets: Iterable[Names]) -> set[Names]:
    found = list(sets)
    return {one for one in found if not any(other < one for other in found)}


def diagnoses(circuit: Circuit) -> set[Names]:
    """Smallest sets of failed components that explain what was observed."""
    # Three failures are enough: larger sets than the published ones would show up as extra answers.
    return minimal(
        failed
        for failed in subsets(circuit.names, 3)
        if any(circuit.explains(state) for state in circuit.outcomes(failed))
    )


def hitting_sets(sets: Iterable[Names], names: Iterable[str]) -> set[Names]:
    family = list(sets)
    return minimal(s for s in subsets(names) if all(s & one for one in family))


def hypotheses(
    circuit: Circuit, signals: tuple[str, ...], largest: int
) -> tuple[list[Names], Array, Array]:
    """Sets of failures, their weights, outcomes (signal, set, value) given each set.

    As in the publication a set that explains the observations keeps its prior, whatever the chance
    of just these observations, and a signal that it leaves open is spread over all its values.
    """
    sets, weights, tables = [], [], []
    for failed in subsets(circuit.names, largest):
        table = np.zeros((len(signals), 64))
        for state in circuit.outcomes(failed):
            if circuit.explains(state):
                for number, signal in enumerate(signals):
                    table[number, state[signal]] += 1.0
        if table.any():
            sets.append(failed)
            weights.append(0.01 ** len(failed) * 0.99 ** (len(circuit.names) - len(failed)))
            tables.append(table / table[0].sum())
    weight = np.array(weights)
    return sets, weight / weight.sum(), np.stack(tables, axis=1)


def names(*sets: str) -> set[Names]:
    return {frozenset(s.split()) for s in sets}


def test_polybox_has_its_published_diagnoses() -> None:
    assert diagnoses(POLYBOX) == names("A1", "M1", "A2 M2", "M2 M3")


def test_polybox_has_its_published_conflicts() -> None:
    # A conflict is a set of components that cannot all be sound: minimal conflicts and minimal
    # diagnoses are each other's minimal hitting sets (Reiter 1987, theorem 4.4).
    conflicts = hitting_sets(diagnoses(POLYBOX), POLYBOX.names)
    assert conflicts == names("A1 M1 M2", "A1 A2 M1 M3")
    for conflict in conflicts:
        others = frozenset(POLYBOX.names) - conflict
        assert not any(POLYBOX.explains(state) for state in POLYBOX.outcomes(others))
    assert hitting_sets(conflicts, POLYBOX.names) == diagnoses(POLYBOX)


def test_full_adder_has_its_published_diagnoses() -> None:
    assert diagnoses(FULL_ADDER) == names("X1", "X2 A2", "X2 O1")


@pytest.fixture(scope="module")
def polybox() -> tuple[list[Names], Array, Array]:
    # Failures of four and five components together weigh less than 1e-5.
    return hypotheses(POLYBOX, ("X", "Y", "Z"), 3)


def test_polybox_suspects_adder_and_multiplier_alike(
    polybox: tuple[list[Names], Array, Array],
) -> None:
    sets, weights, _ = polybox
    for suspect in ("A1", "M1"):
        failed = sum(w for one, w in zip(sets, weights, strict=True) if suspect in one)
        assert failed == pytest.approx(0.4976, abs=5e-5)


def test_polybox_measures_x_next(polybox: tuple[list[Names], Array, Array]) -> None:
    # de Kleer and Williams 1987 measure X; the gains were computed by an independent enumeration.
    _, weights, outcomes = polybox
    gains = expected_information(weights, outcomes)
    np.testing.assert_allclose(gains, [1.033, 0.081, 0.047], atol=0.01)
    assert gains[0] > gains[1] > gains[2]
    assert gains.max() <= entropy(weights)


def test_full_adder_measures_between_the_suspects() -> None:
    # With failures rare, the single failure X1 stands against pairs: the wire behind X1 tells most.
    sets, weights, outcomes = hypotheses(FULL_ADDER, ("x", "p", "q"), 5)
    gains = expected_information(weights, outcomes)
    assert np.argmax(gains) == 0
    assert sets[int(np.argmax(weights))] == frozenset({"X1"})
