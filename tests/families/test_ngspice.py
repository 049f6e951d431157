"""Every family's sound circuit, in each of its variants, as ngspice solves it from the file."""

from collections.abc import Iterator, Mapping
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from backprobe.core.circuit.evaluate import evaluate
from backprobe.core.circuit.plan import FIRST_SLOT, N_SWITCH, ONE_SLOT, Mode, stack_plans
from backprobe.families.circuit import compile_family
from backprobe.families.element_kinds import is_switching
from backprobe.families.fault_electronics import BACK_FEED, LOWER_JUNCTION
from backprobe.families.faults import HEALTHY, Fault, faults_of
from backprobe.families.loader import load_families
from backprobe.families.schema import Family, Prior
from tests.families import spice_deck
from tests.families.spice_deck import Deck, solve

FAMILIES = load_families()
SAME_VOLT = 1e-4  # what the design asks for; ngspice's own relative tolerance is far below it
STATES = ("key-on", "idle")
JUNCTIONS = {LOWER_JUNCTION: "there", BACK_FEED: "taken"}  # as the decks have them


def middle(prior: Prior, option: int = -1) -> float:
    """The middle of a prior; of a choice the last one, so that contacts are closed."""
    if prior.kind == "uniform":
        return (prior.a + prior.b) / 2
    if prior.kind == "log_uniform":
        return float(np.sqrt(prior.a * prior.b))
    if prior.kind == "choice":
        place = range(len(prior.choices))[option]
        return float(place if isinstance(prior.choices[place], str) else prior.choices[place])
    return prior.a


def has_words(prior: Prior) -> bool:
    return bool(prior.choices) and isinstance(prior.choices[0], str)


def numbers(family: Family, state: str, option: int = -1) -> dict[str, float]:
    static = {name: middle(p) for name, p in family.values.items() if not has_words(p)}
    return static | {name: middle(d.prior(state), option) for name, d in family.driven.items()}


def options(family: Family) -> tuple[int, ...]:
    """Both ends of a driven choice, where a circuit differs with it: a resistance, a relay."""
    asked = {e.only_if[0] for e in family.elements if e.only_if is not None}
    differing = [d for name, d in family.driven.items() if d.unit == "ohm" or name in asked]
    return (0, -1) if any(d.prior("key-on").kind == "choice" for d in differing) else (-1,)


def variants(family: Family) -> Iterator[Mapping[str, str]]:
    """Every combination of the family's choices of words."""
    choices = {
        name: [str(word) for word in prior.choices]
        for name, prior in family.values.items()
        if has_words(prior)
    }
    for words in product(*choices.values()):
        yield dict(zip(choices, words, strict=True))


def cases(family: Family) -> list[Deck]:
    switching = [e.name for e in family.elements if is_switching(e.kind, e.parameters)]
    return [
        Deck(family, driven, words, dict(zip(switching, levels, strict=True)), on)
        for driven in (numbers(family, s, option) for s in STATES for option in options(family))
        for words in variants(family)
        for levels in product((0, 1), repeat=len(switching))
        for on in (False, True)
    ]


def own_answer(family: Family, decks: list[Deck], fault: Fault = HEALTHY) -> NDArray[np.float64]:
    """The program's voltages for the same cases, (n_case, n_wire)."""
    circuit = compile_family(family, fault)
    table = stack_plans([circuit.plan])
    values = np.zeros((1, len(decks), table.n_value))
    values[..., ONE_SLOT] = 1.0
    level = np.zeros((len(decks), N_SWITCH), dtype=np.int64)
    mode = np.array([int(Mode.PLUGGED if deck.plugged else Mode.UNPLUGGED) for deck in decks])
    for number, deck in enumerate(decks):
        level[number, : len(deck.levels)] = list(deck.levels.values())
        for slot, name in enumerate(circuit.slots, start=FIRST_SLOT):
            if name in deck.words:
                value = float(family.values[name].choices.index(deck.words[name]))
            elif name in deck.values:
                value = deck.values[name]
            elif name in JUNCTIONS:
                value = float(circuit.values[name].choices.index(JUNCTIONS[name]))
            else:  # a wire's own copy of what every wire has, or a fault's size
                value = middle(circuit.values[name])
            values[0, number, slot] = value
    return np.asarray(evaluate(table, values, mode, level).voltage[0])


@pytest.mark.needs_ngspice
@pytest.mark.parametrize("n_wire", [2, 3, 4, 5, 6])
def test_every_sound_circuit_is_solved_as_ngspice_solves_it(n_wire: int, tmp_path: Path) -> None:
    families = [family for family in FAMILIES if len(family.wires) == n_wire]
    of_family = [cases(family) for family in families]
    expected = solve([deck for decks in of_family for deck in decks], tmp_path)
    start = 0
    for family, decks in zip(families, of_family, strict=True):
        wanted = np.array(expected[start : start + len(decks)])
        start += len(decks)
        found = own_answer(family, decks)
        worst = np.abs(found - wanted).max()
        assert worst < SAME_VOLT, f"{family.id}: {worst:.2g} V"


PLACES = {
    "open": "series",
    "resistance": "series",
    "sensor-open": "contact",
    "short-to-ground": "body",
    "short-to-battery": "battery",
}


def faulty_case(family: Family, fault: Fault) -> Deck:
    """A fault of a wire, plugged, with the key on and every contact closed."""
    size = middle(compile_family(family, fault).values["fault.severity"])
    edit = spice_deck.Fault(fault.wire, size, PLACES[fault.kind])
    switching = [e.name for e in family.elements if is_switching(e.kind, e.parameters)]
    words = next(iter(variants(family)))
    levels = dict.fromkeys(switching, 1)
    return Deck(family, numbers(family, "key-on"), words, levels, True, edit)


@pytest.mark.needs_ngspice
@pytest.mark.parametrize("n_wire", [2, 3, 4, 5, 6])
def test_broken_and_shorted_wires_are_solved_as_ngspice_solves_them(
    n_wire: int, tmp_path: Path
) -> None:
    pairs = [
        (family, fault)
        for family in FAMILIES
        if len(family.wires) == n_wire
        for fault in faults_of(family)
        if fault.kind in PLACES
    ]
    decks = [faulty_case(family, fault) for family, fault in pairs]
    for (family, fault), deck, wanted in zip(pairs, decks, solve(decks, tmp_path), strict=True):
        worst = np.abs(own_answer(family, [deck], fault)[0] - np.array(wanted)).max()
        assert worst < SAME_VOLT, f"{family.id}, {fault.name} {fault.wire}: {worst:.2g} V"
