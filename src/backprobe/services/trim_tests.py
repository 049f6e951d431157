"""Tests that part the causes of fuel trims: what each outcome would say, minutes, cautions.

How often a test comes out one way under a cause is common practice of the trade, no source; minutes
are for good access.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.engine.trim_inference import TrimAnswer
from backprobe.core.engine.trim_pattern import CAUSES
from backprobe.core.engine.trim_prediction import full_load_outcomes
from backprobe.core.inference.information import expected_information
from backprobe.errors import UsageError
from backprobe.families.mistakes import nearest

Array: TypeAlias = NDArray[np.float64]

FUEL: Final = (
    "Petrol: relieve the pressure first, no sparks or flames, extinguisher at hand, eyes covered;"
    " the maker's instructions come first."
)
RUNNING: Final = (
    "Engine running: brake on, neutral, ventilate or extract; keep clear of belts, fans (they start"
    " by themselves) and hot parts."
)
DRIVING: Final = "On the road a second person reads; not above the limits of road and engine."
KEY_OFF: Final = "Key off before plugging or unplugging."
EXHAUST: Final = "Hot exhaust and fumes: let it cool, ventilate."
FULL_LOAD_TEST: Final = "air at full load"
# Reported over expected at full load; volumetric efficiency of an unknown engine within 8 %.
FULL_LOAD_EDGES, FULL_LOAD_DEVIATION = (0.87, 1.15), 0.08


@dataclass(frozen=True, slots=True)
class TrimTest:
    """One test.

    Parameters
    ----------
    name : str
        Short, also how a finding is given.
    words : str
        What to do, a whole sentence.
    minutes : float
        Work.
    outcomes : tuple of str
        What it can show.
    usual : tuple of float
        Probability of each outcome where a cause is not named below.
    given : mapping of str to tuple of float
        By cause.
    cautions : tuple of str
        The usual ones.
    needs_air_mass : bool
        Only with an air-mass sensor.
    """

    name: str
    words: str
    minutes: float
    outcomes: tuple[str, ...]
    usual: tuple[float, ...]
    given: Mapping[str, tuple[float, ...]]
    cautions: tuple[str, ...]
    needs_air_mass: bool = False


TESTS: Final[tuple[TrimTest, ...]] = (
    TrimTest(
        "purge closed",
        "At idle, close the purge hose (clamp it, or unplug the valve if it then stays shut) and"
        " watch the trims for two minutes.",
        3.0,
        ("trims come back", "trims stay"),
        (0.05, 0.95),
        {"purge": (0.88, 0.12)},
        (RUNNING, KEY_OFF),
    ),
    TrimTest(
        "air-mass ground",
        "At idle, measure millivolts from the air-mass sensor's ground pin to battery negative, on"
        " the millivolt range.",
        3.0,
        ("50 mV or more", "below 50 mV"),
        (0.06, 0.94),
        {"air-mass-ground": (0.93, 0.07)},
        (RUNNING,),
        needs_air_mass=True,
    ),
    TrimTest(
        "air-mass unplugged",
        "Unplug the air-mass sensor and let the engine idle on its substitute value: do the trims"
        " come back toward zero? It sets a code.",
        4.0,
        ("trims come back", "trims stay"),
        (0.12, 0.88),
        {
            "air-mass-low": (0.70, 0.30),
            "air-mass-high": (0.75, 0.25),
            "air-mass-dirty": (0.65, 0.35),
            "air-mass-ground": (0.75, 0.25),
            "unmetered-air": (0.30, 0.70),
        },
        (KEY_OFF, RUNNING),
        needs_air_mass=True,
    ),
    TrimTest(
        FULL_LOAD_TEST,
        "Log air mass flow in a full-throttle pull to high speed and compare with the displacement"
        " (37 to 40 g/s per litre at 5000 rpm without a charger).",
        8.0,
        ("low", "as expected", "high"),
        (0.05, 0.90, 0.05),
        {},
        (DRIVING,),
        needs_air_mass=True,
    ),
    TrimTest(
        "fuel pressure under load",
        "Watch fuel pressure while the engine pulls (gauge in sight, or the rail's own sensor in"
        " the log), against the maker's figure.",
        10.0,
        ("low", "right", "high"),
        (0.04, 0.93, 0.03),
        {
            "fuel-weak": (0.70, 0.28, 0.02),
            "fuel-pressure-high": (0.01, 0.09, 0.90),
            "fuel-leak": (0.15, 0.70, 0.15),
        },
        (FUEL, RUNNING, DRIVING),
    ),
    TrimTest(
        "fuel pressure held",
        "Stop the engine and watch fuel pressure for ten minutes.",
        12.0,
        ("falls", "holds"),
        (0.08, 0.92),
        {"fuel-leak": (0.78, 0.22), "fuel-weak": (0.25, 0.75)},
        (FUEL,),
    ),
    TrimTest(
        "intake smoke",
        "Engine off, blow smoke at low pressure into the intake behind the air-mass sensor and look"
        " for it at gaskets, hoses and the crankcase ventilation.",
        15.0,
        ("leak", "tight"),
        (0.05, 0.95),
        {
            "unmetered-air": (0.92, 0.08),
            "bank-air": (0.92, 0.08),
            "air-mass-low": (0.25, 0.75),
        },
        ("Key off; low pressure only; never spray fuel or cleaner at a running engine.",),
    ),
    TrimTest(
        "exhaust smoke",
        "Engine off and cool, blow smoke into the tailpipe and look for it between engine and"
        " oxygen cell; or listen and look for soot at a cold start.",
        12.0,
        ("leak", "tight"),
        (0.06, 0.94),
        {"exhaust-leak": (0.85, 0.15)},
        (EXHAUST,),
    ),
    TrimTest(
        "oxygen cell forced",
        "Warm, watch the cell's volts: a snap of the throttle must take it above 0.8 V, the fuel"
        " cut after it below 0.2 V, at once.",
        5.0,
        ("follows", "does not"),
        (0.92, 0.08),
        {"oxygen-cell": (0.30, 0.70), "exhaust-leak": (0.75, 0.25)},
        (RUNNING,),
    ),
    TrimTest(
        "alcohol content",
        "Measure the alcohol in the fuel: a measured part of water and fuel shaken in a cylinder,"
        " or a test strip.",
        8.0,
        ("a fifth or more", "little"),
        (0.03, 0.97),
        {"fuel-ethanol": (0.94, 0.06)},
        (FUEL,),
    ),
    TrimTest(
        "injector balance",
        "Compare what each injector delivers: pressure fall per pulse train, or their currents and"
        " flow on a bench.",
        25.0,
        ("unequal", "equal"),
        (0.07, 0.93),
        {"bank-injectors": (0.88, 0.12), "fuel-leak": (0.45, 0.55), "fuel-weak": (0.25, 0.75)},
        (FUEL, KEY_OFF),
    ),
)
TEST_NAMES: Final = tuple(test.name for test in TESTS)


def test_named(name: str) -> TrimTest:
    """Find a test by its name."""
    for test in TESTS:
        if test.name == name:
            return test
    raise UsageError(f'"{name[:60]}" is no test known here.', remedy=nearest(name, TEST_NAMES))


def findings_likelihood(findings: Mapping[str, str]) -> dict[str, float]:
    """Likelihood of what tests have shown, by cause.

    Parameters
    ----------
    findings : mapping of str to str
        Outcome by the name of its test.

    Raises
    ------
    UsageError
        A test or an outcome that isn't known.
    """
    found = dict.fromkeys(CAUSES, 1.0)
    for name, outcome in findings.items():
        test = test_named(name)
        if outcome not in test.outcomes:
            raise UsageError(
                f'"{outcome[:60]}" is no outcome of "{name}".',
                remedy=f"It is one of: {', '.join(test.outcomes)}.",
            )
        column = test.outcomes.index(outcome)
        rows = (
            _at_full_load_beforehand()
            if name == FULL_LOAD_TEST
            else {cause: test.given.get(cause, test.usual) for cause in CAUSES}
        )
        for cause in CAUSES:
            found[cause] *= rows[cause][column]
    return found


def _at_full_load_beforehand() -> dict[str, tuple[float, ...]]:
    """Outcomes at full load over the whole spread of each cause (a finding comes on its own)."""
    low, usual, high = (0.75, 0.23, 0.02), (0.05, 0.90, 0.05), (0.0, 0.35, 0.65)
    given = {"air-mass-low": low, "air-mass-dirty": low, "air-mass-high": high}
    given["air-mass-ground"] = (0.03, 0.77, 0.20)
    return {cause: given.get(cause, usual) for cause in CAUSES}


def bits_of_tests(
    answer: TrimAnswer, names: Sequence[str], tests: Sequence[TrimTest]
) -> list[float]:
    """Bits that each test is expected to tell between causes [lindley1956].

    Parameters
    ----------
    answer : TrimAnswer
        What is known.
    names : sequence of str
        Causes that are asked about.
    tests : sequence of TrimTest
        Tests.
    """
    shares = answer.by_cause()
    weights = np.array([shares.get(name, 0.0) for name in names])
    if weights.sum() <= 0.0:
        return [0.0] * len(tests)
    weights = weights / weights.sum()
    found = []
    for test in tests:
        if test.name == FULL_LOAD_TEST:
            edges = np.array(FULL_LOAD_EDGES)
            given = full_load_outcomes(answer, tuple(names), edges, FULL_LOAD_DEVIATION)
        else:
            given = np.array([test.given.get(name, test.usual) for name in names])
        found.append(float(expected_information(weights, given)))
    return found
