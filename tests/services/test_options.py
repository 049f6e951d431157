"""Options of a circuit: their masses add, whatever the family file makes of them."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import logsumexp, ndtri
from scipy.stats import qmc

from backprobe.core.inference.bank import draw_bank, solve_rounds, standard_sheet
from backprobe.core.inference.choices import choice_bins
from backprobe.core.inference.fit import Fit, fit
from backprobe.core.inference.grouped_modes import group_modes
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.importance import laplace_draws, sample_groups
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.likelihood import indicate, log_likelihood
from backprobe.core.inference.predict import predict
from backprobe.core.inference.sheet import Quantity, Sheet
from backprobe.families.hypotheses import Hypotheses, hypotheses_for
from backprobe.families.loader import parse_family
from backprobe.families.schema import Family
from backprobe.job import Job
from backprobe.services import engine, sampling
from backprobe.services.bank_cache import FIRST_ROUNDS, Workbench
from backprobe.services.fits import distinct
from backprobe.services.options import with_options
from backprobe.services.problem import problem_of
from backprobe.vocabulary import ROLES
from tests.core.inference.small_sheets import KEY_ON, UNPLUGGED, Reading, healthy, identity, sheet
from tests.services.sheets import SHEETS

PULLED_UP = """
format = 1
id = "{name}"
title = "{name}"
kind = "temperature"
prior = {prior}
about = "A thermistor behind a pull-up."
source = "common practice"

[[wire]]
name = "signal"
role = "signal-thermistor"
to = "signal.cu"

[[wire]]
name = "ground"
role = "sensor-ground"
to = "cu-ground"

[value.pull-up]
log_uniform = [800.0, 11000.0]
source = "common practice"

[driven.temperature]
unit = "celsius"
key-on = {{ uniform = [-20.0, 110.0], source = "common practice" }}
idle = {{ uniform = [-15.0, 110.0], source = "common practice" }}
repeat = 6.0

[[sensor]]
name = "thermistor"
kind = "thermistor"
between = ["signal.pin", "ground.pin"]
ohm_25 = {{ log_uniform = [1200.0, 16000.0], source = "common practice" }}
beta_kelvin = {{ uniform = [3300.0, 4200.0], source = "common practice" }}
celsius = "temperature"
"""


def pulled_up(name: str, prior: float = 1.0, weights: tuple[float, ...] = ()) -> Family:
    """A thermistor's circuit; with weights, the pull-up is written as so many equal options."""
    text = PULLED_UP.format(name=name, prior=prior)
    options = [f"option {k}" for k in range(len(weights))]
    if options:
        text += f'\n[value.feed]\nchoice = {options}\nweights = {list(weights)}\nsource = "none"\n'
    for k, option in enumerate(options or [""]):
        text += f'\n[[control-unit]]\nname = "pull-up-{k}"\nkind = "resistor"\n'
        text += 'between = ["vcc", "signal.cu"]\nohm = "pull-up"\n'
        text += f'only_if = {{ value = "feed", is = "{option}" }}\n' if option else ""
    return parse_family(text, f"{name}.toml")


def bench_of(hypotheses: Hypotheses, n_particle: int) -> Workbench:
    n = hypotheses.n_terminal
    whole, table = standard_sheet(n, len(ROLES)), hypotheses.table
    bank = draw_bank(table, np.full(table.n_wire.size, n_particle), whole, 3)
    if n_particle > 1:
        solve_rounds(bank, table, whole, FIRST_ROUNDS)
    return Workbench(hypotheses, bank, whole)


def shares(families: list[Family], of: Job) -> dict[str, float]:
    """Probability of each family after a sheet of two terminals."""
    bench = bench_of(hypotheses_for(2, families), 64)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sampling, "N_DRAW", 768)  # chance aside; a job gets fewer
        draws = engine.infer(problem_of(of), bench).draws
    name = np.array([bench.hypotheses.pairs[h][0].id for h in draws.hypothesis])
    return {f.id: float(draws.weight[name == f.id].sum()) for f in families}


# The same circuit, written otherwise ---------------------------------------------------------
WEIGHTS = st.lists(st.floats(0.2, 1.0), min_size=2, max_size=4).map(
    lambda some: tuple(float(w) for w in np.array(some) / sum(some))
)


@settings(max_examples=6, deadline=None)
@given(WEIGHTS, st.sampled_from(["thermistor", "unplugged only", "empty round"]))
def test_a_choice_of_equal_options_costs_a_family_nothing(
    weights: tuple[float, ...], name: str
) -> None:
    found = shares([pulled_up("plain"), pulled_up("written-out", 1.0, weights)], SHEETS[name])
    # Equal circuits keep their equal priors. The mean of 768 draws is known to a tenth or better
    # (effective size above 100), shares of two to 0.035; a lost option would cost 0.1 to 0.3.
    assert found["written-out"] == pytest.approx(0.5, abs=0.05)


def test_priors_of_one_circuit_written_twice_are_kept() -> None:
    families = [pulled_up("plain", 3.0), pulled_up("written-out", 1.0, (0.5, 0.5))]
    assert shares(families, SHEETS["thermistor"])["plain"] == pytest.approx(0.75, abs=0.05)


# Options summed by brute force ---------------------------------------------------------------
def only_healthy(family: str, n: int) -> Workbench:
    return bench_of(healthy(family, n), 1)


