"""Estimates with intervals: supply, battery, ground offset, pull-up, thermistor, duty ..."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.elements import thermistor_ohm
from backprobe.core.inference.importance import Draws
from backprobe.core.inference.predict import Prediction, predict
from backprobe.families.circuit import FamilyCircuit
from backprobe.families.fault_edits import SEVERITY
from backprobe.families.hypotheses import prior_slots
from backprobe.services.answer import Estimate
from backprobe.services.engine import Posterior
from backprobe.services.summary import best_roles, fault_answers, role_table
from backprobe.vocabulary import ROLES

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

COVERAGE = 0.95
N_SAMPLE = 240
FEWEST_DRAWS = 12  # below which a value is not estimated
SUPPLIES = ("supply-regulated", "supply-battery")
SIGNALS = (
    "signal-analogue",
    "signal-switching",
    "signal-thermistor",
    "signal-switch",
    "generator-signal",
)
FEEDS = ("vcc", "ref", "feed", "battery")


@dataclass(frozen=True, slots=True)
class _Sample:
    """Equally weighted draws that agree with the answer's roles, and what they predict."""

    draws: Draws
    prediction: Prediction


def estimates(posterior: Posterior) -> tuple[Estimate, ...]:
    """Estimates under the most probable assignment of roles."""
    if not posterior.problem.rounds:
        return ()
    roles = best_roles(posterior)
    draws = posterior.draws
    own = np.take_along_axis(role_table(posterior), draws.best, axis=1)
    agree = (own == np.array(roles)).all(axis=1) & _same_power(posterior)
    if not agree.any():
        return ()
    sample = _resampled(posterior, draws.rows(np.flatnonzero(agree)))
    found = [*_by_round(posterior, sample, roles), *_static(posterior, sample, roles)]
    return tuple(e for e in found if np.isfinite([e.value, e.low, e.high]).all())


def _same_power(posterior: Posterior) -> NDArray[np.bool_]:
    """Draws whose rounds are powered as the plain sheet says."""
    off = [bool(c.key_off) for c in posterior.problem.conditions]
    return np.asarray(~np.array(off)[posterior.draws.condition])


def _resampled(posterior: Posterior, draws: Draws) -> _Sample:
    """Systematic resampling to equal weights (low variance, no randomness)."""
    total = np.cumsum(draws.weight)
    points = (np.arange(N_SAMPLE) + 0.5) / N_SAMPLE
    index = np.sort(np.minimum(np.searchsorted(total, points), total.size - 1))
    unique, count = np.unique(index, return_counts=True)
    chosen = draws.rows(unique)
    rows = posterior.bench.hypotheses.table.rows(chosen.hypothesis)
    prediction = predict(rows, chosen.z, posterior.problem.sheet, assigned=chosen.best)
    back = np.repeat(np.arange(unique.size), count)
    return _Sample(chosen.rows(back), _repeat(prediction, back))


def _repeat(prediction: Prediction, index: IntArray) -> Prediction:
    values = {}
    for name in Prediction.__dataclass_fields__:
        item = getattr(prediction, name)
        if item is None:
            values[name] = None
        elif hasattr(item, "value"):
            values[name] = type(item)(item.value[index])
        else:
            values[name] = item[index]
    return Prediction(**values)


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


def _by_round(
    posterior: Posterior, sample: _Sample, roles: tuple[int, ...]
) -> Iterator[Estimate]:
    p, pins = sample.prediction, posterior.problem.job.connector.pins
    for r, item in enumerate(posterior.problem.rounds):
        yield from _interval("battery", item.name, "", p.battery.value[:, r, 0], "volt")
        for t, role in enumerate(roles):
            wire = sample.draws.best[:, t, None]
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
    ohm = np.full(sample.draws.hypothesis.size, np.nan)
    for h in np.unique(sample.draws.hypothesis):
        circuit = posterior.bench.hypotheses.circuit(int(h))
        element = next((e for e in circuit.family.elements if e.kind == "thermistor"), None)
        if element is None:
            continue
        slot = prior_slots(circuit)
        mine = sample.draws.hypothesis == h
        values = sample.draws.values[mine, r]
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
            ohm = _pull_up(posterior, sample.draws, t)
            yield from _interval("pull-up resistance", "", pins[t], ohm, "ohm")
    top = fault_answers(posterior)[0]
    if top.fault.startswith("resistance:") and top.terminals:
        ohm = _severity(posterior, sample.draws, top.fault)
        yield from _interval("added resistance", "", top.terminals[0], ohm, "ohm")


def _severity(posterior: Posterior, draws: Draws, fault: str) -> Array:
    found = np.full(draws.hypothesis.size, np.nan)
    for h in np.unique(draws.hypothesis):
        if posterior.bench.hypotheses.pairs[int(h)][1].name == fault:
            slot = prior_slots(posterior.bench.hypotheses.circuit(int(h)))
            mine = draws.hypothesis == h
            found[mine] = draws.values[mine, 0, slot[SEVERITY]]
    return found


def _pull_up(posterior: Posterior, draws: Draws, terminal: int) -> Array:
    """Resistance between the control unit's feed and the wire at a terminal, NaN: none."""
    found = np.full(draws.hypothesis.size, np.nan)
    for h in np.unique(draws.hypothesis):
        circuit = posterior.bench.hypotheses.circuit(int(h))
        slot = prior_slots(circuit)
        for k, wire in enumerate(circuit.family.wires):
            mine = (draws.hypothesis == h) & (draws.best[:, terminal] == k)
            if not mine.any():
                continue
            for name, only in _pull_up_values(circuit, wire.to):
                if name not in slot:
                    continue
                values = draws.values[mine, 0]
                there = np.ones(values.shape[0], dtype=bool)
                if only is not None and only[0] in slot:
                    options = circuit.family.values[only[0]].choices
                    there = values[:, slot[only[0]]] == options.index(only[1])
                found[np.flatnonzero(mine)[there]] = values[there, slot[name]]
    return found


def _pull_up_values(
    circuit: FamilyCircuit, node: str
) -> Iterator[tuple[str, tuple[str, str] | None]]:
    """Names of the resistors that join a node to a supply of the control unit."""
    own_feeds = {
        e.nodes[0] for e in circuit.family.elements if e.kind == "source" and e.side == "control-unit"
    }
    for e in circuit.family.elements:
        if e.kind == "resistor" and e.side == "control-unit" and node in e.nodes:
            other = e.nodes[0] if e.nodes[1] == node else e.nodes[1]
            if other in FEEDS or other in own_feeds - {"cu-ground", "cu-inner"}:
                yield e.parameters["ohm"], e.only_if
