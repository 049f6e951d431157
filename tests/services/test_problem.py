"""From a job to arrays: what is read where."""

import math
from dataclasses import replace

import numpy as np
import pytest

from backprobe.core.inference.sheet import Quantity
from backprobe.families.schema import STATES
from backprobe.job import Connector, Fitted, Indication, Job, Terminal
from backprobe.services.problem import (
    problem_of,
    state_of,
)
from backprobe.vocabulary import ROLES, SCAN_NAMES
from tests.services.sheets import FULL, job


def test_every_reading_has_its_place_and_its_name() -> None:
    sheet = problem_of(job("12", FULL)).sheet
    found = dict(zip(sheet.label, sheet.value.tolist(), strict=True))
    assert found["A volts 1"] == 5.0
    assert found["A volts_loaded 1"] == 1.56
    assert found["A battery_volts"] == 12.6
    assert found["A black_lead_check"] == 12.59
    assert found["A duty_percent 1"] == pytest.approx(0.42)  # a share inside
    assert found["A sensor_ohms 1-2"] == math.inf
    assert found["A hertz 1"] == math.inf  # a meter that counts nothing shows 0
    i = sheet.label.index("A sensor_ohms 1-2")
    assert (sheet.terminal[i], sheet.other[i]) == (0, 1)
    assert sheet.quantity[i] == Quantity.SENSOR_OHM
    assert np.all(sheet.deviation > 0)
    assert sheet.n_read == len(sheet.label) == len(set(sheet.label))


def test_void_rounds_are_left_out() -> None:
    problem = problem_of(job("12", replace(FULL, void="leads crossed"), replace(FULL, name="B")))
    assert [r.name for r in problem.rounds] == ["B"]
    assert all(label.startswith("B ") for label in problem.sheet.label)


def test_a_job_without_rounds_still_has_a_sheet() -> None:
    problem = problem_of(job("12"))
    assert problem.sheet.n_read == 0
    assert len(problem.conditions) == 1


@pytest.mark.parametrize(
    ("key", "rpm", "action", "low", "high"),
    [
        ("on", 0, "", "key-on", "key-on"),
        ("off", 0, "", "key-on", "key-on"),
        ("crank", 200, "", "crank", "crank"),
        ("run", 800, "", "idle", "idle"),
        ("run", 2500, "", "raised", "raised"),
        ("run", 800, "snap throttle", "snap-low", "snap-high"),
        ("on", 0, "sweep", "sweep-low", "sweep-high"),
        ("run", 800, "wiggle", "idle", "idle"),
    ],
)
def test_state_of_a_round(key: str, rpm: float, action: str, low: str, high: str) -> None:
    assert state_of(key, rpm, action) == (low, high)
    assert {low, high} <= set(STATES)


def test_rounds_on_one_point_share_it_however_it_is_written() -> None:
    rounds = [
        replace(FULL, name=n, black_lead=p)
        for n, p in (("A", "battery negative"), ("B", "Bracket"), ("C", " bracket "))
    ]
    points = [r.point for r in problem_of(job("12", *rounds)).sheet.rounds]
    assert points == [0, 1, 1]


def test_fitted_resistors_are_between_terminals_or_to_battery_negative() -> None:
    fitted = (Fitted("2", "1", 2200.0), Fitted("1", "battery negative", 470.0))
    (found,) = problem_of(job("12", replace(FULL, fitted=fitted))).sheet.rounds
    assert found.fitted == ((1, 0, 2200.0), (0, -1, 470.0))


def test_a_diagram_is_a_witness_not_a_fact() -> None:
    terminals = (Terminal("1", diagram="sensor-ground"), Terminal("2"))
    sheet = problem_of(Job("a job", Connector("c", terminals=terminals), rounds=(FULL,))).sheet
    shares = np.exp(sheet.role_log[0])
    assert shares.sum() == pytest.approx(1.0)
    assert int(np.argmax(shares)) == ROLES.index("sensor-ground")
    assert shares.max() < 0.99
    assert not sheet.role_log[1].any()


def test_control_unit_values_are_known_by_their_names() -> None:
    scan = {
        "intake air temperature": Indication(21.0),
        "throttle position volts": Indication(0.6),
        "control unit supply": Indication(12.4),
    }
    sheet = problem_of(job("12", replace(FULL, scan=scan))).sheet
    said = {n: int(sheet.reported[sheet.label.index(f"A scan {n}")]) for n in scan}
    assert said["intake air temperature"] == SCAN_NAMES.index("intake air temperature")
    assert said["throttle position volts"] == SCAN_NAMES.index("throttle position")
    assert said["control unit supply"] == -1