def by_brute_force(table: HypothesisTable, readings: Sheet, log2_n: int) -> tuple[float, float]:
    """Log evidence as the mean over prior draws, options with them, of the sum over all wirings.

    Second, its standard error from independent scrambles.
    """
    layout = layout_of(table, readings)
    found = []
    for scramble in range(4):
        points = qmc.Sobol(layout.size, rng=np.random.default_rng(scramble)).random_base2(log2_n)
        z = ndtri(np.clip(points, 1e-12, 1.0 - 1e-12))
        rows = table.rows(np.zeros(len(z), dtype=np.int64))
        prediction, per_wiring = predict(rows, z, readings), []
        for order in permutations(range(readings.n_terminal)):
            assigned = np.tile(np.array(order), (len(z), 1))
            shown = indicate(rows, readings, prediction, pick=assigned)
            per_wiring.append(log_likelihood(readings, shown)[:, :, 0].sum(axis=1))
        found.append(logsumexp(per_wiring) - np.log(len(z)))
    return float(np.mean(found)), float(np.std(found) / np.sqrt(len(found) - 1.0))


def by_modes(bench: Workbench, readings: Sheet, n_draw: int = 32768) -> float:
    """Log evidence as the engine finds it from one start of each wiring."""
    table = bench.hypotheses.table
    wirings = np.array(list(permutations(range(readings.n_terminal))))
    many = np.zeros(len(wirings), dtype=np.int64)
    start = np.zeros((len(wirings), layout_of(table, readings).size))
    fits = with_options(bench, readings, fit(table, many, wirings, start, readings, 10))
    groups = group_modes(table, readings, fits)
    laplace = laplace_draws(table, readings, fits, groups).log_weight
    rng = np.random.default_rng(1)
    draws = sample_groups(table, readings, fits, groups, n_draw, rng, laplace)
    return float(logsumexp(draws.log_weight) - table.log_prior[0])


# Readings that leave options open: what is pulled up to 5 V looks the same from the sensor supply;
# a wiper outweighs whatever holds the input.
CASES: dict[str, tuple[int, tuple[Reading, ...]]] = {
    "thermistor-two-wire": (2, ((Quantity.VOLTS, 0, 0, 4.9, 0.3),)),
    "hall-5v": (3, ((Quantity.VOLTS, 0, 1, 5.1, 0.4), (Quantity.BATTERY, 0, -1, 12.5, 0.5))),
    "potentiometer-three-wire": (
        3,
        ((Quantity.VOLTS, 1, 1, 1.3, 0.3), (Quantity.VOLTS, 1, 0, 5.0, 0.3)),
    ),
    "knock-two-wire": (2, ((Quantity.VOLTS, 0, 0, 0.8, 0.4), (Quantity.VOLTS, 0, 1, 0.9, 0.4))),
}


@pytest.mark.parametrize("family", CASES)
def test_evidence_is_the_sum_over_options(family: str) -> None:
    n, rows = CASES[family]
    bench, readings = only_healthy(family, n), sheet(n, (UNPLUGGED, KEY_ON), *rows)
    expected, error = by_brute_force(bench.hypotheses.table, readings, 12)
    # 32768 draws a group, and the brute force itself: 0.02 each; a lost option costs 0.16 or more.
    assert error < 0.02
    assert by_modes(bench, readings) == pytest.approx(expected, abs=0.05)


# What must not change ------------------------------------------------------------------------
def explained(family: str) -> tuple[Workbench, Sheet, Fit]:
    n, rows = CASES[family]
    bench, readings = only_healthy(family, n), sheet(n, (UNPLUGGED, KEY_ON), *rows)
    start = np.zeros((2, layout_of(bench.hypotheses.table, readings).size))
    wirings = np.stack([np.arange(n), np.arange(n)[::-1]])
    return bench, readings, fit(bench.hypotheses.table, np.zeros(2, int), wirings, start, readings)


@pytest.mark.parametrize("family", CASES)
def test_no_option_is_counted_twice(family: str) -> None:
    bench, readings, fits = explained(family)
    table = bench.hypotheses.table
    found = with_options(bench, readings, fits)
    rows = table.rows(found.hypothesis)
    static = rows.static.is_choice
    told = found.told[:, : static.shape[1]] & static
    assert (told == told[0]).all()  # a draw sums over all wirings: what counts in one does in all
    bins, log_choice = choice_bins(rows, layout_of(table, readings), found.z, found.told)
    assert found.log_choice == pytest.approx(log_choice)
    for wiring in np.unique(found.assigned, axis=0):
        mine = (found.assigned == wiring).all(axis=1)
        kept = {tuple(b): float(p) for b, p in zip(bins[mine], log_choice[mine], strict=True)}
        assert len(kept) == mine.sum()
        assert logsumexp(list(kept.values())) < 1e-9


def test_it_changes_nothing_more_when_repeated() -> None:
    bench, readings, fits = explained("hall-5v")
    once = with_options(bench, readings, fits)
    again = with_options(bench, readings, once)
    assert again.hypothesis.size == once.hypothesis.size
    order, other = np.lexsort(once.z.T), np.lexsort(again.z.T)
    assert once.z[order] == pytest.approx(again.z[other])
    assert once.log_evidence[order] == pytest.approx(again.log_evidence[other])


def test_circuits_without_choices_stay_as_they_are() -> None:
    table = healthy("platinum-two-wire", 2).table
    assert not table.static.is_choice.any()
    readings = sheet(2, (UNPLUGGED,), (Quantity.VOLTS, 0, 0, 4.9, 0.1))
    start = np.zeros((1, layout_of(table, readings).size))
    fits = fit(table, np.zeros(1, int), identity(1, 2), start, readings)
    same = with_options(only_healthy("platinum-two-wire", 2), readings, fits)
    assert same.log_evidence.tolist() == fits.log_evidence.tolist()


def test_options_are_worth_nothing_far_behind() -> None:
    bench, readings, fits = explained("thermistor-two-wire")
    far = with_options(bench, readings, fits, ahead=100.0)
    assert far.log_choice == pytest.approx(fits.log_choice[distinct(bench, readings, fits)])
