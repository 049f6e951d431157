"""Estimates with intervals: supply, battery, ground offset, pull-up, thermistor, duty ..."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.elements import thermistor_ohm
from backprobe.core.inference import fit as fitting
from backprobe.core.inference.importance import gaussian_draws
from backprobe.core.inference.predict import Prediction
from backprobe.families.fault_edits import SEVERITY
from backprobe.families.schema import Family
from backprobe.services.answer import Estimate
from backprobe.services.engine import Posterior
from backprobe.services.summary import NOT_USED, best_roles, fault_answers
from backprobe.vocabulary import ROLES

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

COVERAGE = 0.95
N_SAMPLE = 160
SMALLEST_MASS = 0.01  # of the weight; explanations with less do not widen an interval
SEED = 11
FEWEST_DRAWS = 12  # below which a value is not estimated
SUPPLIES = ("supply-regulated", "supply-battery")
SIGNALS = (
    "signal-analogue",
    "signal-switching",
    "signal-thermistor",
    "signal-switch",
    "generator-signal",
)
FEEDS = ("vcc", "ref", "feed", "cu-battery", "battery")


@dataclass(frozen=True, slots=True)
class _Sample:
    """Equally weighted draws around the modes that agree with the answer's roles.

    hypothesis : ndarray of int, shape (n,)
    best : ndarray of int, shape (n, n_terminal): wire at each terminal.
    values : ndarray, shape (n, R, P)
    prediction : what they predict.
    """

    hypothesis: IntArray
    best: IntArray
    values: Array
    prediction: Prediction


def estimates(posterior: Posterior) -> tuple[Estimate, ...]:
    """Estimates under the most probable assignment of roles."""
    if not posterior.problem.rounds:
        return ()
    roles = best_roles(posterior)
    sample = _sampled(posterior, roles)
    if sample is None:
        return ()
    found = [*_by_round(posterior, sample, roles), *_static(posterior, sample, roles)]
    return tuple(e for e in found if np.isfinite([e.value, e.low, e.high]).all())


def _sampled(posterior: Posterior, roles: tuple[int, ...]) -> _Sample | None:
    """Draws around every mode with a share of the weight, by Laplace's approximation.

    Weighted draws would make intervals too narrow where few of them carry the weight.
    """
    modes = sorted(_modes(posterior, roles), key=lambda mode: mode[0])
    if not modes:
        return None
    # A fault that comes and goes has a sheet of its own: the likelier of both is told of.
    conditions = posterior.problem.conditions
    comes = sum(share for c, _, share in modes if conditions[c].comes_and_goes) > 0.5
    modes = [mode for mode in modes if conditions[mode[0]].comes_and_goes == comes]
    fits = fitting.concatenate([posterior.fits[c].rows(np.array([m])) for c, m, _ in modes])
    n = np.array([max(1, round(N_SAMPLE * share)) for _, _, share in modes])
    _, prediction = gaussian_draws(
        posterior.bench.hypotheses.table,
        conditions[modes[0][0]].sheet,
        fits,
        np.arange(len(modes)),
        n,
        np.random.default_rng(SEED),
    )
    each = np.repeat(np.arange(len(modes)), n)
    return _Sample(fits.hypothesis[each], fits.assigned[each], prediction.values, prediction)


def _modes(posterior: Posterior, roles: tuple[int, ...]) -> list[tuple[int, int, float]]:
    """Condition, mode and share of the weight of groups with the answer's roles."""
    draws, table = posterior.draws, posterior.bench.hypotheses.table
    mass: dict[tuple[int, int], float] = {}
    for c, g, w in zip(draws.condition, draws.group, draws.weight, strict=True):
        if not posterior.problem.conditions[int(c)].key_off:
            mass[int(c), int(g)] = mass.get((int(c), int(g)), 0.0) + float(w)
    found = []
    for (c, g), share in mass.items():
        fits = posterior.fits[c]
        for mode in posterior.groups[c][g].modes:
            own = table.role[fits.hypothesis[mode]][fits.assigned[mode]]
            if tuple(np.where(own >= 0, own, NOT_USED).tolist()) == roles:
                found.append((c, int(mode), share))
                break
    total = sum(share for _, _, share in found)
    return [(c, m, share / total) for c, m, share in found if share > SMALLEST_MASS * total]


def _interval(
    name: str, round_name: str, terminal: str, values: Array, unit: str
) -> Iterator[Estimate]:
    good = values[np.isfinite(values)]
    if good.size < FEWEST_DRAWS:
        return
    tail = 0.5 * (1.0 - COVERAGE)
    low, middle, high = np.quantile(good, [tail, 0.5, 1.0 - tail])
    yield Estimate(
        name, round_name, terminal, float(middle), float(low), float(high), unit, COVERAGE
    )


