"""What fuel trims say: causes with reasons, what remains open, and what to test next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Final

import numpy as np

from backprobe.core.engine.trim_inference import TrimAnswer, weigh_causes
from backprobe.core.engine.trim_pattern import (
    AIR_MASS,
    MANIFOLD_PRESSURE,
    NONE,
    UNMODELLED,
    OperatingPoints,
)
from backprobe.core.engine.trim_prediction import (
    bits_of_trim,
    expected_trims,
    weight_of_each_reading,
)
from backprobe.core.engine.trim_readings import TrimReadings
from backprobe.services.trim_table import STANDARD_POINTS, TrimTable
from backprobe.services.trim_tests import (
    DRIVING,
    RUNNING,
    TESTS,
    bits_of_tests,
    findings_likelihood,
)
from backprobe.services.trim_words import CAUSE_WORDS, banks_words, trim_words
from backprobe.services.words import percent, strength_words, sure

SURE: Final = 0.90  # nine in ten of what is said at this are true
SETTLED: Final = 0.99
SHOWN: Final = 0.02
MISFIT: Final = 0.01
MOST_NEXT: Final = 4
LEAST_BITS: Final = 0.03
POINT_MINUTES: Final = {"idle": 3.0, "2500": 3.0, "loaded": 10.0}
# A standard point counts as read where a cell lies this near, by factor.
_NEAR_SPEED, _NEAR_FLOW = 1.35, 1.8


@dataclass(frozen=True, slots=True)
class CauseLine:
    """A cause that remains: how likely, on which bank, what it would lead to expect."""

    cause: str
    bank: str
    words: str
    probability: float
    why: str
    proof: str
    expected: tuple[str, ...] = ()  # a sentence a cell

    @property
    def said(self) -> str:
        """Words with the number beside them."""
        place = f", {self.bank}" if self.bank else ""
        return f"{self.words}{place} ({sure(self.probability)})"


@dataclass(frozen=True, slots=True)
class ReasonLine:
    """How far one trim speaks for the likeliest cause against its rival."""

    place: str
    decibans: float
    text: str


@dataclass(frozen=True, slots=True)
class NextLine:
    """A test worth doing."""

    name: str
    words: str
    minutes: float
    bits: float
    outcomes: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TrimReview:
    """Everything that is said about a table of trims."""

    verdict: str
    probability_wrong: float
    causes: tuple[CauseLine, ...]
    ruled_out: tuple[str, ...]
    misfit: float
    fits: str
    reasons: tuple[ReasonLine, ...]
    next: tuple[NextLine, ...]
    remarks: tuple[str, ...]
    shares: Mapping[str, float] = field(default_factory=dict)

    @property
    def is_settled(self) -> bool:
        """Whether one cause (or none) is at least 99 % sure and fits."""
        return max(self.shares.values()) >= SETTLED and self.misfit >= MISFIT

    @property
    def fits_nothing(self) -> bool:
        """Whether no cause that is modelled makes these trims."""
        return self.misfit < MISFIT or next(iter(self.shares)) == UNMODELLED

    def as_json(self) -> dict[str, Any]:
        """For programs."""
        whole = asdict(self)
        whole["settled"] = self.is_settled
        return {"format": 1, **whole}


def review_trims(table: TrimTable, findings: Mapping[str, str] | None = None) -> TrimReview:
    """Say what trims mean.

    Parameters
    ----------
    table : TrimTable
        As typed or gathered from a log.
    findings : mapping of str to str, optional
        Outcomes of tests that were done already, by the name of the test.

    Raises
    ------
    UsageError
        A finding that isn't known.
    """
    readings = table.readings()
    done = dict(findings or {})
    answer = weigh_causes(readings, findings_likelihood(done))
    shares = answer.by_cause()
    top = next(iter(shares))
    causes = tuple(_cause_lines(answer, readings, table))
    return TrimReview(
        _verdict(shares, causes, answer.misfit),
        1.0 - shares.get(NONE, 0.0),
        causes,
        _ruled_out(shares),
        answer.misfit,
        _fit_words(answer.misfit, top),
        tuple(_reasons(table, readings, shares)),
        tuple(_next(answer, readings, table, shares, done)),
        (*table.remarks, *_remarks(table)),
        shares,
    )


def _cause_lines(answer: TrimAnswer, readings: TrimReadings, table: TrimTable) -> list[CauseLine]:
    """Causes that remain, each on its likeliest bank."""
    lines: list[CauseLine] = []
    for cause, share in answer.by_cause().items():
        if share < SHOWN and lines:
            break
        rows = [row for row, each in enumerate(answer.hypotheses) if each.cause == cause]
        best = answer.hypotheses[max(rows, key=lambda row: answer.probability[row])]
        words = CAUSE_WORDS[cause]
        expected: tuple[str, ...] = ()
        if cause != UNMODELLED:
            expected = tuple(_expected_words(expected_trims(answer, readings, cause), table))
        lines.append(
            CauseLine(
                cause, banks_words(best.banks), words.name, share, words.why, words.proof, expected
            )
        )
    return lines


def _expected_words(expected: np.ndarray[Any, np.dtype[np.float64]], table: TrimTable) -> list[str]:
    found = []
    for column, cell in enumerate(table.cells):
        parts = [
            f"{_bank(bank, table)}{trim_words(100.0 * expected[bank, column])}"
            f" (read {trim_words(cell.trims[bank])}{' or more' if cell.limited[bank] else ''})"
            for bank in range(table.n_bank)
            if np.isfinite(cell.trims[bank])
        ]
        found.append(f"{cell.name}: {', '.join(parts)}")
    return found


def _bank(bank: int, table: TrimTable) -> str:
    return f"bank {bank + 1} " if table.n_bank > 1 else ""


def _verdict(shares: Mapping[str, float], causes: tuple[CauseLine, ...], misfit: float) -> str:
    top, none = next(iter(shares)), shares.get(NONE, 0.0)
    if top == UNMODELLED or misfit < MISFIT:
        return (
            "These trims fit nothing modelled here: no single cause makes them, or they don't"
            " belong together. Read them again before anything is done."
        )
    if none >= SURE:
        return f"The trims show nothing wrong ({sure(none)})."
    first = causes[0]
    if none > 1.0 - SURE:
        return f"Not decided: nothing wrong is {sure(none)}." + (
            f" Else most likely: {_likeliest_fault(causes)}." if len(causes) > 1 else ""
        )
    if first.probability >= SURE:
        return f"Something is wrong: {first.said}."
    return f"Something is wrong ({sure(1.0 - none)}). Most likely: {first.said}."


def _likeliest_fault(causes: tuple[CauseLine, ...]) -> str:
    return next((line.said for line in causes if line.cause != NONE), causes[0].said)


def _ruled_out(shares: Mapping[str, float]) -> tuple[str, ...]:
    out = [cause for cause, share in shares.items() if share < 0.005 and cause != UNMODELLED]
    return tuple(f"{CAUSE_WORDS[cause].short} ({percent(shares[cause])})" for cause in out)


def _fit_words(misfit: float, top: str) -> str:
    if top == UNMODELLED or misfit < MISFIT:
        return (
            f"The nearest cause fits badly: {percent(misfit)} of its engines would be this far off."
        )
    if misfit < 0.05:
        return f"The nearest cause fits poorly ({percent(misfit)})."
    return "The likeliest cause fits what was read."


def _reasons(
    table: TrimTable, readings: TrimReadings, shares: Mapping[str, float]
) -> list[ReasonLine]:
    """Each trim for the likeliest cause against the next, the strongest first."""
    named = [cause for cause in shares if cause != UNMODELLED][:2]
    if len(named) < 2 or len(table.cells) * table.n_bank > 24:
        return []
    weights = weight_of_each_reading(readings, named[0], named[1])
    lines = []
    for bank, column in zip(*np.nonzero(np.isfinite(weights)), strict=True):
        cell, decibans = table.cells[column], float(weights[bank, column])
        place = f"{_bank(int(bank), table)}{cell.name}"
        first, second = (CAUSE_WORDS[name].short for name in named)
        text = f"{place}, {trim_words(cell.trims[bank])}: {_speaks(decibans, first, second)}"
        lines.append(ReasonLine(place, decibans, text))
    return sorted(lines, key=lambda line: -abs(line.decibans))


def _speaks(decibans: float, first: str, second: str) -> str:
    if abs(decibans) < 1.0:
        return f"says nothing between {first} and {second}."
    if decibans < 0.0:
        first, second = second, first
    return f"{strength_words(decibans)} evidence for {first} against {second}."


def _next(
    answer: TrimAnswer,
    readings: TrimReadings,
    table: TrimTable,
    shares: Mapping[str, float],
    done: Mapping[str, str],
) -> list[NextLine]:
    """Tests by the bits that they are expected to tell a minute."""
    names = tuple(cause for cause, share in shares.items() if share >= 1e-4 and cause != UNMODELLED)
    if max(shares.values()) >= SETTLED or len(names) < 2:
        return []
    has_air_mass = table.metering != MANIFOLD_PRESSURE
    tests = [t for t in TESTS if t.name not in done and (has_air_mass or not t.needs_air_mass)]
    lines = [
        NextLine(test.name, test.words, test.minutes, bits, test.outcomes, test.cautions)
        for test, bits in zip(tests, bits_of_tests(answer, names, tests), strict=True)
    ]
    for point in STANDARD_POINTS:
        if _is_read(point.speed_rpm, point.flow, table):
            continue
        place = OperatingPoints(np.array([point.speed_rpm]), np.array([point.flow]))
        cautions = (RUNNING, DRIVING) if point.name == "loaded" else (RUNNING,)
        lines.append(
            NextLine(
                f"trims {point.name}",
                f"Read short and long trim of every bank {point.words}.",
                POINT_MINUTES[point.name],
                bits_of_trim(answer, readings, place, names),
                (),
                cautions,
            )
        )
    worth = [line for line in lines if line.bits >= LEAST_BITS]
    return sorted(worth, key=lambda line: -line.bits / line.minutes)[:MOST_NEXT]


def _is_read(speed: float, flow: float, table: TrimTable) -> bool:
    return any(
        max(cell.speed_rpm / speed, speed / cell.speed_rpm) < _NEAR_SPEED
        and max(cell.flow / flow, flow / cell.flow) < _NEAR_FLOW
        for cell in table.cells
    )


def _remarks(table: TrimTable) -> list[str]:
    found = []
    if any(any(cell.limited) for cell in table.cells):
        found.append(
            "A trim at its limit says only that at least so much is asked for; the mixture may be"
            " wrong beyond it."
        )
    if table.metering == MANIFOLD_PRESSURE:
        found.append(
            "This control unit reckons the air from manifold pressure: an intake leak hardly shows"
            " in its trims, it raises idle speed and pressure instead."
        )
    if table.metering not in {AIR_MASS, MANIFOLD_PRESSURE}:
        found.append(
            "Whether air mass or manifold pressure is metered isn't known; both are held possible."
        )
    if table.n_bank == 1:
        found.append("One bank: what sits on one bank alone can't be told from the whole engine.")
    return found
