"""Where to look for explanations: what the bank suggests, and the nearest rivals of the best.

1. The bank says which hypotheses and assignments deserve a fit.
2. The best families are fitted with every one of their faults, and their best assignments with
   every exchange of two terminals, so that nearest rivals are always weighed.
3. Unless one explanation is clear by now, all families with all their faults once more from the
   bank: started from another explanation's values a fit may miss its own best ones, and with a
   fault, wires may pass for each other that are told apart easily without it. The best of each
   hypothesis is carried further.
4. The best hypotheses are fitted from every particle that the bank has of them: how near one is
   says little of where its fit will end. Where a fault leads, also if it is clear, its circuit is
   looked for unharmed in all ways to wire it.
5. Where the best of all takes a reading for a mistake, the mistake may be its own: all is looked
   at in more ways before a slip of the pen is believed.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference import fit as fitting
from backprobe.core.inference.fit import Fit, fit
from backprobe.core.inference.layout import Layout, layout_of
from backprobe.core.inference.screen import screen
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench
from backprobe.services.depth import Depth
from backprobe.services.fits import HOPELESS, ODD_READING, refined, score, start_z
from backprobe.services.from_bank import (
    TWO_STEPS,
    as_good,
    first_of_each,
    from_every_particle,
    sifted,
    wirings_alike,
)
from backprobe.vocabulary import NO_FAULT

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

N_START = 40
N_PARTICLE = 2  # starts of each explanation
N_FAMILY = 2  # families that are fitted with all their faults
N_SWAP = 6  # exchanges of two terminals that are fitted beside those of the very best
N_LAST = 15  # explanations that are gone over once more
NEAR = 14.0  # nats behind the best within which they are
# An explanation that fits every reading at least so well (log likelihood) and leads by so many nats
# was never overtaken by one with another fault from the bank (540 simulated vehicles): there the
# search may end, a fault once it was held against its circuit unharmed.
ILL_FITTING, CLEAR_LEAD = -3.0, 2.5
EXPLAINED_BETTER = 12.0  # nats; one simulated vehicle in sixty is beyond, its readings all as noted
SEVERITY_STARTS = (-1.1, 0.0, 1.2)
FIRST_STEPS, WIDEN_STEPS = 4, 2
# After its few steps a start from the bank may still be far from its end, where wires are exchanged
# above all: nats behind the best within which the best of each hypothesis goes on, and how far.
MAY_COME_NEAR, N_CARRIED, CARRIED_STEPS = 25.0, 60, 5
N_TURNED = 3  # of the best, looked at with wires of like roles changed over


@dataclass(frozen=True, slots=True)
class Width:
    """How wide to look for rivals from the bank.

    n_start : explanations (hypotheses with their wires) that are fitted.
    n_way : ways to wire a hypothesis.
    n_alternative : particles of each explanation, of which the best one counts.
    patience : factors on the uncertainties in the steps that show what a start is worth.
    """

    n_start: int
    n_way: int = 2
    n_alternative: int = 2
    patience: tuple[float, ...] = TWO_STEPS


WIDE = Width(300)
WIDEST = Width(1000, 3, 8, patience=(12.0, 4.0))  # and other steps


def explore(bench: Workbench, sheet: Sheet, depth: Depth = Depth.WHOLE) -> Fit:
    """Fits of the sheet taken at its word; all but the whole search ends with nearest rivals."""
    first = _suggested(bench, sheet, N_PARTICLE)
    near = _with_nearest(bench, sheet, refined(bench, sheet, first, FIRST_STEPS))
    clear = _clear_kind(bench, near) if depth is Depth.WHOLE else None
    if depth is not Depth.WHOLE or clear == NO_FAULT:
        return refined(bench, sheet, near, most=N_LAST, within=NEAR)
    return _from_bank(bench, sheet, near, None if clear else WIDE)


def first_sight(bench: Workbench, sheet: Sheet) -> Fit:
    """Fits of the sheet taken at its word, of what the bank suggests alone."""
    return _suggested(bench, sheet, n_particle=1)


def _suggested(bench: Workbench, sheet: Sheet, n_particle: int) -> Fit:
    """What the bank suggests, fitted from so many particles each."""
    table = bench.hypotheses.table
    names = [family.id for family, _ in bench.hypotheses.pairs]
    kin = np.unique(names, return_inverse=True)[1]
    start = screen(bench.bank, table, sheet, N_START, per_assignment=n_particle, kin=kin)
    z = start_z(bench, sheet, start.particle)
    return fit(table, start.hypothesis, start.assigned, z, sheet, FIRST_STEPS)


def _clear_kind(bench: Workbench, fits: Fit) -> str:
    """Kind of fault of the one explanation that fits every reading and leads all others, or ""."""
    score = fits.log_evidence + bench.hypotheses.table.log_prior[fits.hypothesis]
    best = int(np.argmax(score))
    if fits.reading_log[best].min(initial=0.0) < ILL_FITTING:
        return ""
    near = np.flatnonzero(score > score[best] - CLEAR_LEAD)
    pairs = [bench.hypotheses.pairs[h] for h in fits.hypothesis[near]]
    alone = len({(family.title, fault.name) for family, fault in pairs}) == 1
    return pairs[0][1].kind if alone else ""


def without_mistakes(bench: Workbench, sheet: Sheet, fits: Fit) -> Fit:
    """The same fits; where the best of all takes a reading for a mistake, all else beside them.

    The same where every reading is explained far better by some explanation or other than by it.
    """
    score = fits.log_posterior + bench.hypotheses.table.log_prior[fits.hypothesis]
    best = int(np.argmax(score))
    own = fits.reading_log[best]
    any_other = fits.reading_log[score > score[best] - HOPELESS].max(axis=0)
    if own.min(initial=0.0) >= ODD_READING and np.sum(any_other - own) < EXPLAINED_BETTER:
        return fits
    return _from_bank(bench, sheet, fits, WIDEST)


def widened(bench: Workbench, sheet: Sheet, fits: Fit) -> Fit:
    """The same fits with their nearest rivals beside them, the best of all carried to the end."""
    near = _with_nearest(bench, sheet, fits)
    return refined(bench, sheet, near, most=N_LAST, within=NEAR)


def _with_nearest(bench: Workbench, sheet: Sheet, fits: Fit) -> Fit:
    return refined(bench, sheet, fitting.concatenate([fits, nearest_rivals(bench, sheet, fits)]))


def _from_bank(bench: Workbench, sheet: Sheet, near: Fit, width: Width | None) -> Fit:
    """The same fits with rivals from the bank, the best of all carried to the end."""
    if width is not None:
        near = fitting.concatenate([near, rivals_from_bank(bench, sheet, width)])
        near = fitting.concatenate([near, carried_on(bench, sheet, near)])
    near = fitting.concatenate([near, from_every_particle(bench, sheet, near)])
    return refined(bench, sheet, near, most=N_LAST, within=NEAR)


def carried_on(bench: Workbench, sheet: Sheet, fits: Fit) -> Fit:
    """The best of each hypothesis that may still come near, carried some steps further."""
    total = fits.log_posterior + bench.hypotheses.table.log_prior[fits.hypothesis]
    order = np.argsort(-total, kind="stable")
    order = order[total[order] > total[order[0]] - MAY_COME_NEAR]
    first = np.sort(np.unique(fits.hypothesis[order], return_index=True)[1])
    best = fits.rows(order[first][:N_CARRIED])
    return fit(
        bench.hypotheses.table,
        best.hypothesis,
        best.assigned,
        best.z,
        sheet,
        CARRIED_STEPS,
        best.lead_kind,
        gentle=fitting.GENTLE[-1:],
    )


def rivals_from_bank(bench: Workbench, sheet: Sheet, width: Width) -> Fit:
    """All faults of all families, afresh from the bank.

    The bank finds the explanations and the wires of each: how near they come, readings taken
    coarsely, tells more of where a fit will end than how well a particle explains them as it
    stands. The best of all are also looked at with wires of like roles changed over: two tracks
    differ little to the bank.
    """
    table = bench.hypotheses.table
    start = screen(
        bench.bank,
        table,
        sheet,
        width.n_start,
        per_hypothesis=width.n_way,
        per_assignment=width.n_alternative,
    )
    hypothesis, wires = start.hypothesis, start.assigned
    z = start_z(bench, sheet, start.particle)
    sound_lead = np.zeros((hypothesis.size, len(sheet.rounds)), dtype=np.int64)
    like = score(bench, hypothesis, wires, z, sheet, sound_lead).sum(axis=1)
    order = np.argsort(-like, kind="stable")
    near = order[first_of_each(table, hypothesis[order], wires[order])]
    found = sifted(
        bench,
        sheet,
        (hypothesis[near], wires[near], z[near]),
        sound_lead[near],
        as_good,
        width.patience,
    )
    order = np.argsort(-(found.log_posterior + table.log_prior[found.hypothesis]))[:N_TURNED]
    source = np.flatnonzero(np.isin(np.arange(len(found.z)), order))
    turned = [wirings_alike(table.role[found.hypothesis[k]], found.assigned[k]) for k in source]
    source = np.repeat(source, [len(ways) for ways in turned])
    if source.size:
        ways, similar = np.concatenate(turned), found.rows(source)
        again = fit(table, similar.hypothesis, ways, similar.z, sheet, FIRST_STEPS)
        found = fitting.concatenate([found, again])
    return found


def nearest_rivals(bench: Workbench, sheet: Sheet, first: Fit) -> Fit:
    """All faults of the best families, and exchanges of two terminals of their best fits.

    Each fault is tried at several severities without fitting; its best one starts the fit.
    """
    table, hypotheses = bench.hypotheses.table, bench.hypotheses
    layout = layout_of(table, sheet)
    leading = best_of_families(bench, first, N_FAMILY)
    target, assigned, z = [], [], []
    for row in leading:
        source = int(first.hypothesis[row])
        some = hypotheses.of_family(hypotheses.pairs[source][0].id)
        target.append(some)
        z.append(moved(bench, layout, source, first.z[row], some))
        assigned.append(np.repeat(first.assigned[row : row + 1], some.size, axis=0))
    hypothesis, wires, start = np.concatenate(target), np.concatenate(assigned), np.concatenate(z)
    doubted = first.lead_kind[:1]
    start = _best_severity(bench, hypothesis, wires, start, sheet, doubted)
    near, swapped = _near_exchanges(bench, sheet, first, leading)
    return fit(
        bench.hypotheses.table,
        np.concatenate([hypothesis, first.hypothesis[near]]),
        np.concatenate([wires, swapped]),
        np.concatenate([start, first.z[near]]),
        sheet,
        WIDEN_STEPS,
        np.repeat(doubted, hypothesis.size + near.size, axis=0),
        gentle=fitting.GENTLE[-1:],
    )


def best_of_families(bench: Workbench, fits: Fit, most: int) -> list[int]:
    """The best explanation of each of the best families, the very best first."""
    found: dict[str, int] = {}
    for row in np.argsort(-(fits.log_evidence + bench.hypotheses.table.log_prior[fits.hypothesis])):
        found.setdefault(bench.hypotheses.pairs[int(fits.hypothesis[row])][0].id, int(row))
        if len(found) == most:
            break
    return list(found.values())


def _best_severity(
    bench: Workbench,
    hypothesis: IntArray,
    assigned: IntArray,
    z: Array,
    sheet: Sheet,
    lead_kind: IntArray,
) -> Array:
    """Starting coordinates with the severity that explains the readings best as they stand."""
    place = np.array([bench.hypotheses.severity_place(int(h)) for h in hypothesis])
    rows = np.arange(hypothesis.size)
    doubted = np.repeat(lead_kind, hypothesis.size, axis=0)
    scores, tried = [], []
    for severity in SEVERITY_STARTS:
        some = z.copy()
        some[rows[place >= 0], place[place >= 0]] = severity
        scores.append(score(bench, hypothesis, assigned, some, sheet, doubted).sum(axis=1))
        tried.append(some)
    best = np.argmax(np.stack(scores), axis=0)
    return np.asarray(np.stack(tried)[best, rows])


def _near_exchanges(
    bench: Workbench, sheet: Sheet, first: Fit, leading: list[int]
) -> tuple[IntArray, IntArray]:
    """Explanations with two terminals exchanged: which each comes from, and its assignment.

    All of the very best one; of the next families' best those that cost little as they stand.
    """
    swapped = [_exchanges(first.assigned[row]) for row in leading]
    n_swap = [len(some) for some in swapped]
    source = np.repeat(np.array(leading, dtype=np.int64), n_swap)
    wires = np.concatenate(swapped)
    doubted = first.lead_kind[source]
    like = score(bench, first.hypothesis[source], wires, first.z[source], sheet, doubted)
    cost = first.reading_log[source].sum(axis=1) - like.sum(axis=1)
    cost[source == leading[0]] = -np.inf
    kept = np.argsort(cost, kind="stable")[: n_swap[0] + N_SWAP]
    kept = np.sort(kept[cost[kept] < NEAR])
    return source[kept], wires[kept]


def _exchanges(assigned: IntArray) -> IntArray:
    """An assignment with every two of its terminals exchanged, (n_pair, n_terminal)."""
    pairs = list(combinations(range(assigned.size), 2))
    swapped = np.repeat(assigned[None], len(pairs), axis=0)
    for k, (a, b) in enumerate(pairs):
        swapped[k, [a, b]] = swapped[k, [b, a]]
    return swapped


def moved(bench: Workbench, layout: Layout, source: int, z: Array, target: IntArray) -> Array:
    """Coordinates of one hypothesis carried over to others by the names of their values."""
    h, choice_at = bench.hypotheses, bench.hypotheses.table.choice_at
    out = np.zeros((target.size, layout.size))
    free_from = {int(n): f for f, n in enumerate(h.free_name[source]) if n >= 0}
    driven_from = {int(n): q for q, n in enumerate(h.driven_name[source]) if n >= 0}
    choice_from = {h.driven_name[source, q]: c for c, q in enumerate(choice_at[source]) if q >= 0}
    choices = [
        layout.choice(r, e).start for r in range(layout.n_round) for e in range(layout.n_end)
    ]
    fixed_part = slice(layout.lead(0)[0], layout.size)
    for k, t in enumerate(target):
        for f, name in enumerate(h.free_name[t]):
            if int(name) in free_from:
                out[k, f] = z[free_from[int(name)]]
        for q, name in enumerate(h.driven_name[t]):
            if int(name) not in driven_from:
                continue
            p = driven_from[int(name)]
            for state in layout.states:
                out[k, layout.base(state).start + q] = z[layout.base(state).start + p]
            for r in range(layout.n_round):
                out[k, layout.change(r).start + q] = z[layout.change(r).start + p]
        for c, q in enumerate(choice_at[t]):
            if q >= 0 and h.driven_name[t, q] in choice_from:
                for start in choices:
                    out[k, start + c] = z[start + choice_from[h.driven_name[t, q]]]
        out[k, fixed_part] = z[fixed_part]
    return out
