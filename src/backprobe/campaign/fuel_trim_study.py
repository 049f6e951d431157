"""How often what is said about fuel trims is true: python -m backprobe.campaign.fuel_trim_study.

Engines are drawn by laws of their own (`fuel_trims`), their trims explained, and what was said is
held against what was wrong.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

import numpy as np

from backprobe.campaign.fuel_trim_logs import draw_log
from backprobe.campaign.fuel_trims import TrueEngine, draw_engine
from backprobe.campaign.spreads import Random, even
from backprobe.core.engine.trim_inference import TrimAnswer, weigh_causes
from backprobe.core.engine.trim_pattern import AIR_MASS, MANIFOLD_PRESSURE, NONE, OperatingPoints
from backprobe.core.engine.trim_readings import TrimReadings
from backprobe.services.trim_log import table_from_log
from backprobe.services.trim_review import SURE

_EDGES: Final = (0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95, 0.99, 1.0001)


@dataclass(slots=True)
class Study:
    """What was said, held against the truth.

    Parameters
    ----------
    claims : list of tuple
        Every cause of every engine: how probable it was said to be, and whether it was true.
    confused : Counter
        Truth and what was named first.
    alarms, healthy : int
        Sound engines of which something was said to be wrong at 0.9 or more; all sound ones.
    found, faulty : int
        Faulty engines of which the same was said; all faulty ones.
    second : int
        Engines whose truth was among the first two.
    misfits : int
        Engines whose trims were said to fit nothing (below 1 %).
    """

    claims: list[tuple[float, bool]] = field(default_factory=list)
    confused: Counter[tuple[str, str]] = field(default_factory=Counter)
    alarms: int = 0
    healthy: int = 0
    found: int = 0
    faulty: int = 0
    second: int = 0
    misfits: int = 0

    @property
    def n_engine(self) -> int:
        """How many were drawn."""
        return self.healthy + self.faulty

    @property
    def first(self) -> float:
        """Share of engines whose truth was named first."""
        right = sum(n for (truth, said), n in self.confused.items() if truth == said)
        return right / self.n_engine

    @property
    def false_alarms(self) -> float:
        """Share of sound engines of which something was said to be wrong."""
        return self.alarms / max(self.healthy, 1)

    def add(self, engine: TrueEngine, answer: TrimAnswer) -> None:
        """Take one engine in."""
        shares = answer.by_cause()
        names = list(shares)
        self.claims += [(share, name == engine.cause) for name, share in shares.items()]
        self.confused[engine.cause, names[0]] += 1
        is_alarm = shares.get(NONE, 0.0) <= 1.0 - SURE
        if engine.cause == NONE:
            self.healthy, self.alarms = self.healthy + 1, self.alarms + int(is_alarm)
        else:
            self.faulty, self.found = self.faulty + 1, self.found + int(is_alarm)
        self.second += engine.cause in names[:2]
        self.misfits += answer.misfit < 0.01

    def reliability(self) -> list[tuple[float, float, int, float, float]]:
        """Bands of what was said: low, high, how many, mean said, share true."""
        claims = np.array(self.claims)
        rows = []
        for low, high in pairwise(_EDGES):
            inside = claims[(claims[:, 0] >= low) & (claims[:, 0] < high)]
            if len(inside):
                said, true = inside.mean(axis=0)
                rows.append((low, min(high, 1.0), len(inside), float(said), float(true)))
        return rows

    def calibration_error(self) -> float:
        """Mean distance between said and true over bands, weighted by claims at 2 % or more."""
        rows = [row for row in self.reliability() if row[0] >= 0.02]
        total = sum(row[2] for row in rows)
        return sum(row[2] * abs(row[3] - row[4]) for row in rows) / max(total, 1)


def explain_engine(engine: TrueEngine) -> TrimAnswer:
    """What is said about a made-up engine."""
    metering = AIR_MASS if engine.has_air_mass else MANIFOLD_PRESSURE
    points = OperatingPoints(engine.speed_rpm, engine.flow)
    return weigh_causes(
        TrimReadings(points, engine.trim, engine.uncertainty, engine.is_limited, metering)
    )


def explain_log(engine: TrueEngine, rng: Random) -> TrimAnswer:
    """What is said about a log of a made-up engine."""
    litres = even(rng, 1.0, 4.0)
    table = table_from_log(draw_log(engine, litres, rng), litres)
    return weigh_causes(table.readings())


def run_study(
    n_engine: int, seed: int = 1, *, evenly: bool = False, from_logs: bool = False
) -> Study:
    """Draw engines and score what is said of them.

    Parameters
    ----------
    n_engine : int
        How many.
    seed : int
        Same seed, same study.
    evenly : bool
        Every cause equally often: not what the priors say, so that calibration isn't expected.
    from_logs : bool
        The trims come from a log of each engine, gathered by speed and load.
    """
    study = Study()
    for number in range(n_engine):
        rng = np.random.default_rng([seed, number])
        engine = draw_engine(rng, evenly=evenly)
        study.add(engine, explain_log(engine, rng) if from_logs else explain_engine(engine))
    return study


def study_words(study: Study) -> str:
    """The study as a text."""
    alarmed = 100 * study.found / max(study.faulty, 1)
    two = 100 * study.second / study.n_engine
    error = 100 * study.calibration_error()
    lines = [
        f"{study.n_engine} engines, {study.healthy} of them sound",
        f"truth named first: {100 * study.first:.1f} %, among the first two: {two:.1f} %",
        f"said at {SURE:g} or more that something is wrong:",
        f"  of the sound {100 * study.false_alarms:.2f} %, of the faulty {alarmed:.1f} %",
        f"said to fit nothing: {100 * study.misfits / study.n_engine:.2f} %",
        f"mean calibration error of claims at 2 % or more: {error:.2f} %",
        "",
        "said            claims   mean said   true",
    ]
    lines += [
        f"{100 * low:5.1f} to {100 * high:5.1f} % {n:7d}   {100 * said:8.1f} %  {100 * true:6.1f} %"
        for low, high, n, said, true in study.reliability()
    ]
    lines += ["", "truth                  engines  named first  mistaken most often for"]
    truths = sorted({truth for truth, _ in study.confused})
    for truth in truths:
        row = Counter({said: n for (t, said), n in study.confused.items() if t == truth})
        wrong = ", ".join(f"{said} {n}" for said, n in row.most_common(3) if said != truth)
        share = 100 * row[truth] / row.total()
        lines.append(f"{truth:22} {row.total():7d} {share:10.0f} %  {wrong}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run a study and write it out."""
    parser = argparse.ArgumentParser(prog="python -m backprobe.campaign.fuel_trim_study")
    parser.add_argument("--engines", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--evenly", action="store_true", help="every cause equally often")
    parser.add_argument("--logs", action="store_true", help="trims gathered from logs")
    asked = parser.parse_args(arguments)
    study = run_study(asked.engines, asked.seed, evenly=asked.evenly, from_logs=asked.logs)
    sys.stdout.write(study_words(study) + "\n")


if __name__ == "__main__":
    main()
