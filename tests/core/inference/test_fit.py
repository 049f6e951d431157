"""Fits and Laplace's evidence against integration on a grid, and what a fit must not depend on."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import simpson
from scipy.stats import t as student

from backprobe.core.inference import black_lead, fit_step, likelihood, predict
from backprobe.core.inference.choices import choice_bins, is_choice
from backprobe.core.inference.fit import Fit, fit
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.sheet import Array, IntArray, Quantity, Sheet
from tests.core.inference.small_sheets import (
    IDLE,
    KEY_ON,
    UNPLUGGED,
    Reading,
    draws,
    healthy,
    hypotheses,
    identity,
    sheet,
)

GAUSSIAN = 1e7  # degrees of freedom at which Student's t is a normal law


def score(table: HypothesisTable, readings: Sheet, z: Array, assigned: IntArray) -> Array:
    """Log likelihood and log prior, its normal constant left out, by the plain way."""
    found = predict.predict(table, z, readings, assigned=assigned, ohm_rounds=readings.ohm_rounds)
    shown = likelihood.indicate(table, readings, found, pick=assigned)
    log_like = likelihood.log_likelihood(readings, shown)[:, :, 0].sum(axis=1)
    return np.asarray(log_like - 0.5 * np.sum(z**2, axis=1))


def integrated(table: HypothesisTable, readings: Sheet, places: list[int], grid: Array) -> float:
    """Log evidence by brute force over the coordinates that matter; the others integrate to one.

    Choices stay at their middle option: the evidence is that option's share.
    """
    axes = np.meshgrid(*[grid] * len(places), indexing="ij")
    z = np.zeros((axes[0].size, layout_of(table, readings).size))
    for place, axis in zip(places, axes, strict=True):
        z[:, place] = axis.ravel()
    rows = table.rows(np.zeros(len(z), dtype=np.int64))
    found = score(rows, readings, z, identity(len(z), readings.n_terminal))
    total = np.exp(found - found.max()).reshape(axes[0].shape)
    for _ in places:
        total = simpson(total, x=grid, axis=0)
    choice = choice_bins(table, layout_of(table, readings), np.zeros((1, z.shape[1])))[1][0]
    return float(np.log(total) + found.max() + choice - 0.5 * len(places) * np.log(2 * np.pi))


def fitted(table: HypothesisTable, readings: Sheet, n_step: int = 12) -> Fit:
    n = table.n_wire.size
    start = np.zeros((n, layout_of(table, readings).size))
    return fit(table, np.arange(n), identity(n, readings.n_terminal), start, readings, n_step)


def patch_freedom(monkeypatch: pytest.MonkeyPatch, freedom: float) -> None:
    monkeypatch.setattr(likelihood, "FREEDOM", freedom)
    monkeypatch.setattr(fit_step, "FREEDOM", freedom)


# Evidence --------------------------------------------------------------------------------------
def battery_sheet() -> tuple[HypothesisTable, Sheet, list[int]]:
    """A battery read twice in one round: its own value and its change are the only unknowns."""
    table = healthy("thermistor-two-wire", 2).table
    rows: list[Reading] = [
        (Quantity.BATTERY, 0, -1, 12.55, 0.15),
        (Quantity.BATTERY, 0, -1, 12.42, 0.2),
    ]
    readings = sheet(2, (KEY_ON,), *rows)
    layout = layout_of(table, readings)
    return table, readings, [layout.base(0).start, layout.change(0).start]


def test_laplace_equals_integration_over_two_coordinates(monkeypatch: pytest.MonkeyPatch) -> None:
    # Laplace's approximation is exact for a linear model with normal errors; the prior's stretched
    # tail bends this one a little.
    patch_freedom(monkeypatch, GAUSSIAN)
    table, readings, places = battery_sheet()
    exact = integrated(table, readings, places, np.linspace(-6.0, 6.0, 49))
    assert fitted(table, readings).log_evidence[0] == pytest.approx(exact, abs=0.02)


def only(table: HypothesisTable, free: int) -> HypothesisTable:
    """The same hypotheses with all values known but one free one, which keeps its prior."""
    scale = np.zeros_like(table.static.scale)
    scale[:, free] = table.static.scale[:, free]
    still = replace(table.driven_prior, scale=np.zeros_like(table.driven_prior.scale))
    return replace(
        table,
        static=replace(table.static, scale=scale),
        driven_prior=still,
        driven_step=np.zeros_like(table.driven_step),
    )


def pull_up_sheet(
    monkeypatch: pytest.MonkeyPatch, deviation: float
) -> tuple[HypothesisTable, Sheet, int]:
    """A pull-up, the only unknown, loaded with 1 kohm; the black lead known to be sound."""
    monkeypatch.setattr(black_lead, "LIFT_VOLT", np.zeros(3))
    monkeypatch.setattr(black_lead, "SOUND_POINT_VOLT", 0.0)
    found = healthy("thermistor-two-wire", 2)
    table = found.table
    z = np.zeros((1, layout_of(table, sheet(2, (UNPLUGGED,))).size))
    base = predict.predict(table, z, sheet(2, (UNPLUGGED,))).thevenin.value[0, 0, 0]
    moved = []
    for f in range(table.free_slot.shape[1]):
        step = z.copy()
        step[0, f] = 0.5
        after = predict.predict(table, step, sheet(2, (UNPLUGGED,))).thevenin.value[0, 0, 0]
        moved.append(abs(after - base))
    readings = sheet(2, (UNPLUGGED,), (Quantity.VOLTS_LOADED, 0, 0, 1.2, deviation))
    place = int(np.argmax(moved))
    return only(table, place), readings, place


def test_laplace_equals_integration_over_a_pull_up(monkeypatch: pytest.MonkeyPatch) -> None:
    patch_freedom(monkeypatch, GAUSSIAN)
    table, readings, place = pull_up_sheet(monkeypatch, 0.02)
    exact = integrated(table, readings, [place], np.linspace(-4.5, 4.5, 2001))
    assert fitted(table, readings).log_evidence[0] == pytest.approx(exact, abs=0.02)


def test_laplace_of_a_sharp_reading_is_low_by_students_t_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # One reading that fixes one value: the integral of t over the reading is 1, while Laplace takes
    # its peak times a normal curve of the width that its weight at the peak, (nu + 1) / nu, says.
    nu = likelihood.FREEDOM
    factor = student.pdf(0.0, nu) * np.sqrt(2 * np.pi) / np.sqrt((nu + 1) / nu)
    assert factor == pytest.approx(0.84, abs=0.005)
    table, readings, place = pull_up_sheet(monkeypatch, 0.02)
    exact = integrated(table, readings, [place], np.linspace(-4.5, 4.5, 2001))
    laplace = fitted(table, readings).log_evidence[0]
    assert laplace - exact == pytest.approx(np.log(factor), abs=0.03)


def test_a_reading_that_says_nothing_leaves_the_evidence_at_its_own_factor() -> None:
    # No coordinate moves this prediction: the evidence is the likelihood itself, no Occam factor,
    # and of the choices only those of the circuit count.
    table = hypotheses("hall-5v", 3).table.rows(np.array([0, 4]))
    readings = sheet(3, (KEY_ON,), (Quantity.AMBIENT, 0, -1, 20.0, 2.0))
    found = fitted(table, readings)
    _, log_choice = choice_bins(table, layout_of(table, readings), found.z, found.told)
    expected = found.reading_log.sum(axis=1) + log_choice
    assert found.log_evidence == pytest.approx(expected, abs=1e-9)
    assert not found.z.any()


# Finding the best point --------------------------------------------------------------------------
def simulated(table: HypothesisTable, readings: Sheet, z: Array, rng: np.random.Generator) -> Sheet:
    """The same sheet with readings as one row's coordinates would give them, with noise."""
    assigned = identity(1, readings.n_terminal)
    found = predict.predict(table, z, readings, ohm_rounds=readings.ohm_rounds)
    shown = likelihood.indicate(table, readings, found, pick=assigned)
    noise = rng.standard_t(likelihood.FREEDOM, readings.n_read)
    value = shown.mean[0, :, 0] + noise * shown.deviation[0, :, 0]
    log = np.isin(readings.quantity, [int(q) for q in likelihood.LOGARITHMIC])
    offset = np.where(readings.quantity == Quantity.HERTZ, 0.0, likelihood.LEAD_OHM)
    value = np.where(log, np.exp(np.where(log, value, 0.0)) - offset, value)
    return replace(readings, value=np.where(np.isfinite(value), value, np.inf))


