"""Misfit: a sound sheet fits, an absurd reading does not and is named."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from backprobe.job import Indication, Job
from backprobe.services.engine import Posterior
from backprobe.services.explain import posterior_of
from backprobe.services.misfit import BLAME_DEVIATIONS, blamed, misfit
from tests.services.sheets import SHEETS, after, job, taken, unplugged


@cache
def with_two_absurd() -> Posterior:
    """The sound thermistor's sheet, but its loaded wire reads 9 V and its sensor 1 ohm."""
    (r,) = SHEETS["thermistor"].rounds
    odd = replace(r, volts_loaded=taken({"1": 9.0}), sensor_ohms={("1", "2"): Indication(1.0)})
    return posterior_of(replace(SHEETS["thermistor"], rounds=(odd,)))


@pytest.mark.parametrize("name", ["thermistor", "unplugged only", "cell"])
def test_a_sound_sheet_fits(name: str) -> None:
    found = misfit(after(name))
    assert found.probability > 0.01
    assert found.readings == ()


def test_nothing_read_is_no_misfit() -> None:
    found = misfit(after("empty round"))
    assert found.probability > 0.5
    assert found.readings == ()


def test_an_absurd_reading_is_named_and_makes_the_fit_improbable() -> None:
    # 1 kohm to ground can only lower a wire: 5 V open, 9 V loaded is nobody's circuit.
    found = misfit(with_two_absurd())
    assert found.probability < 0.001
    assert "A volts_loaded 1" in found.readings
    assert found.probability < 0.01 * misfit(after("thermistor")).probability


def test_readings_are_named_worst_first_and_only_beyond_the_limit() -> None:
    posterior = with_two_absurd()
    condition, row = posterior.best_fit
    fits = posterior.fits[condition]
    labels = posterior.problem.conditions[condition].sheet.label
    named = blamed(fits, row, labels)
    residual = np.abs(fits.residual[row])
    sizes = [residual[labels.index(n)] for n in named if np.isfinite(residual[labels.index(n)])]
    assert sizes == sorted(sizes, reverse=True)
    assert min(sizes) > BLAME_DEVIATIONS
    left = [r for n, r in zip(labels, residual, strict=True) if n not in named]
    assert not any(r > BLAME_DEVIATIONS for r in left)


def test_a_worse_reading_never_fits_better() -> None:
    def fit(volts: float) -> float:
        some: Job = job("12", unplugged("A", {"1": 5.0, "2": 0.003}, loaded={"1": volts}))
        return misfit(posterior_of(some)).probability

    # A loaded wire can't stand above the open one: 5.0 V is the most that fits.
    assert fit(2.5) > 0.01
    assert fit(2.5) > fit(6.0) > fit(12.0)
