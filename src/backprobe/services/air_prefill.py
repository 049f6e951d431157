"""What a job already holds of an air check, as texts for its form."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Final

from backprobe.job.model import Engine, Indication, Job, Round
from backprobe.services.words import measured

# Field of a point: name of the control unit's value, its unit.
_SCANNED: Final[dict[str, tuple[str, str]]] = {
    "speed": ("engine speed", "rpm"),
    "pressure": ("manifold pressure", "kilopascal"),
    "temperature": ("intake air temperature", "celsius"),
    "flow": ("air mass flow", "gram per second"),
}


def engine_texts(engine: Engine) -> dict[str, str]:
    """The engine of a job as its form takes it; what isn't known is left out."""
    size = f"{engine.displacement_l:g} l" if engine.displacement_l else ""
    texts = {
        "displacement": size,
        "fuel": engine.fuel,
        "induction": engine.induction,
        "cycle": engine.cycle,
    }
    return {name: text for name, text in texts.items() if text}


def barometer_text(jobs: Sequence[Job]) -> str:
    """The manifold pressure that was reported with the key on and the engine standing."""
    still = [
        each.scan["manifold pressure"]
        for job in jobs
        for each in job.rounds
        if not each.void and each.key == "on" and each.rpm == 0 and "manifold pressure" in each.scan
    ]
    return _text(still[-1], "kilopascal") if still else ""


def point_texts(jobs: Sequence[Job], most: int) -> list[dict[str, str]]:
    """Points of rounds with the engine running steadily and an air flow, the first so many."""
    return list(islice(_points(jobs), most))


def _points(jobs: Sequence[Job]) -> Iterator[dict[str, str]]:
    for job in jobs:
        for each in job.rounds:
            is_steady = each.key == "run" and not each.void and each.action in {"", "wiggle"}
            if is_steady and "air mass flow" in each.scan:
                yield _point(each)


def _point(taken: Round) -> dict[str, str]:
    found = {
        field: _text(taken.scan[name], unit)
        for field, (name, unit) in _SCANNED.items()
        if name in taken.scan
    }
    if "speed" not in found and taken.rpm > 0:
        found["speed"] = f"{taken.rpm:.0f} rpm"
    return found


def _text(shown: Indication, unit: str) -> str:
    return shown.written or measured(shown.value, unit)