def _by_round(posterior: Posterior, sample: _Sample, roles: tuple[int, ...]) -> Iterator[Estimate]:
    p, pins = sample.prediction, posterior.problem.job.connector.pins
    for r, item in enumerate(posterior.problem.rounds):
        yield from _interval("battery", item.name, "", p.battery.value[:, r, 0], "volt")
        for t, role in enumerate(roles):
            wire = sample.best[:, t, None]
            mean = np.take_along_axis(p.mean.value[:, r], wire, axis=1)[:, 0]
            name = _round_name(ROLES[role])
            if name:
                yield from _interval(name, item.name, pins[t], mean, "volt")
            if ROLES[role] == "signal-thermistor" and item.plugged:
                yield from _thermistor(posterior, sample, r, item.name, pins[t])
            if ROLES[role] in ("signal-switching", "heater-control", "driver-control"):
                hertz = np.take_along_axis(p.log_hertz.value[:, r], wire, axis=1)[:, 0]
                share = np.take_along_axis(p.share_high.value[:, r], wire, axis=1)[:, 0]
                counted = np.isfinite(hertz)
                if item.plugged and counted.mean() > 0.5:
                    yield from _interval(
                        "frequency", item.name, pins[t], np.exp(hertz[counted]), "hertz"
                    )
                    yield from _interval("duty", item.name, pins[t], share[counted], "share")


def _round_name(role: str) -> str:
    if role in SUPPLIES:
        return "supply"
    if role == "sensor-ground":
        return "sensor ground offset"
    return "signal" if role in SIGNALS else ""


def _thermistor(
    posterior: Posterior, sample: _Sample, r: int, round_name: str, pin: str
) -> Iterator[Estimate]:
    ohm = np.full(sample.hypothesis.size, np.nan)
    hypotheses = posterior.bench.hypotheses
    for h in np.unique(sample.hypothesis):
        elements = hypotheses.pairs[int(h)][0].elements
        element = next((e for e in elements if e.kind == "thermistor"), None)
        if element is None:
            continue
        slot = hypotheses.slots(int(h))
        mine = sample.hypothesis == h
        values = sample.values[mine, r]
        ohm[mine] = thermistor_ohm(
            *(values[:, slot[element.parameters[k]]] for k in ("ohm_25", "beta_kelvin", "celsius"))
        )
    yield from _interval("thermistor resistance", round_name, pin, ohm, "ohm")
    celsius = sample.prediction.celsius.value[:, r, 0]
    yield from _interval("thermistor temperature", round_name, pin, celsius, "celsius")


def _static(posterior: Posterior, sample: _Sample, roles: tuple[int, ...]) -> Iterator[Estimate]:
    pins = posterior.problem.job.connector.pins
    for t, role in enumerate(roles):
        if ROLES[role] in SIGNALS:
            ohm = _pull_up(posterior, sample, t)
            yield from _interval("pull-up resistance", "", pins[t], ohm, "ohm")
    top = fault_answers(posterior)[0]
    if top.fault.startswith("resistance:") and top.terminals:
        ohm = _severity(posterior, sample, top.fault)
        yield from _interval("added resistance", "", top.terminals[0], ohm, "ohm")


def _severity(posterior: Posterior, draws: _Sample, fault: str) -> Array:
    found = np.full(draws.hypothesis.size, np.nan)
    # One that comes and goes has its size while it is there; all others have it in every round.
    bad = next((r for r, item in enumerate(posterior.problem.rounds) if item.action == "wiggle"), 0)
    for h in np.unique(draws.hypothesis):
        if posterior.bench.hypotheses.pairs[int(h)][1].name == fault:
            slot = posterior.bench.hypotheses.slots(int(h))
            mine = draws.hypothesis == h
            found[mine] = draws.values[mine, bad, slot[SEVERITY]]
    return found


def _pull_up(posterior: Posterior, draws: _Sample, terminal: int) -> Array:
    """Resistance between the control unit's feed and the wire at a terminal, NaN: none."""
    found = np.full(draws.hypothesis.size, np.nan)
    hypotheses = posterior.bench.hypotheses
    for h in np.unique(draws.hypothesis):
        family, slot = hypotheses.pairs[int(h)][0], hypotheses.slots(int(h))
        for k, wire in enumerate(family.wires):
            mine = (draws.hypothesis == h) & (draws.best[:, terminal] == k)
            if not mine.any():
                continue
            for name, only in _pull_up_values(family, wire.to):
                if name not in slot:
                    continue
                values = draws.values[mine, 0]
                there = np.ones(values.shape[0], dtype=bool)
                if only is not None and only[0] in family.values and only[0] in slot:
                    options = family.values[only[0]].choices
                    there = values[:, slot[only[0]]] == options.index(only[1])
                found[np.flatnonzero(mine)[there]] = values[there, slot[name]]
    return found


def _pull_up_values(family: Family, node: str) -> Iterator[tuple[str, tuple[str, str] | None]]:
    """Names of the resistors that join a node to a supply of the control unit."""
    own_feeds = {
        e.nodes[0] for e in family.elements if e.kind == "source" and e.side == "control-unit"
    }
    for e in family.elements:
        if e.kind == "resistor" and e.side == "control-unit" and node in e.nodes:
            other = e.nodes[0] if e.nodes[1] == node else e.nodes[1]
            if other in FEEDS or other in own_feeds - {"cu-ground", "cu-inner"}:
                yield e.parameters["ohm"], e.only_if
