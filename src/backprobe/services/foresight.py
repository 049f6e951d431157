"""What readings not yet taken would show: a sample of the posterior, taken into other states.

Each sample keeps the values that the readings so far have settled; what they do not speak of (the
driven quantities of a state nobody has measured in, what changes from one round to the next) is
drawn from its prior. A round within reach of the present one goes on with its black lead; every
other round is taken to have a sound one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from backprobe.core.inference.draws import Draws
from backprobe.core.inference.layout import Layout, carry_bases, last_choices, layout_of
from backprobe.core.inference.likelihood import (
    LEAD_OHM,
    OPEN_OHM,
    Indicated,
    indicate,
)
from backprobe.core.inference.predict import predict
from backprobe.core.inference.sheet import N_RANGE, Quantity, Sheet
from backprobe.job import Indication, Meter
from backprobe.services.accuracy import common_offset, standard_uncertainty
from backprobe.services.candidate import Candidate, Candidates, Setting, code_of, value_of
from backprobe.services.engine import Posterior
from backprobe.services.posterior_sample import Samples
from backprobe.services.problem import AMBIENT_CELSIUS, REPORTED_CELSIUS, REPORTED_VOLT

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LOG_QUANTITIES = ("hertz", "sensor_ohms", "harness_ohms")
OHMS = ("sensor_ohms", "harness_ohms")
# What is shown of something else than this circuit: a thermometer beside any sensor, a value that
# the control unit takes from another one.
ANY = {
    Quantity.AMBIENT: (-40.0, 160.0),
    Quantity.INPUT_CELSIUS: (-40.0, 140.0),
    Quantity.INPUT_VOLTS: (0.0, 5.0),
}
STATED = {
    Quantity.AMBIENT: AMBIENT_CELSIUS,
    Quantity.INPUT_CELSIUS: REPORTED_CELSIUS,
    Quantity.INPUT_VOLTS: REPORTED_VOLT,
}
GOLDEN = 0.6180339887498949
_NOT_READ_YET = 1e9  # stands for a reading's value where only its prediction is asked for


@dataclass(frozen=True, slots=True)
class Foresight:
    """Predicted readings, (n_candidate, n_samp); NaN where the meter would show no number.

    Hertz and ohms are logarithms, duty is a share.
    """

    predicted: Array
    uncertainty: Array


def foresee(
    posterior: Posterior, samples: Samples, candidates: Candidates, rng: np.random.Generator
) -> Foresight:
    """Predict every candidate reading for every sample."""
    shape = (len(candidates.readings), samples.weight.size)
    mean, spread = np.empty(shape), np.empty(shape)
    for which in _solved_together(candidates.settings):
        readings = [k for k, c in enumerate(candidates.readings) if c.setting in which]
        settings = [candidates.settings[k] for k in which]
        sheet = _sheet(
            posterior, settings, [_moved(candidates.readings[k], which) for k in readings]
        )
        z = _carried(posterior, samples, sheet, settings, rng)
        for rows, part in _batches(posterior, samples.draws, settings, sheet):
            shown = _shown(posterior, samples, rows, z, part, settings)
            at = np.ix_(np.array(readings), rows)
            mean[at], spread[at] = shown.mean[:, :, 0].T, shown.deviation[:, :, 0].T
    return _as_shown(posterior.problem.job.meter, candidates, mean, spread)


def _solved_together(settings: Sequence[Setting]) -> list[list[int]]:
    """Settings that take as many solutions each: unplugged, plugged, and those that move."""
    kinds = [(s.item.spans, s.item.plugged) for s in settings]
    return [[k for k, own in enumerate(kinds) if own == kind] for kind in sorted(set(kinds))]


def _moved(candidate: Candidate, which: Sequence[int]) -> Candidate:
    """The candidate with its setting's number among some of the settings."""
    return replace(candidate, setting=which.index(candidate.setting))


