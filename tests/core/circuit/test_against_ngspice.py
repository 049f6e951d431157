"""Every circuit that the program knows, sound and with each fault, against ngspice.

Node voltages have to agree within 0.1 mV (the design's promise) at every node, in every state and
at every level of the switching elements. The decks are written from the families' netlists, the
program's answers come from compiled plans: neither sees the other's work.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import TypeVar

import numpy as np
import pytest
from numpy.typing import NDArray

from backprobe.core.circuit.plan import Mode
from backprobe.families.faults import faults_of
from backprobe.families.loader import load_families
from backprobe.families.schema import Family
from tests.core.circuit import ngspice
from tests.core.circuit.drawn_up import MOMENTS, Case, Subject, solve

Array = NDArray[np.float64]
T = TypeVar("T")

FAMILIES = load_families()
BY_ID = {family.id: family for family in FAMILIES}
SAME_VOLT = 1e-4
# An output that feeds its own sensor holds itself where it is, up or down.
TWO_ANSWERS = "air-mass-frequency-two-feeds-own-return, swapped:supply-regulated+sensor-ground"
SAME_OHM = 1e-5  # relative: ngspice solves in double precision, insulation beside contacts
# Generators that make an alternating voltage.
ALTERNATING = [f.id for f in FAMILIES if any("ac_volt" in e.parameters for e in f.elements)]

pytestmark = [pytest.mark.needs_ngspice, pytest.mark.slow]


def draw_from(options: Sequence[T], rng: np.random.Generator) -> T:
    return options[int(rng.integers(len(options)))]


def subjects_of(family: Family) -> list[list[Subject]]:
    """The family's circuits, those that switch alike together."""
    groups = defaultdict(list)
    for fault in faults_of(family):
        subject = Subject(family, fault)
        groups[len(subject.levels)].append(subject)
    return list(groups.values())


def compare(subjects: list[Subject], cases: list[list[Case]]) -> int:
    """Hold every node of every case against ngspice; how many found no region that fits."""
    found = solve(subjects, cases, every_node=True)
    points, ours, names = [], [], []
    for row, (subject, own) in enumerate(zip(subjects, cases, strict=True)):
        for number, case in enumerate(own):
            if found.settled[row, number]:
                nodes = subject.circuit.plan.node_names
                ours.append(dict(zip(nodes, found.voltage[row, number].tolist(), strict=False)))
                points.append(subject.point(case))
                names.append(f"{subject.name}, {case.mode.name.lower()}, levels {case.levels}")
    direct = ngspice.direct(points, ours)
    for name, point, mine, theirs in zip(names, points, ours, direct, strict=True):
        worst, apart = furthest(mine, theirs)
        if apart >= SAME_VOLT:  # beside eighty others it may end early: by itself
            worst, apart = furthest(mine, ngspice.direct([point], [mine])[0])
        if apart >= SAME_VOLT and name.startswith(TWO_ANSWERS):
            # Ours is one of them if Newton's method stays there.
            worst, apart = furthest(mine, ngspice.started(point, mine))
        assert apart < SAME_VOLT, f"{name}: {worst} {mine[worst]} V, ngspice {theirs[worst]} V"
    return int((~found.settled).sum())


def furthest(mine: Mapping[str, float], theirs: Mapping[str, float]) -> tuple[str, float]:
    """The node that differs most; nodes that nothing touches in a mode are not in the deck."""
    apart = {node: abs(mine[node] - volt) for node, volt in theirs.items() if node in mine}
    worst = max(apart, key=lambda node: apart[node])
    return worst, apart[worst]


@pytest.mark.parametrize("name", BY_ID)
def test_every_fault_in_every_state_with_central_values(name: str) -> None:
    undecided, fed = 0, any(len(e.nodes) > 2 for e in BY_ID[name].elements if e.kind == "contact")
    for subjects in subjects_of(BY_ID[name]):
        cases = [list(subject.central_cases()) for subject in subjects]
        undecided += compare(subjects, cases)
    # An open collector that pulls down its own supply has no steady state; nothing else may.
    assert undecided <= (16 if fed else 0)


@pytest.mark.parametrize("name", BY_ID)
def test_every_fault_with_values_drawn_from_their_priors(name: str) -> None:
    rng = np.random.default_rng([sum(name.encode()), 20])
    for subjects in subjects_of(BY_ID[name]):
        moments = [(*draw_from(MOMENTS, rng), draw_from(subjects[0].levels, rng)) for _ in range(2)]
        cases = [
            [Case(mode, level, subject.random(state, rng)) for mode, state, level in moments]
            for subject in subjects
        ]
        compare(subjects, cases)


@pytest.mark.parametrize("name", BY_ID)
def test_resistance_behind_each_wire(name: str) -> None:
    subject = Subject(BY_ID[name])
    wires = [wire.name for wire in BY_ID[name].wires]
    values = subject.central("key-on")
    cases = [Case(m, subject.levels[0], values) for m in (Mode.UNPLUGGED, Mode.PLUGGED)]
    thevenin = np.diagonal(solve([subject], [cases]).thevenin[0], axis1=1, axis2=2)
    points = [subject.point(case, wire) for case in cases for wire in wires]
    for point, ours, found in zip(
        points, thevenin.ravel(), ngspice.alternating(points), strict=True
    ):
        assert ours == pytest.approx(found[point.probe], rel=SAME_OHM), (point.probe, point.mode)


@pytest.mark.parametrize("name", ALTERNATING)
def test_alternating_volts(name: str) -> None:
    for subjects in subjects_of(BY_ID[name]):
        cases = [
            [Case(Mode.PLUGGED, level, subject.central("idle")) for level in subject.levels]
            for subject in subjects
        ]
        found = solve(subjects, cases, every_node=True)
        for row, (subject, own) in enumerate(zip(subjects, cases, strict=True)):
            nodes = subject.circuit.plan.node_names
            answers = ngspice.alternating([subject.point(case) for case in own])
            for number, theirs in enumerate(answers):
                ours = dict(zip(nodes, found.alternating[row, number].tolist(), strict=False))
                apart = [abs(ours[node] - theirs[node]) for node in ours if node in theirs]
                assert max(apart) < SAME_VOLT, subject.name
