"""The benchmark measures what it says: percentiles, targets, the same circuit for both solvers."""

import math
from pathlib import Path

import numpy as np
import pytest

from backprobe.core.circuit.elements import Coefficient
from backprobe.core.circuit.plan import CircuitPlan, Mode, Stamp
from backprobe.core.waveform.measure import measure_pulses
from backprobe.job.job_file import parse_job
from backprobe.services.job_book import JobBook
from backprobe.store.cells import cells_of
from backprobe.store.engine import Store
from backprobe.store.upgrade import upgrade
from bench.decks import deck, solve
from bench.jobs import STEPS, job_text
from bench.report import Measured, median, percentile
from bench.store import N_READING, fill
from bench.waveform import INTERVAL, PERIOD, by_scipy, capture

PLUGGED = frozenset((Mode.PLUGGED,))


def test_percentiles_are_nearest_ranks() -> None:
    # The worked example of the general encyclopaedia's article on percentiles, nearest-rank method.
    values = [50.0, 15.0, 35.0, 20.0, 40.0]
    assert [percentile(values, p) for p in (5, 30, 40, 50, 100)] == [15, 20, 20, 35, 50]
    assert median(values) == 35.0


@pytest.mark.parametrize(
    ("value", "most", "least", "is_met"),
    [
        (49.0, 50.0, None, True),
        (51.0, 50.0, None, False),
        (999.0, None, 1000.0, False),
        (1001.0, None, 1000.0, True),
        (math.nan, None, 1000.0, False),
        (math.nan, None, None, True),
    ],
)
def test_a_missed_target_is_seen(
    value: float, most: float | None, least: float | None, is_met: bool
) -> None:
    assert Measured("x", value, "ms", most=most, least=least).is_met is is_met


@pytest.mark.needs_ngspice
def test_a_deck_is_the_circuit(tmp_path: Path) -> None:
    """5 V behind 2.2 kohm over 4.7 kohm and a 10 Mohm meter: 3.4052868019 V (closed form)."""
    slots = (0.0, 1.0, 5.0, 2200.0, 4700.0, 10e6)
    stamps = [
        Stamp(Coefficient.SOURCE, (2, 3, 0), (1, 0, 1, 0), PLUGGED),
        Stamp(Coefficient.CONDUCTANCE, (3, 0, 0), (1, 0, 1, 0), PLUGGED),
        Stamp(Coefficient.CONDUCTANCE, (4, 0, 0), (1, 0, 1, 0), PLUGGED),
        Stamp(Coefficient.CONDUCTANCE, (5, 0, 0), (1, 0, 1, 0), PLUGGED),
        # an output of half of that behind 1 ohm, loaded with 1 ohm: a quarter
        Stamp(Coefficient.CONDUCTANCE, (1, 0, 0), (2, 0, 2, 0), PLUGGED),
        Stamp(Coefficient.CONDUCTANCE, (1, 0, 0), (2, 0, 2, 0), PLUGGED),
        Stamp(Coefficient.TRANSFER, (1, 6, 0), (2, 0, 1, 0), PLUGGED),
    ]
    plan = CircuitPlan(
        node_names=("divider", "output"),
        stamps=tuple(stamps),
        groups=(),
        probe_nodes=(1, 2),
        unit_nodes=(1, 2),
        switch_share=(),
        switch_hertz=(),
        n_value=7,
    )
    path = tmp_path / "divider.cir"
    text = deck(plan, np.array([*slots, 0.5]), Mode.PLUGGED, (0, 0))
    path.write_text(text, encoding="utf-8")
    found = solve(plan, [path, path])
    expected = 5.0 / (1.0 + 2200.0 * (1.0 / 4700.0 + 1.0 / 10e6))
    assert expected == pytest.approx(3.4052868019, abs=1e-9)
    # ngspice ends its iteration within a relative 1e-3 at worst (its default), here far below.
    assert found == pytest.approx(np.array([[expected, expected / 4]] * 2), rel=1e-7)


@pytest.mark.parametrize("n_terminal", sorted(STEPS))
def test_each_job_is_a_job_file(n_terminal: int) -> None:
    for n_reading in range(1, len(STEPS[n_terminal]) + 1):
        job = parse_job(job_text(n_terminal, n_reading), "bench.toml")
        assert len(job.connector.terminals) == n_terminal
        taken = sum(len(r.volts) + len(r.volts_loaded) for r in job.rounds)
        assert taken == n_reading


def test_each_job_put_in_at_once_is_one_as_any_other(tmp_path: Path) -> None:
    store = Store(str(tmp_path / "jobs.sqlite3"))
    upgrade(store)
    with store.write() as session:
        fill(session.connection(), 9)
    book = JobBook(store)
    lines, count = book.listed("number 7")
    assert (count, book.listed()[1]) == (1, 9)
    (sheet,) = book.job(lines[0].key).sheets
    job, text = book.job_file(sheet.key)
    store.close()
    assert parse_job(text, "bench") == job
    assert sum(len(list(cells_of(each))) for each in job.rounds) == N_READING


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_both_ways_to_pulses_find_the_same(kind: type[np.floating]) -> None:
    x = capture(kind, 60_000)
    period, duty = by_scipy(x)
    found = measure_pulses(x, interval=INTERVAL).pulses
    # Levels by the histogram or half of the prominence, noise of 20 mV on slopes of 0.8 V a sample.
    assert found.period.mean == pytest.approx(PERIOD * INTERVAL, rel=1e-5)
    assert period == pytest.approx(found.period.mean, rel=1e-5)
    assert duty == pytest.approx(found.duty.mean, rel=1e-3)
