"""Explanations that stand next to others: another fault, wires exchanged, a related circuit."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference import fit as fitting
from backprobe.core.inference.fit import Fit, fit
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.screen import best_of_each
from backprobe.core.inference.sheet import Sheet
from backprobe.families.faults import SUPPLIES, Fault
from backprobe.services.bank_cache import Workbench
from backprobe.services.fits import refined, score, start_z
from backprobe.services.from_bank import AFTER_STEPS, TWO_STEPS, first_of_each, wirings_alike
from backprobe.services.shared_values import carried_over, moved
from backprobe.vocabulary import NO_FAULT, ROLES

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

N_FAMILY = 2  # families that are fitted with all their faults
N_SWAP = 6  # exchanges of two terminals that are fitted beside those of the very best
NEAR_EXCHANGE = 14.0  # nats that one of those may cost
SEVERITY_STARTS = (-1.1, 0.0, 1.2)
WIDEN_STEPS = 2
# What stands around each of the best explanations is looked at, then around what was found there.
N_ROUND, N_CENTRE, WITHIN_CENTRE = 2, 5, 4.0
N_FILLED = 3  # particles that fill a start, the best of which is kept
WORTH_FITTING = 15.0  # nats behind the best after two steps within which it is fitted


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
    kinds = np.repeat(doubted, hypothesis.size, axis=0)
    start = _best_severity(bench, hypothesis, wires, start, sheet, kinds)
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


def gone_around(bench: Workbench, sheet: Sheet, fits: Fit) -> Fit:
    """The same fits, with what stands around the best of them beside them.

    Around an explanation stand its circuit's other faults, other ways to wire it, and the circuits
    whose wires have the same roles, unharmed and with its fault. Whether a search from the bank
    hits on each of these is luck; here what one of them tells of the vehicle serves the others.
    """
    been: set[bytes] = set()
    for _ in range(N_ROUND):
        centres = _centres(bench, fits, been)
        if not centres.size:
            break
        fits = fitting.concatenate([fits, _around(bench, sheet, fits, centres)])
    return fits


def _centres(bench: Workbench, fits: Fit, been: set[bytes]) -> IntArray:
    """Rows of the best explanations that weren't gone around yet."""
    table = bench.hypotheses.table
    total = fits.log_evidence + table.log_prior[fits.hypothesis]
    order = np.argsort(-total, kind="stable")
    order = order[total[order] > total[order[0]] - WITHIN_CENTRE]
    order = order[first_of_each(table, fits.hypothesis[order], fits.assigned[order])][:N_CENTRE]
    found = []
    for row in order:
        key = np.append(fits.assigned[row], fits.hypothesis[row]).tobytes()
        if key not in been:
            been.add(key)
            found.append(row)
    return np.array(found, dtype=np.int64)


def _around(bench: Workbench, sheet: Sheet, fits: Fit, centres: IntArray) -> Fit:
    """Fits of what stands around some explanations, as far as it may come near."""
    table = bench.hypotheses.table
    total = fits.log_evidence + table.log_prior[fits.hypothesis]
    near = total > total.max() - WITHIN_CENTRE
    found = [_neighbours(bench, int(fits.hypothesis[row]), fits.assigned[row]) for row in centres]
    swapped, wires = _near_exchanges(bench, sheet, fits, centres.tolist())
    hypothesis = np.concatenate(
        [fits.hypothesis[near], *(own for own, _ in found), fits.hypothesis[swapped]]
    )
    assigned = np.concatenate([fits.assigned[near], *(own for _, own in found), wires])
    of = np.repeat(centres, [own.size for own, _ in found])
    source = np.concatenate([np.flatnonzero(near), of, swapped])
    new = first_of_each(table, hypothesis, assigned)
    new = new[new >= int(near.sum())]
    first = _unharmed(bench, sheet, fits, centres)
    if new.size:
        start = _starts(bench, sheet, fits, source[new], hypothesis[new], assigned[new])
        other = fit(table, *start[:3], sheet, len(TWO_STEPS), start[3], gentle=TWO_STEPS)
        first = fitting.concatenate([first, other])
    reached = first.log_posterior + table.log_prior[first.hypothesis]
    floor = float((fits.log_posterior + table.log_prior[fits.hypothesis]).max()) - WORTH_FITTING
    worth = first.rows(np.flatnonzero(reached > floor))
    return refined(bench, sheet, worth) if worth.hypothesis.size else worth


def _unharmed(bench: Workbench, sheet: Sheet, fits: Fit, centres: IntArray) -> Fit:
    """The circuits of explanations without their faults, straight from where those ended.

    What a fault has found, a switching cell, say, is lost again where a particle fits better as it
    stands.
    """
    table = bench.hypotheses.table
    sound = np.array([bench.hypotheses.sound(int(h)) for h in fits.hypothesis[centres]])
    some = np.flatnonzero(sound != fits.hypothesis[centres])
    rows, layout = centres[some], layout_of(table, sheet)
    if not rows.size:
        return fits.rows(rows)
    z = [
        carried_over(bench, layout, int(fits.hypothesis[row]), fits.z[row], sound[k : k + 1])[0]
        for k, row in zip(some, rows, strict=True)
    ]
    start, wires, kinds = np.concatenate(z), fits.assigned[rows], fits.lead_kind[rows]
    return fit(table, sound[some], wires, start, sheet, AFTER_STEPS, kinds, gentle=())