def _shown(
    posterior: Posterior,
    samples: Samples,
    rows: IntArray,
    z: Array,
    sheet: Sheet,
    settings: Sequence[Setting],
) -> Indicated:
    """What the meter would show of some samples for every reading of a sheet."""
    table = posterior.bench.hypotheses.table.rows(samples.draws.hypothesis[rows])
    assigned = samples.assigned[rows]
    prediction = predict(
        table,
        z[rows],
        sheet,
        assigned=assigned,
        ohm_rounds=sheet.ohm_rounds,
        lead_kind=_lead_kind(posterior, samples.draws.condition[rows], settings),
    )
    return indicate(table, sheet, prediction, pick=assigned)


def _sheet(
    posterior: Posterior, settings: Sequence[Setting], readings: Sequence[Candidate]
) -> Sheet:
    """A sheet whose rounds are the settings, and whose readings are not taken yet."""
    known, pins = posterior.problem.sheet, posterior.problem.job.connector.pins
    n_read = len(readings)
    # No range of the meter: it depends on what is shown (its offset: `_own_uncertainty`).
    return Sheet(
        rounds=tuple(s.item for s in settings),
        n_terminal=known.n_terminal,
        quantity=np.array([int(code_of(c)) for c in readings], dtype=np.int64),
        round=np.array([c.setting for c in readings], dtype=np.int64),
        terminal=np.array([c.at for c in readings], dtype=np.int64),
        other=np.array([c.other for c in readings], dtype=np.int64),
        value=np.full(n_read, _NOT_READ_YET),
        deviation=np.zeros(n_read),
        load_ohm=np.full(n_read, load_ohms(posterior)),
        reported=np.array([value_of(c) for c in readings], dtype=np.int64),
        label=tuple(f"{c.quantity} {pins[c.at]}" for c in readings),
        input_ohm=known.input_ohm,
        role_log=known.role_log,
        meter_share=known.meter_share,
    )


def load_ohms(posterior: Posterior) -> float:
    """Loading resistor that the technician has at hand."""
    rounds = posterior.problem.rounds
    return rounds[-1].load_ohms if rounds else 1000.0


def _carried(
    posterior: Posterior,
    samples: Samples,
    sheet: Sheet,
    settings: Sequence[Setting],
    rng: np.random.Generator,
) -> Array:
    """Coordinates in the candidates' layout: what is known carried over, the rest drawn."""
    table = posterior.bench.hypotheses.table
    old, new = layout_of(table, posterior.problem.sheet), layout_of(table, sheet)
    z, known = samples.evenly(new.size, rng), samples.z
    z[:, : new.n_free] = known[:, : old.n_free]
    z = carry_bases(table.rows(samples.draws.hypothesis), known, old, new, z)
    meter = np.arange(1 + N_RANGE)
    z[:, new.meter + meter] = known[:, old.meter + meter]
    for number in range(min(old.n_point, new.n_point)):
        z[:, new.point(number)] = known[:, old.point(number)]
    _stay(z, posterior, samples, old, new)
    for k, setting in enumerate(settings):
        if setting.continued is not None:
            _continue(z, known, new, old, k, setting.continued)
    return z


def _continue(z: Array, known: Array, new: Layout, old: Layout, k: int, r: int) -> None:
    """Take over a round's own changes and its black lead."""
    z[:, new.change(k)] = known[:, old.change(r)]
    z[:, list(new.lead(k))] = known[:, list(old.lead(r))]
    for end in range(min(new.n_end, old.n_end)):
        z[:, new.choice(k, end)] = known[:, old.choice(r, end)]


def _stay(z: Array, posterior: Posterior, samples: Samples, old: Layout, new: Layout) -> None:
    """Leave driven choices as they were in the last round of a state, as often as they stay so."""
    rows = posterior.bench.hypotheses.table.rows(samples.draws.hypothesis)
    for k, ends in enumerate(new.ends):
        for end, state in enumerate(ends):
            last, at = last_choices(rows, samples.z, old, state)
            # Nothing else depends on the base of a choice: its even draws say which of them stay.
            chance = np.take_along_axis(
                ndtr(z[:, new.base(state)]), np.maximum(rows.choice_at, 0), axis=1
            )
            stays = (at >= 0) & (chance > rows.choice_moves)
            own = new.choice(k, end)
            z[:, own] = np.where(stays, last, z[:, own])


