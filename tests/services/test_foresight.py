"""Predictions of readings not yet taken, against Ohm's law."""

import numpy as np
import pytest
from numpy.typing import NDArray

from backprobe.services.candidate import Candidate
from backprobe.services.candidate_readings import candidates_of
from backprobe.services.foresight import Foresight, foresee
from backprobe.services.posterior_sample import Samples, sample
from backprobe.services.steps import State
from backprobe.vocabulary import NO_FAULT
from tests.services.sheets import after

Array = NDArray[np.float64]


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


def of_scan(name: str, value: str, *, plugged: bool) -> tuple[Array, Samples, Foresight]:
    posterior = after(name)
    rng = np.random.default_rng(5)
    candidates, samples = candidates_of(posterior), sample(posterior, rng)
    (row,) = [
        k
        for k, c in enumerate(candidates.readings)
        if c.scan == value
        and candidates.settings[c.setting].state == State(plugged=plugged, key="on")
    ]
    foresight = foresee(posterior, samples, candidates, rng)
    return foresight.predicted[row], samples, foresight


def test_a_control_unit_without_its_thermistor_reports_its_coldest_value() -> None:
    # Common practice, no source: unplugged, a coolant temperature falls to about -40 degC.
    shown, samples, _ = of_scan("thermistor", "coolant temperature", plugged=False)
    pairs = after("thermistor").bench.hypotheses.pairs
    sound = np.array(
        [
            pairs[int(h)][0].id == "thermistor-two-wire" and pairs[int(h)][1].kind == NO_FAULT
            for h in samples.draws.hypothesis
        ]
    )
    assert sound.any()
    np.testing.assert_allclose(shown[sound], -40.0)


def test_a_control_unit_sees_what_the_divider_leaves() -> None:
    # 2.21 kohm below 2.2 kohm, as above; here, too, the median of few samples.
    shown, samples, _ = of_scan("thermistor", "coolant temperature volts", plugged=True)
    pairs = after("thermistor").bench.hypotheses.pairs
    sound = np.array(
        [
            pairs[int(h)][0].id == "thermistor-two-wire" and pairs[int(h)][1].kind == NO_FAULT
            for h in samples.draws.hypothesis
        ]
    )
    assert np.median(shown[sound]) == pytest.approx(5.0 * 2.21 / 4.41, abs=0.34)


def test_a_value_of_another_sensor_is_anything() -> None:
    # A circuit that no value tells of leaves the value what another sensor makes it.
    shown, _, _ = of_scan("thermistor", "coolant temperature volts", plugged=True)
    assert np.isfinite(shown).all()
    assert shown.min() >= 0.0
    assert shown.max() <= 5.0  # a converter ends at its reference
