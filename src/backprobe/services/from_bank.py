"""Fits that start from particles of the bank, most of which are given up after a step.

How near a particle is to the readings says little of where its fit will end; where it is after one
step says more.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import permutations, product

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.fit import Fit, fit
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.screen import best_of_each
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench
from backprobe.services.fits import refined, score, start_z
from backprobe.vocabulary import NO_FAULT

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

# A start from the bank shows after a step or two what it is worth; then the better ones are fitted.
# Factors on the uncertainties in these steps: a start is far from some readings.
ONE_STEP, TWO_STEPS = (40.0,), (40.0, 4.0)
AFTER_STEPS = 3
N_SIFTED, N_SIFTED_EACH = 100, 4  # of rivals, and of each explanation fitted from every particle
AS_GOOD = 6.0  # nats behind the best within which all rivals are fitted: few readings rule out few
# Explanations that are fitted from every particle: the best of all, all with those of other
# families, and the nats behind the best within which they are.
N_WHOLE_BEST, N_WHOLE, WITHIN_WHOLE = 16, 22, 15.0
N_ALIKE = 7  # ways to exchange wires of like roles among each other, at most
# Families of the best one's circuit that are fitted without a fault, each wired in every way, and
# the particles that each is fitted from.
N_SOUND, N_SOUND_NEAREST = 5, 12


def from_every_particle(bench: Workbench, sheet: Sheet, first: Fit) -> Fit:
    """The best explanations, each fitted afresh from all that the bank has of its hypothesis."""
    table = bench.hypotheses.table
    total = first.log_evidence + table.log_prior[first.hypothesis]
    order = np.argsort(-total, kind="stable")
    order = order[total[order] > total[order[0]] - WITHIN_WHOLE]
    order = order[first_of_each(table, first.hypothesis[order], first.assigned[order])]
    families = [bench.hypotheses.pairs[h][0].id for h in first.hypothesis[order]]
    others = np.sort(np.unique(families, return_index=True)[1])
    leading = order[np.union1d(np.arange(min(N_WHOLE_BEST, order.size)), others)[:N_WHOLE]]
    hypothesis, assigned, lead_kind = _with_sound(bench, first.rows(leading))
    own = [np.flatnonzero(bench.bank.hypothesis == h) for h in hypothesis]
    source = np.repeat(np.arange(len(own)), [some.size for some in own])
    particle = np.concatenate(own)
    added = np.flatnonzero(source >= leading.size)
    if added.size:
        of, z = source[added], start_z(bench, sheet, particle[added])
        like = score(bench, hypothesis[of], assigned[of], z, sheet, lead_kind[of]).sum(axis=1)
        near = added[best_of_each(of, like, N_SOUND_NEAREST)]
        kept = np.concatenate([np.flatnonzero(source < leading.size), near])
        source, particle = source[kept], particle[kept]
    found = sifted(
        bench,
        sheet,
        (hypothesis[source], assigned[source], start_z(bench, sheet, particle)),
        lead_kind[source],
        lambda total: best_of_each(source, total, N_SIFTED_EACH),
    )
    return refined(bench, sheet, found)


def _with_sound(bench: Workbench, leading: Fit) -> tuple[IntArray, IntArray, IntArray]:
    """Hypotheses, wires and doubted leads of explanations, and of the best one's circuit unharmed.

    Where the best (first) has a fault, each family of its circuit stands there without one too:
    with the wires of the family's best, and with some of like roles exchanged.
    """
    table, pairs = bench.hypotheses.table, bench.hypotheses.pairs
    hypothesis, assigned, lead_kind = [leading.hypothesis], [leading.assigned], [leading.lead_kind]
    best, fault = pairs[leading.hypothesis[0]]
    alike = np.array([pairs[h][0].title == best.title for h in leading.hypothesis])
    sound = np.array([bench.hypotheses.sound(h) for h in leading.hypothesis])
    first = np.sort(np.unique(sound, return_index=True)[1])
    unharmed = () if fault.kind == NO_FAULT else first[alike[first]][:N_SOUND]
    for k in unharmed:
        other = wirings_alike(table.role[sound[k]], leading.assigned[k])
        wires = np.concatenate([leading.assigned[k : k + 1], other])
        hypothesis.append(np.full(len(wires), sound[k]))
        assigned.append(wires)
        lead_kind.append(np.repeat(leading.lead_kind[k : k + 1], len(wires), axis=0))
    all_hypotheses, all_wires = np.concatenate(hypothesis), np.concatenate(assigned)
    own = first_of_each(table, all_hypotheses, all_wires)
    return all_hypotheses[own], all_wires[own], np.concatenate(lead_kind)[own]


def sifted(
    bench: Workbench,
    sheet: Sheet,
    start: tuple[IntArray, IntArray, Array],
    lead_kind: IntArray,
    keep: Callable[[Array], IntArray],
    patience: tuple[float, ...] = ONE_STEP,
) -> Fit:
    """Fits from particles of the bank: a step or two with all, the rest with those kept.

    ``start`` are hypotheses, their wires and coordinates; ``keep`` takes the log probability that
    each has reached and gives the places of those to go on with. ``patience`` are the factors on
    the uncertainties in the first steps.
    """
    table, (hypothesis, assigned, z) = bench.hypotheses.table, start
    first = fit(table, hypothesis, assigned, z, sheet, len(patience), lead_kind, gentle=patience)
    near = keep(first.log_posterior + table.log_prior[hypothesis])
    z, lead_kind = first.z[near], lead_kind[near]
    return fit(table, hypothesis[near], assigned[near], z, sheet, AFTER_STEPS, lead_kind, gentle=())


def as_good(score: Array) -> IntArray:
    """Places of the best, and of all that are nearly as good."""
    order = np.argsort(-score, kind="stable")
    return order[: max(N_SIFTED, int(np.sum(score > score.max() - AS_GOOD)))]


def first_of_each(table: HypothesisTable, hypothesis: IntArray, assigned: IntArray) -> IntArray:
    """Places of the first of each hypothesis with each way to wire it."""
    used = np.where(assigned < table.n_wire[hypothesis][:, None], assigned, -1)
    keys = np.column_stack([hypothesis, used])
    return np.sort(np.unique(keys, axis=0, return_index=True)[1])


def wirings_alike(role: IntArray, assigned: IntArray) -> IntArray:
    """An assignment with wires of like roles changed over in every way, (n_way, n_terminal)."""
    groups = [np.flatnonzero(role == r) for r in np.unique(role[role >= 0])]
    ways = []
    for orders in product(*(permutations(g.tolist()) for g in groups)):
        to = np.arange(role.size)
        for group, order in zip(groups, orders, strict=True):
            to[group] = order
        ways.append(to[assigned])
        if len(ways) > N_ALIKE:
            break
    return np.stack(ways)[1:]  # the first is the assignment itself