def thermistor_sheet() -> Sheet:
    rows: list[Reading] = [
        (Quantity.VOLTS, 0, 0, 5.0, 0.02),
        (Quantity.VOLTS, 0, 1, 0.0, 0.004),
        (Quantity.VOLTS_LOADED, 0, 0, 2.0, 0.02),
        (Quantity.SENSOR_OHM, 0, 0, 2000.0, 20.0),
        (Quantity.VOLTS, 1, 0, 2.5, 0.02),
        (Quantity.VOLTS, 1, 1, 0.0, 0.004),
        (Quantity.BATTERY, 0, -1, 12.5, 0.03),
        (Quantity.LEAD_CHECK, 0, -1, 12.5, 0.03),
    ]
    return sheet(2, (UNPLUGGED, KEY_ON), *rows)


def test_a_fit_is_at_least_as_good_as_the_truth() -> None:
    # The most probable point cannot be less probable than the values that made the readings.
    table, rng = healthy("thermistor-two-wire", 2).table, np.random.default_rng(17)
    layout = layout_of(table, thermistor_sheet())
    held = is_choice(table, layout)[0]
    worse = 0
    for _ in range(6):
        truth = np.where(held, 0.0, rng.standard_normal((1, layout.size)))
        readings = simulated(table, thermistor_sheet(), truth, rng)
        found = fitted(table, readings, 16)
        worse += bool(found.log_posterior[0] < score(table, readings, truth, identity(1, 2))[0])
    assert worse == 0


