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
5. Around the best explanations (`nearby`) stand others that a start from the bank hits on by luck:
   the same circuit with its other faults and wired in other ways, related circuits. Where one of
   them comes far nearer to the readings once it is carried to its end, around that one, too.
6. Where the best of all takes a reading for a mistake, the mistake may be its own: all is looked
   at in more ways before a slip of the pen is believed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference import fit as fitting
from backprobe.core.inference.fit import Fit, fit
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
from backprobe.services.nearby import gone_around, nearest_rivals
from backprobe.vocabulary import NO_FAULT

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

N_START = 40
N_PARTICLE = 2  # starts of each explanation
N_LAST = 15  # explanations that are gone over once more
NEAR = 14.0  # nats behind the best within which they are
# An explanation that fits every reading at least so well (log likelihood) and leads by so many nats
# was never overtaken by one with another fault from the bank (540 simulated vehicles): there the
# search may end, a fault once it was held against its circuit unharmed.
ILL_FITTING, CLEAR_LEAD = -3.0, 2.5
EXPLAINED_BETTER = 12.0  # nats; one simulated vehicle in sixty is beyond, its readings all as noted
FIRST_STEPS = 4
# Nats behind the best within which every circuit with every fault has a start, however many more
# likely ones there are: where wires are dead, all read alike.
LIKELY_START = 20.0
# After its few steps a start from the bank may still be far from its end, where wires are exchanged
# above all: nats behind the best within which the best of each hypothesis goes on, and how far.
MAY_COME_NEAR, N_CARRIED, CARRIED_STEPS = 25.0, 60, 5
# Nats that an explanation gains over all others when it is carried to its end, for which what
# stands around it is looked at once more.
RISEN = 4.0
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


WIDE = Width(180)
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
    return _settled(bench, sheet, near)


def _settled(bench: Workbench, sheet: Sheet, fits: Fit) -> Fit:
    """The same fits, what stands around the best beside them, the best carried to the end.

    Where one then comes far nearer to the readings than any did, it is gone around once more.
    """
    for _ in range(2):
        around = gone_around(bench, sheet, fits)
        fits = refined(bench, sheet, around, most=N_LAST, within=NEAR)
        if fits.log_posterior.max() < around.log_posterior.max() + RISEN:
            break
    return fits


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
    names = [f"{family.title}: {fault.name}" for family, fault in bench.hypotheses.pairs]
    start = screen(
        bench.bank,
        table,
        sheet,
        width.n_start,
        per_hypothesis=width.n_way,
        per_assignment=width.n_alternative,
        kin=np.unique(names, return_inverse=True)[1],
        within=LIKELY_START,
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
