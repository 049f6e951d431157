"""Fuel trims gathered from a log."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.errors import UsageError
from backprobe.recordings.log import LogSeries
from backprobe.services.trim_log import table_from_log
from tests.services.trim_logs import drive_log, series


def test_a_log_becomes_cells_with_what_they_are_worth() -> None:
    table = table_from_log(drive_log(), 2.0)
    assert table.metering == "air mass"
    assert [cell.name.partition(",")[0] for cell in table.cells] == [
        "idle",
        "2500 rpm",
        "3000 rpm",
    ]
    for cell, true in zip(table.cells, (22.0, 5.0, 1.0), strict=True):
        # Swings of 2 % with a memory of 0.9 a step: about 19 times fewer values than rows.
        assert cell.trims[0] == pytest.approx(true, abs=4 * cell.uncertainties[0])
        assert cell.n_independent < 0.4 * cell.n_value
        assert 0.5 <= cell.uncertainties[0] < 2.0
    assert table.cells[2].flow == pytest.approx(19.0, rel=0.01)


def test_the_uncertainty_is_that_of_many_drives() -> None:
    """Deviation of the idle mean over 60 drives against what one drive claims of itself."""
    tables = [table_from_log(drive_log(seed=seed), 2.0) for seed in range(60)]
    means = [table.cells[0].trims[0] for table in tables]
    claimed = np.sqrt(np.mean([table.cells[0].uncertainties[0] ** 2 for table in tables]))
    # The claim holds 0.5 % for resolution besides; 60 draws tell a deviation to 9 %.
    assert 0.8 * np.std(means) < claimed < 2.0 * np.std(means)


def test_a_cold_engine_is_left_out_and_said() -> None:
    with pytest.raises(UsageError, match="No stretch of the log can be used"):
        table_from_log(drive_log(coolant=40.0), 2.0)


def test_what_moves_is_left_out() -> None:
    table = table_from_log(drive_log(), 2.0)
    assert any("while speed or load moved" in remark for remark in table.remarks)


def test_without_a_displacement_idle_tells_it() -> None:
    """Idle air in g/s is about the litres, within 20 % (common practice, no source)."""
    table = table_from_log(drive_log())
    (said,) = [remark for remark in table.remarks if remark.startswith("Displacement taken as")]
    assert 1.6 < float(said.split()[3]) < 2.6


def test_open_loop_is_left_out() -> None:
    log = drive_log()
    clock = log[0].times
    closed = series("fuel system status", "", clock, np.where(clock < 108.0, 2.0, 4.0))
    table = table_from_log([*log, closed], 2.0)
    assert [cell.name.partition(",")[0] for cell in table.cells] == ["idle", "2500 rpm"]
    assert any("not in closed loop" in remark for remark in table.remarks)


def renamed(name: str, unit: str, change: Callable[[np.ndarray], np.ndarray]) -> list[LogSeries]:
    """The drive with its air flow told otherwise."""
    log = drive_log()
    speed = np.interp(log[1].times, log[0].times, log[0].values)
    flow = next(each for each in log if each.quantity == "air mass flow")
    full = 1.184 * 2.0 * speed / 120.0  # g/s at full load, 2.0 litres
    other = series(name, unit, flow.times, change(flow.values / full))
    return [each for each in log if each.quantity != "air mass flow"] + [other]


@pytest.mark.parametrize(
    ("name", "unit", "scale", "metering"),
    [
        ("absolute load", "%", 100.0, ""),
        ("manifold pressure", "kPa", 101.325 / 0.8, "manifold pressure"),
        ("calculated load", "%", 100.0 / 0.85, ""),
    ],
)
def test_other_ways_to_tell_the_load(name: str, unit: str, scale: float, metering: str) -> None:
    """Absolute load is air per stroke over 1.184 g a litre (SAE J1979)."""
    table = table_from_log(renamed(name, unit, lambda share: scale * share))
    assert table.metering == metering
    np.testing.assert_allclose([cell.flow for cell in table.cells], [1.3, 5.0, 19.0], rtol=0.02)


def test_a_log_without_load_or_trims_is_refused() -> None:
    log = drive_log()
    with pytest.raises(UsageError, match="tells nothing of the load"):
        table_from_log([each for each in log if each.quantity != "air mass flow"])
    with pytest.raises(UsageError, match="holds no short fuel trim"):
        table_from_log(log[:2])


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.0, 0.98), st.sets(st.integers(0, 6), max_size=3))
def test_a_log_with_holes_is_gathered_or_refused_in_words(
    seed: int, lost: float, missing: set[int]
) -> None:
    rng = np.random.default_rng(seed)
    log = []
    for number, each in enumerate(drive_log(second_bank=3.0)):
        kept = rng.random(len(each.times)) >= lost
        if number not in missing:
            log.append(series(each.name, each.unit, each.times[kept], each.values[kept]))
    try:
        table = table_from_log(log, 2.0)
    except UsageError:
        return
    for cell in table.cells:
        assert all(map(math.isfinite, (*cell.trims, *cell.uncertainties, cell.flow)))
        assert 1.0 <= cell.n_independent <= cell.n_value