def _starts(
    bench: Workbench,
    sheet: Sheet,
    fits: Fit,
    source: IntArray,
    hypothesis: IntArray,
    assigned: IntArray,
) -> tuple[IntArray, IntArray, Array, IntArray]:
    """Where to start the fits of explanations that stand around others (``source``).

    What an explanation and the one that it stands by have in common starts as fitted there; all
    else as in particles of the bank, of which the best is kept. Returns hypotheses, wires,
    coordinates and kinds of black leads.
    """
    layout = layout_of(bench.hypotheses.table, sheet)
    z = np.empty((source.size, layout.size))
    shared = np.empty(z.shape, dtype=bool)
    for row in np.unique(source):
        own, h = np.flatnonzero(source == row), int(fits.hypothesis[row])
        z[own], shared[own] = carried_over(bench, layout, h, fits.z[row], hypothesis[own])
    first = np.searchsorted(bench.bank.hypothesis, hypothesis)
    of = np.repeat(np.arange(source.size), N_FILLED)
    particle = (first[:, None] + np.arange(N_FILLED)).ravel()
    filled = np.where(shared[of], z[of], start_z(bench, sheet, particle))
    kinds = fits.lead_kind[source]
    alone = _best_severity(bench, hypothesis, assigned, z, sheet, kinds)
    of, z = np.concatenate([np.arange(source.size), of]), np.concatenate([alone, filled])
    like = score(bench, hypothesis[of], assigned[of], z, sheet, kinds[of]).sum(axis=1)
    kept = best_of_each(of, like, 1)
    of = of[kept]
    return hypothesis[of], assigned[of], z[kept], kinds[of]


def all_faults(bench: Workbench, sheet: Sheet, fits: Fit, n_family: int) -> Fit:
    """Every fault of the best families, wired as each one's best explanation is.

    What a fault brings along, that of its explanation doesn't tell: it is tried in several ways.
    """
    leading = np.array(best_of_families(bench, fits, n_family))
    names = [bench.hypotheses.pairs[h][0].id for h in fits.hypothesis[leading]]
    own = [bench.hypotheses.of_family(name) for name in names]
    source = np.repeat(leading, [some.size for some in own])
    start = _starts(bench, sheet, fits, source, np.concatenate(own), fits.assigned[source])
    table, gentle = bench.hypotheses.table, fitting.GENTLE[-1:]
    return fit(table, *start[:3], sheet, WIDEN_STEPS, start[3], gentle)


def _neighbours(bench: Workbench, h: int, assigned: IntArray) -> tuple[IntArray, IntArray]:
    """What stands around one explanation: hypotheses and their wires."""
    hypotheses, table = bench.hypotheses, bench.hypotheses.table
    family, fault = hypotheses.pairs[h]
    own = hypotheses.of_family(family.id)
    ways = wirings_alike(table.role[h], assigned)
    found = [(own, np.repeat(assigned[None], own.size, axis=0))]
    found += [(np.full(len(ways), k), ways) for k in dict.fromkeys((h, hypotheses.sound(h)))]
    role = _live_roles(table.role, fault)
    for sound in _related(bench, role, h):
        kin = hypotheses.of_family(hypotheses.pairs[sound][0].id)
        names = [hypotheses.pairs[k][1] for k in kin]
        some = kin[[f.kind == NO_FAULT or _is_same(f, fault) for f in names]]
        wires = _by_role(role[h], role[sound], assigned)
        found.append((some, np.repeat(wires[None], some.size, axis=0)))
    targets, wired = zip(*found, strict=True)
    return np.concatenate(targets), np.concatenate(wired)


def _leaves_dead(fault: Fault) -> bool:
    """Whether it leaves a supply dead, so that little tells what kind of supply it was."""
    return fault.kind in ("open", "short-to-ground") and fault.role in SUPPLIES


def _live_roles(role: IntArray, fault: Fault) -> IntArray:
    """Roles of wires, those of both kinds of supply as one beside a dead one."""
    supplies = [ROLES.index(name) for name in SUPPLIES]
    is_supply = np.isin(role, supplies) & _leaves_dead(fault)
    return np.where(is_supply, min(supplies), role)


def _is_same(fault: Fault, other: Fault) -> bool:
    """Whether two circuits have the same fault, as far as the other one's tells its supply."""
    if _leaves_dead(other):
        return _leaves_dead(fault) and fault.kind == other.kind
    return fault.title == other.title


def _related(bench: Workbench, role: IntArray, h: int) -> list[int]:
    """Unharmed circuits of other families whose wires have the same roles."""
    pairs, roles = bench.hypotheses.pairs, np.sort(role, axis=1)
    same = np.flatnonzero((roles == roles[h]).all(axis=1))
    return [int(k) for k in same if pairs[k][1].kind == NO_FAULT and pairs[k][0] != pairs[h][0]]


def _by_role(role: IntArray, other: IntArray, assigned: IntArray) -> IntArray:
    """An assignment of wires carried to a circuit that names the same roles in another order."""
    to = np.empty_like(assigned)
    to[np.argsort(role, kind="stable")] = np.argsort(other, kind="stable")
    return to[assigned]


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
    scores, tried = [], []
    for severity in SEVERITY_STARTS:
        some = z.copy()
        some[rows[place >= 0], place[place >= 0]] = severity
        scores.append(score(bench, hypothesis, assigned, some, sheet, lead_kind).sum(axis=1))
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
    kept = np.sort(kept[cost[kept] < NEAR_EXCHANGE])
    return source[kept], wires[kept]


def _exchanges(assigned: IntArray) -> IntArray:
    """An assignment with every two of its terminals exchanged, (n_pair, n_terminal)."""
    pairs = list(combinations(range(assigned.size), 2))
    swapped = np.repeat(assigned[None], len(pairs), axis=0)
    for k, (a, b) in enumerate(pairs):
        swapped[k, [a, b]] = swapped[k, [b, a]]
    return swapped
