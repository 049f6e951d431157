"""What the program answers about one job, and the same as JSON (the job file's format, 1).

Plain frozen data: the engine fills it, the faces show it. Probabilities are shares of one, weights
of evidence are decibans, everything else is SI, minutes excepted.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

FORMAT = 1
SMALLEST_SHOWN_PROBABILITY = 0.001
PROBABILITY_DECIMALS = 5
DOUBTFUL_BELOW = 0.90  # trust below which a round, or all of the measurement, is to be doubted
GREATEST_DECIBANS = 1000.0  # JSON has no infinity; beyond this a weight says "certain" anyway


@dataclass(frozen=True, slots=True)
class TerminalAnswer:
    """Role of one terminal in the most probable assignment, and its own role probabilities."""

    pin: str
    role: str
    probability: float
    roles: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class CircuitAnswer:
    """One kind of circuit that the connector may belong to."""

    circuit: str
    probability: float


@dataclass(frozen=True, slots=True)
class FaultAnswer:
    """One fault (or "none"), and the terminals whose wires it sits on."""

    fault: str
    probability: float
    terminals: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Measurement:
    """How far black lead and vehicle state are what the file says: overall and by round."""

    trusted: float
    rounds: Mapping[str, float] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with the interval that holds it with probability `coverage`."""

    name: str
    round: str
    terminal: str
    value: float
    low: float
    high: float
    unit: str
    coverage: float = 0.95


@dataclass(frozen=True, slots=True)
class Misfit:
    """Probability of data so surprising under the best explanation, and readings to blame."""

    probability: float
    readings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Reason:
    """Weight of evidence (decibans) of one reading for one claim against its nearest rival."""

    claim: str
    reading: str
    decibans: float
    text: str


@dataclass(frozen=True, slots=True)
class NextReading:
    """A reading worth taking: state, place, what it is expected to tell and what it costs."""

    plugged: bool
    key: str
    rpm: float
    action: str
    quantity: str
    terminal: str
    bits: float
    minutes: float
    text: str
    cautions: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RuledOut:
    """A fault that no longer stands, and the reading that speaks most strongly against it."""

    fault: str
    terminals: tuple[str, ...]
    reading: str
    decibans: float
    text: str


@dataclass(frozen=True, slots=True)
class Answer:
    """Everything said about one job. Fields after `next` serve the words only, not the JSON."""

    file: str
    terminals: tuple[TerminalAnswer, ...]
    circuits: tuple[CircuitAnswer, ...]
    faults: tuple[FaultAnswer, ...]
    measurement: Measurement
    estimates: tuple[Estimate, ...]
    misfit: Misfit
    reasons: tuple[Reason, ...]
    next: tuple[NextReading, ...]
    ruled_out: tuple[RuledOut, ...] = ()
    evidence: Mapping[str, tuple[Reason, ...]] = field(default_factory=dict)
    settled: bool = False
    effective_sample_size: float = math.inf
    stable: bool = True


def answer_to_json(answer: Answer) -> dict[str, Any]:
    """Give the answer as the object that `explain --json` prints (job-file format 1)."""
    return {
        "format": FORMAT,
        "file": answer.file,
        "terminals": {terminal.pin: _terminal(terminal) for terminal in answer.terminals},
        "circuits": [
            {"circuit": circuit.circuit, "probability": _probability(circuit.probability)}
            for circuit in _shown(answer.circuits)
        ],
        "faults": [
            {
                "fault": fault.fault,
                "probability": _probability(fault.probability),
                "terminals": list(fault.terminals),
            }
            for fault in _shown(answer.faults)
        ],
        "measurement": {
            "trusted": _probability(answer.measurement.trusted),
            "rounds": {
                name: _probability(share) for name, share in answer.measurement.rounds.items()
            },
            "remarks": list(answer.measurement.remarks),
        },
        "estimates": [_estimate(each) for each in answer.estimates if _is_finite(each)],
        "misfit": {
            "probability": _significant(answer.misfit.probability, 3),
            "readings": list(answer.misfit.readings),
        },
        "reasons": [
            {
                "claim": reason.claim,
                "reading": reason.reading,
                "decibans": _decibans(reason.decibans),
                "text": reason.text,
            }
            for reason in answer.reasons
        ],
        "next": [next_reading_to_json(reading) for reading in answer.next],
    }


def next_reading_to_json(reading: NextReading) -> dict[str, Any]:
    """One proposed reading as it stands in the answer's `next` list."""
    return {
        "plugged": reading.plugged,
        "key": reading.key,
        "rpm": round(reading.rpm),
        "action": reading.action,
        "quantity": reading.quantity,
        "terminal": reading.terminal,
        "bits": _decimals(reading.bits, 3),
        "minutes": _decimals(reading.minutes, 1),
        "text": reading.text,
        "cautions": list(reading.cautions),
    }


def _terminal(terminal: TerminalAnswer) -> dict[str, Any]:
    falling = sorted(terminal.roles.items(), key=lambda item: -item[1])
    kept = [item for item in falling if item[1] >= SMALLEST_SHOWN_PROBABILITY] or falling[:1]
    return {
        "role": terminal.role,
        "probability": _probability(terminal.probability),
        "roles": {role: _probability(share) for role, share in kept},
    }


_Entry = TypeVar("_Entry", CircuitAnswer, FaultAnswer)


def _shown(entries: Sequence[_Entry]) -> list[_Entry]:
    """Falling order, cut below a thousandth; the most probable one always stays."""
    falling = sorted(entries, key=lambda entry: -entry.probability)
    kept = [each for each in falling if each.probability >= SMALLEST_SHOWN_PROBABILITY]
    return kept or falling[:1]


def _estimate(estimate: Estimate) -> dict[str, Any]:
    return {
        "name": estimate.name,
        "round": estimate.round,
        "terminal": estimate.terminal,
        "value": _significant(estimate.value, 4),
        "low": _significant(estimate.low, 4),
        "high": _significant(estimate.high, 4),
        "unit": estimate.unit,
        "coverage": estimate.coverage,
    }


def _is_finite(estimate: Estimate) -> bool:
    """Whether the interval is bounded: else it says nothing, and JSON has no infinity."""
    return all(math.isfinite(each) for each in (estimate.value, estimate.low, estimate.high))


def _probability(share: float) -> float:
    return round(min(max(float(share), 0.0), 1.0), PROBABILITY_DECIMALS)


def _decibans(weight: float) -> float:
    return _decimals(min(max(weight, -GREATEST_DECIBANS), GREATEST_DECIBANS), 1)


def _decimals(value: float, decimals: int) -> float:
    # Adding zero turns -0.0 into 0.0, so that a reading without weight is not printed as "-0.0".
    return round(float(value), decimals) + 0.0


def _significant(value: float, digits: int) -> float:
    return float(f"{float(value):.{digits}g}") + 0.0