def test_score_of_a_fit_is_that_of_its_point() -> None:
    table = hypotheses("thermistor-two-wire", 2).table
    found = fitted(table, thermistor_sheet())
    layout = layout_of(table, thermistor_sheet())
    free = np.where(is_choice(table, layout), 0.0, found.z)
    again = score(table, thermistor_sheet(), found.z, found.assigned)
    again += 0.5 * np.sum(found.z**2 - free**2, axis=1)
    assert found.log_posterior == pytest.approx(again, abs=1e-6)


def test_more_steps_never_worsen_the_score() -> None:
    table = hypotheses("thermistor-two-wire", 2).table
    scores = np.stack(
        [fitted(table, thermistor_sheet(), n).log_posterior for n in (0, 1, 2, 3, 5, 8)]
    )
    assert np.all(np.diff(scores, axis=0) >= 0.0)
    assert scores[-1].max() > scores[0].max() + 1.0


def test_permuting_terminals_permutes_nothing_else() -> None:
    table = hypotheses("hall-5v", 3).table.rows(np.arange(0, 20, 3))
    rows: list[Reading] = [
        (Quantity.VOLTS, 0, 0, 5.01, 0.02),
        (Quantity.VOLTS, 0, 1, 4.98, 0.02),
        (Quantity.VOLTS, 0, 2, 0.01, 0.01),
        (Quantity.VOLTS, 1, 1, 2.4, 0.05),
        (Quantity.HERTZ, 1, 1, 120.0, 0.5),
        (Quantity.VOLTS_LOADED, 0, 1, 1.6, 0.02),
    ]
    readings, order = sheet(3, (UNPLUGGED, IDLE), *rows), np.array([2, 0, 1])
    moved = replace(readings, terminal=order[readings.terminal])
    n = table.n_wire.size
    start, where = draws(n, layout_of(table, readings).size, 6, 0.3), np.argsort(order)
    one = fit(table, np.arange(n), identity(n, 3), start, readings)
    other = fit(table, np.arange(n), np.tile(where, (n, 1)), start, moved)
    # Sums in another order round otherwise, and seven steps carry that on; an order that mattered
    # would show in the first digits.
    assert other.z == pytest.approx(one.z, abs=1e-7)
    assert other.log_evidence == pytest.approx(one.log_evidence, abs=1e-7)
    assert other.reading_log == pytest.approx(one.reading_log, abs=1e-7)


def test_explanations_are_fitted_alike_alone_and_together() -> None:
    table = hypotheses("thermistor-two-wire", 2).table
    together = fitted(table, thermistor_sheet())
    for m in (0, 3, 7):
        alone = fitted(table.rows(np.array([m])), thermistor_sheet())
        assert alone.log_evidence[0] == pytest.approx(together.log_evidence[m], abs=1e-6)