def _lead_kind(posterior: Posterior, condition: IntArray, settings: Sequence[Setting]) -> IntArray:
    """Kind of black lead that a sample takes each setting to go on with, (n_samp, n_setting)."""
    kind = np.stack([c.lead_kind for c in posterior.problem.conditions])[condition]
    columns = [
        np.zeros(condition.size, dtype=np.int64) if s.continued is None else kind[:, s.continued]
        for s in settings
    ]
    return np.stack(columns, axis=1)


def _batches(
    posterior: Posterior, draws: Draws, settings: Sequence[Setting], sheet: Sheet
) -> Iterator[tuple[IntArray, Sheet]]:
    """Samples whose continued rounds have the same key, and whose fault is there in as many."""
    kinds = [
        (
            c.comes_and_goes,
            tuple(
                s.item
                if s.continued is None
                else replace(s.item, powered=c.sheet.rounds[s.continued].powered)
                for s in settings
            ),
        )
        for c in posterior.problem.conditions
    ]
    number = np.array([kinds.index(k) for k in kinds])[draws.condition]
    for k in np.unique(number):
        comes_and_goes, rounds = kinds[int(k)]
        part = replace(sheet, rounds=rounds, comes_and_goes=comes_and_goes)
        yield np.flatnonzero(number == k), part


def _as_shown(meter: Meter, candidates: Candidates, mean: Array, spread: Array) -> Foresight:
    """Predictions as a meter shows them: with its own uncertainty, OL where over range."""
    predicted, uncertainty = mean.copy(), spread.copy()
    for i, candidate in enumerate(candidates.readings):
        q = candidate.quantity
        shown = predicted[i]
        if q in OHMS:
            shown = np.where(shown > np.log(OPEN_OHM), np.nan, shown)
        elif code_of(candidate) in ANY:  # shows something whatever the circuit is
            low, high = ANY[code_of(candidate)]
            even = np.mod(GOLDEN * np.arange(shown.size), 1.0)  # evenly in every run of samples
            shown = np.where(np.isnan(shown), low + (high - low) * even, shown)
        predicted[i] = shown
        uncertainty[i] = np.hypot(uncertainty[i], _own_uncertainty(meter, candidate, shown))
    return Foresight(predicted, uncertainty)


def _own_uncertainty(meter: Meter, candidate: Candidate, shown: Array) -> Array:
    """Standard uncertainty that the meter itself adds, in the unit of the prediction."""
    quantity = candidate.quantity
    if code_of(candidate) in STATED:
        return np.full(shown.shape, STATED[code_of(candidate)])
    value = np.where(np.isfinite(shown), shown, 0.0)
    if quantity in LOG_QUANTITIES:
        value = np.exp(value)
    elif quantity == "duty_percent":
        value = 100.0 * value
    size, known = _uncertainty_curve(meter, quantity)
    own = np.interp(np.abs(value), size, known)
    if quantity in LOG_QUANTITIES:
        offset = LEAD_OHM if quantity in OHMS else 0.0
        return (own + offset) / np.maximum(value, 1e-3)
    return 0.01 * own if quantity == "duty_percent" else own


@lru_cache(maxsize=64)
def _uncertainty_curve(meter: Meter, quantity: str) -> tuple[Array, Array]:
    """Uncertainty of readings of rising size, to read off by interpolation."""
    size = np.geomspace(1e-3, 1e8, 67)
    known = [_of_reading(meter, quantity, Indication(float(v))) for v in size]
    return size, np.array(known)


def _of_reading(meter: Meter, quantity: str, indication: Indication) -> float:
    own = standard_uncertainty(meter, quantity, indication)
    if "volts" not in quantity and quantity != "black_lead_check":
        return own
    return math.hypot(own, common_offset(meter, indication)[1])
