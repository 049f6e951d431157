"""Predictions of readings not yet taken, against Ohm's law."""

import numpy as np
import pytest

from backprobe.services.candidate_readings import Candidate, candidates_of
from backprobe.services.foresight import Foresight, foresee
from backprobe.services.posterior_sample import Samples, sample
from backprobe.vocabulary import NO_FAULT
from tests.services.sheets import after


def predictions(name: str) -> tuple[dict[tuple[str, bool, str, int], int], Samples, Foresight]:
    posterior = after(name)
    rng = np.random.default_rng(5)
    candidates, samples = candidates_of(posterior), sample(posterior, rng)

    def key(c: Candidate) -> tuple[str, bool, str, int]:
        state = candidates.settings[c.setting].state
        return c.quantity, state.plugged, state.key, c.at

    rows = {key(c): i for i, c in enumerate(candidates.readings)}
    return rows, samples, foresee(posterior, samples, candidates, rng)


def test_a_thermistor_plugged_in_divides_the_five_volts() -> None:
    # 2.21 kohm below a pull-up of 2.2 kohm (5 V down to 1.5625 V with 1 kohm): 5 x 2.21 / 4.41.
    rows, samples, foresight = predictions("thermistor")
    posterior = after("thermistor")
    sound = np.array(
        [
            posterior.bench.hypotheses.pairs[int(h)][1].kind == NO_FAULT
            for h in samples.draws.hypothesis
        ]
    )
    volts = foresight.predicted[rows["volts", True, "on", 0]][sound & (samples.assigned[:, 0] == 0)]
    # 11 degC from one round to the next are some 0.7 V between two; the median of sixty samples is
    # known to 0.11 V, three of which are allowed.
    assert np.median(volts) == pytest.approx(5.0 * 2.21 / 4.41, abs=0.34)


def test_a_load_leaves_a_supply_and_pulls_a_signal_down() -> None:
    rows, samples, foresight = predictions("half-a-sheet")
    posterior = after("half-a-sheet")
    table = posterior.bench.hypotheses.table
    roles = np.take_along_axis(table.role[samples.draws.hypothesis], samples.assigned, axis=1)
    loaded = foresight.predicted[rows["volts_loaded", False, "on", 0]]
    pairs = posterior.bench.hypotheses.pairs
    sound = np.array([p[1].kind == NO_FAULT for p in pairs])[samples.draws.hypothesis]
    supply = loaded[(roles[:, 0] == 0) & sound]
    assert np.quantile(supply, 0.1) > 4.9  # common practice: a 5 V supply does not mind 5 mA
    # Pull-ups are 1 to 10 kohm (common practice): 5 V x 1/2 at the most.
    assert np.quantile(loaded[(roles[:, 0] == 3) & sound], 0.9) < 3.2


def test_uncertainty_is_never_below_the_meters_own() -> None:
    rows, _, foresight = predictions("half-a-sheet")
    row = rows["volts", True, "on", 0]
    high = foresight.predicted[row] > 4.5
    # 4000 counts show 5 V with a digit of 10 mV; "2 digits" are rectangular limits of 20 mV, a
    # standard uncertainty of 20 mV / sqrt 3 (JCGM 100:2008, 4.3.7).
    assert high.any()
    assert np.all(foresight.uncertainty[row][high] >= 0.99 * 0.02 / np.sqrt(3.0))


def test_a_thermometer_shows_a_temperature_beside_any_sensor() -> None:
    rows, _, foresight = predictions("unplugged only")
    shown = foresight.predicted[rows["ambient_celsius", False, "on", -1]]
    assert np.all(np.isfinite(shown))


def test_predictions_of_voltages_are_numbers() -> None:
    for name in ("half-a-sheet", "unchecked and low", "cell"):
        rows, _, foresight = predictions(name)
        for (quantity, *_), row in rows.items():
            if quantity.startswith("volts"):
                assert np.all(np.isfinite(foresight.predicted[row]))