# Driven choices ----------------------------------------------------------------------------------
def contact_sheet(*volts: float) -> Sheet:
    """A switch read unplugged, then plugged in some rounds with the key on."""
    rounds = (UNPLUGGED, *(replace(KEY_ON, name=f"B{k}") for k in range(len(volts))))
    rows: list[Reading] = [(Quantity.VOLTS, 0, 0, 5.0, 0.02)]
    rows += [(Quantity.VOLTS, k + 1, 0, v, 0.02) for k, v in enumerate(volts)]
    return sheet(2, rounds, *rows)


def test_a_round_tells_a_choice_only_where_its_readings_depend_on_it() -> None:
    table, readings = healthy("switch-two-wire", 2).table, contact_sheet(5.0, 5.0)
    found = fitted(table, readings)
    layout = layout_of(table, readings)
    told = [bool(found.told[0, layout.choice(r)][0]) for r in range(3)]
    assert told == [False, True, True]  # unplugged, the contact is not in the circuit
    # What tells nothing costs nothing: the same evidence without the unplugged round's option.
    bins, log_choice = choice_bins(table, layout, found.z, found.told)
    assert found.log_choice == pytest.approx(log_choice)
    other = found.z.copy()
    other[:, layout.choice(0)] = -other[:, layout.choice(0)] + 1.0
    assert choice_bins(table, layout, other, found.told)[1] == pytest.approx(log_choice)
    assert np.array_equal(choice_bins(table, layout, other, found.told)[0], bins)


def test_an_open_collector_without_its_supply_tells_no_tooth() -> None:
    found = hypotheses("hall-5v", 3)
    broken = [h for h, f in enumerate(found.pairs) if f[1].kind == "open"]
    rows: list[Reading] = [(Quantity.VOLTS, 0, t, v, 0.02) for t, v in enumerate((0.0, 5.0, 0.0))]
    readings = sheet(3, (KEY_ON,), *rows)
    table = found.table.rows(np.array(broken))
    layout = layout_of(table, readings)
    told = fitted(table, readings).told[:, layout.choice(0).start]
    assert not told.all()


# OL ---------------------------------------------------------------------------------------------
def piezo_sheet(ohm: float) -> tuple[HypothesisTable, Sheet, int]:
    """A knock sensor under an ohmmeter; where the coordinate of its resistance is."""
    found = healthy("knock-two-wire", 2)
    rows: list[Reading] = [(Quantity.SENSOR_OHM, 0, 0, ohm, 0.01)]
    readings = sheet(2, (UNPLUGGED,), *rows)
    z = np.eye(layout_of(found.table, readings).size)
    table = found.table.rows(np.zeros(len(z), dtype=np.int64))
    shown = predict.predict(
        table, z, readings, assigned=identity(len(z), 2), ohm_rounds=readings.ohm_rounds
    )
    ohms = shown.ohm[:, 0, 0, 1]
    return found.table, readings, int(np.argmax(np.abs(np.log(ohms / np.median(ohms)))))


@pytest.mark.parametrize("start", [-2.0, -1.0, 0.0])
def test_a_fit_is_drawn_up_to_an_ohmmeter_that_shows_ol(start: float) -> None:
    # From 3e7 ohm on a meter shows OL: the fit ends there, and not far beyond.
    table, readings, place = piezo_sheet(np.inf)
    z = np.zeros((1, layout_of(table, readings).size))
    z[0, place] = start
    found = fit(table, np.zeros(1, dtype=np.int64), identity(1, 2), z, readings, 12)
    assert found.reading_log[0, 0] > -0.2
    assert np.log(3e7) < found.predicted[0, 0] < np.log(3e8)


def test_beyond_an_ol_nothing_is_drawn_and_nothing_is_known() -> None:
    table, readings, place = piezo_sheet(np.inf)
    z = np.zeros((1, layout_of(table, readings).size))
    z[0, place] = 1.5
    found = fit(table, np.zeros(1, dtype=np.int64), identity(1, 2), z, readings, 0)
    assert found.z[0, place] == 1.5
    assert not found.jacobian.any()


def test_the_evidence_of_an_ol_is_near_the_share_of_sensors_that_show_it() -> None:
    # The share, by integration; at the limit's edge Laplace's approximation takes all of the
    # prior, so it may be too great by that share, and by no more.
    table, readings, place = piezo_sheet(np.inf)
    exact = integrated(only(table, place), readings, [place], np.linspace(-6.0, 6.0, 481))
    found = fitted(only(table, place), readings).log_evidence[0]
    assert exact - 0.1 < found < exact + 1.2
