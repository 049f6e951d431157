"""A search that goes on from an earlier answer on the same connector.

Between two readings little changes: the explanations that were near are fitted again to the sheet
with the new reading, beside a few that the bank suggests afresh. Where another explanation takes
the lead, its own rivals are looked for as in a first search.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.fit import Fit
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import carry_bases, last_choices, layout_of
from backprobe.core.inference.screen import screen
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench
from backprobe.services.fits import distinct, fit_split, refined, start_z
from backprobe.services.search import NEAR, widened

Array = NDArray[np.float64]

N_KNOWN = 24  # explanations that are taken over
N_FRESH = 8  # explanations that the bank suggests
STEPS = 3
N_AGAIN = 12  # explanations that are gone over once more
SURPRISE = 4.0  # nats that a new reading may cost the best explanation before all is reconsidered


def go_on(bench: Workbench, sheet: Sheet, known: Fit, old: Sheet) -> Fit | None:
    """Fits of a sheet that grew out of an older one; None where it has to be searched anew.

    Parameters
    ----------
    bench : Workbench
        Of both sheets.
    sheet : Sheet
        The sheet of now.
    known : Fit
        What explained the older sheet.
    old : Sheet
        The older sheet; its readings are among those of now.
    """
    table = bench.hypotheses.table
    known = known.rows(distinct(bench, old, known))
    score = known.log_evidence + table.log_prior[known.hypothesis]
    order = np.argsort(-score)
    best = known.rows(order[: min(N_KNOWN, int(np.sum(score > score.max() - 2 * NEAR)))])
    fresh = screen(bench.bank, table, sheet, N_FRESH, per_hypothesis=1)
    first = fit_split(
        bench,
        np.concatenate([best.hypothesis, fresh.hypothesis]),
        np.concatenate([best.assigned, fresh.assigned]),
        np.concatenate([recast(bench, best, old, sheet), start_z(bench, sheet, fresh.particle)]),
        sheet,
        STEPS,
    )
    near = refined(bench, sheet, first, most=N_AGAIN, within=2 * NEAR)
    if _odd_readings_cost(near) > _odd_readings_cost(best) + SURPRISE:
        return None
    leader = int(np.argmax(near.log_evidence + table.log_prior[near.hypothesis]))
    if near.hypothesis[leader] == best.hypothesis[0]:
        return near
    return widened(bench, sheet, near)


def _odd_readings_cost(fits: Fit) -> float:
    """Log likelihood that the readings which the best explanation misses cost it."""
    row = int(np.argmax(fits.log_posterior))
    return float(-np.minimum(fits.reading_log[row], 0.0).sum())


def recast(bench: Workbench, fits: Fit, old: Sheet, new: Sheet) -> Array:
    """Coordinates of fits to an older sheet, laid out for a new one; what is new starts at 0."""
    rows = bench.hypotheses.table.rows(fits.hypothesis)
    before, after = layout_of(rows, old), layout_of(rows, new)
    z = np.zeros((len(fits.hypothesis), after.size))
    z[:, : after.n_free] = fits.z[:, : before.n_free]
    z = carry_bases(rows, fits.z, before, after, z)
    known = {r.name: number for number, r in enumerate(old.rounds)}
    for number, ends in enumerate(after.ends):
        for end, state in enumerate(ends):
            before_it, at = last_choices(rows, fits.z, before, state)
            base = _choice_bases(rows, z[:, after.base(state)])
            z[:, after.choice(number, end)] = np.where(at >= 0, before_it, base)
    for number, item in enumerate(new.rounds):
        if item.name in known:
            earlier = known[item.name]
            z[:, after.change(number)] = fits.z[:, before.change(earlier)]
            for end in range(min(before.n_end, after.n_end)):
                z[:, after.choice(number, end)] = fits.z[:, before.choice(earlier, end)]
            z[:, list(after.lead(number))] = fits.z[:, list(before.lead(earlier))]
            point = before.point(old.rounds[earlier].point)
            z[:, after.point(item.point)] = fits.z[:, point]
    n_meter = before.point(0) - before.meter
    z[:, after.meter : after.meter + n_meter] = fits.z[:, before.meter : before.meter + n_meter]
    return z


def _choice_bases(rows: HypothesisTable, base: Array) -> Array:
    """Coordinates of the driven choices (M, C) among those of all driven quantities (M, Q)."""
    return np.take_along_axis(base, np.maximum(rows.choice_at, 0), axis=1)


def grew_out_of(sheet: Sheet, old: Sheet) -> bool:
    """Whether a sheet holds all that an older one held: connector, meter, rounds and readings."""
    now = {r.name: replace(r, point=0) for r in sheet.rounds}
    return (
        sheet.n_terminal == old.n_terminal
        and sheet.input_ohm == old.input_ohm
        and np.array_equal(sheet.role_log, old.role_log)
        and all(now.get(r.name) == replace(r, point=0) for r in old.rounds)
        and _readings(old) <= _readings(sheet)
    )


def _readings(sheet: Sheet) -> set[tuple[str, float]]:
    return set(zip(sheet.label, sheet.value.tolist(), strict=True))
