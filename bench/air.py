"""How often the air comparison is right, on engines that breathe by other rules than it assumes."""

from collections.abc import Iterator

import numpy as np

from backprobe.core.engine.sensor_comparison import (
    CANT_TELL,
    NOT_IN_ORDER,
    Comparison,
    compare_sensor,
)
from backprobe.core.engine.sensor_faults import IN_ORDER
from bench.air_engines import TRUTHS, Visit, draw_visit
from bench.report import Measured

N_VISIT, SEED = 4000, 11


def visits(count: int, seed: int, truth: str = "") -> Iterator[tuple[Visit, Comparison]]:
    """Draw so many visits, each with what the comparison says of it."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        visit = draw_visit(rng, truth=truth)
        yield visit, compare_sensor(visit.engine, visit.readings)


def is_right(truth: str, verdict: str) -> bool:
    """Whether a verdict says nothing wrong of the truth.

    "In order" is said of the sensor; a bad engine or wrong fuel doesn't make it wrong.
    """
    if verdict == NOT_IN_ORDER:
        return truth != IN_ORDER
    return verdict == truth or (verdict == IN_ORDER and truth in {"engine", "fuel"})


def measure() -> list[Measured]:
    """Right claims, false alarms, and how often nothing is claimed."""
    seen = list(visits(N_VISIT, SEED))
    claims = [(v.truth, c.verdict) for v, c in seen if c.verdict in (*TRUTHS, NOT_IN_ORDER)]
    faults = [pair for pair in claims if pair[1] not in (IN_ORDER, NOT_IN_ORDER)]
    sound = [c.verdict for v, c in seen if v.truth == IN_ORDER]
    alarms = [verdict not in (IN_ORDER, CANT_TELL) for verdict in sound]
    stated = [share for _, c in seen for share in _stated(c)]
    true = [
        each.name == v.truth
        for v, c in seen
        for each in c.explanations
        if each.probability >= 0.9 and each.name in TRUTHS
    ]
    rows = [
        Measured("claims that are right", _percent([is_right(*p) for p in claims]), "%", least=90),
        Measured(
            "named faults that are right", _percent([is_right(*p) for p in faults]), "%", least=90
        ),
        Measured("stated where 0.9 or more is stated", 100 * float(np.mean(stated)), "%"),
        Measured("true where 0.9 or more is stated", _percent(true), "%", least=90),
        Measured("false alarms on sound sensors", _percent(alarms), "%", most=3),
    ]
    for fuel, words in ((False, "without fuel"), (True, "with fuel")):
        for kind in ("idle", "idle and 2500", "stand", "drive"):
            told = [
                c.verdict != CANT_TELL
                for v, c in seen
                if v.kind == kind and bool(np.isfinite(v.readings.fuel_air).any()) == fuel
            ]
            rows.append(Measured(f"claims something: {kind}, {words}", _percent(told), "%"))
    return rows


def _stated(comparison: Comparison) -> list[float]:
    return [e.probability for e in comparison.explanations if e.probability >= 0.9]


def _percent(found: list[bool]) -> float:
    return 100.0 * float(np.mean(found)) if found else float("nan")
