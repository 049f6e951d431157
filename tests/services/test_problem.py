"""From a job to arrays: what is read where, and in which ways the measurement may be bad."""

import math
from dataclasses import replace

import numpy as np
import pytest

from backprobe.core.inference.black_lead import LeadKind
from backprobe.core.inference.sheet import Quantity
from backprobe.families.schema import STATES
from backprobe.job import Connector, Fitted, Indication, Job, Round, Terminal
from backprobe.services.problem import (
    BAD_LEAD,
    BAD_LEAD_ELSEWHERE,
    BAD_LEAD_REPEATED,
    KEY_NOT_ON,
    problem_of,
    state_of,
)
from backprobe.vocabulary import ROLES, SCAN_NAMES
from tests.services.sheets import job, taken

FULL = Round(
    "A",
    plugged=False,
    key="on",
    battery_volts=Indication(12.6),
    black_lead_check=Indication(12.59),
    volts=taken({"1": 5.0, "2": 0.01}),
    volts_loaded=taken({"1": 1.56}),
    sensor_ohms={("1", "2"): Indication(math.inf, True, "OL")},
    hertz=taken({"1": 0.0}),
    duty_percent=taken({"1": 42.0}),
    load_ohms=1000.0,
)


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


# Conditions --------------------------------------------------------------------------------------
def test_a_lead_that_was_checked_is_not_doubted() -> None:
    # Common practice, no source: battery positive to the point and across the posts agree.
    assert all(not c.bad_lead for c in problem_of(job("12", FULL)).conditions)


@pytest.mark.parametrize("check", [None, Indication(11.9)])
def test_a_lead_that_was_not_checked_or_lacks_volts_is_doubted(check: Indication | None) -> None:
    conditions = problem_of(job("12", replace(FULL, black_lead_check=check))).conditions
    assert [c.bad_lead for c in conditions] == [(), (0,), (0,)]
    assert [c.lead_kind.tolist() for c in conditions] == [
        [LeadKind.SOUND],
        [LeadKind.WANDERING],
        [LeadKind.STEADY],
    ]
    assert problem_of(job("12", replace(FULL, black_lead_check=check))).verdict.tolist() == [
        *(0, 1, 1),
    ]


def test_rounds_whose_check_fails_are_bad_together() -> None:
    """A sound lead can't fail its check (common practice, no source): no single one is blamed."""
    fails = Indication(11.0, False, "11.00")
    rounds = [
        replace(FULL, name=n, black_lead=p, black_lead_check=fails)
        for n, p in (("A", "bracket"), ("B", "body"))
    ]
    conditions = problem_of(job("12", *rounds)).conditions
    assert [c.bad_lead for c in conditions] == [(), (0, 1), (0, 1)]


def test_a_failed_check_is_a_bad_lead_also_where_nothing_else_was_read() -> None:
    hanging = Indication(0.01, False, "10 mV")
    bare = replace(FULL, name="A", volts={}, black_lead_check=hanging)
    conditions = problem_of(job("12", bare, replace(FULL, name="B"))).conditions
    assert (0,) in [c.bad_lead for c in conditions]


def test_priors_of_the_conditions_are_what_they_say() -> None:
    rounds = [
        replace(FULL, name=n, black_lead="bracket", black_lead_check=None) for n in ("A", "B")
    ]
    found: dict[tuple[int, ...], float] = {}
    for c in problem_of(job("12", *rounds)).conditions:  # steady or wandering
        found[c.bad_lead] = np.logaddexp(found.get(c.bad_lead, -math.inf), c.log_prior)
    odd = BAD_LEAD_ELSEWHERE
    assert found[()] == pytest.approx(2 * math.log(1 - odd))
    assert found[(0,)] == found[(1,)] == pytest.approx(math.log(odd) + math.log(1 - odd))
    both = found[(0, 1)]
    assert both == pytest.approx(math.log(odd * BAD_LEAD_REPEATED))
    # Two rounds on one point go bad together more often than by chance. The priors are rounded
    # judgements, normalised with everything else: their sum only has to be near one.
    assert both > 2 * math.log(odd)
    assert sum(math.exp(p) for p in found.values()) == pytest.approx(1.0, abs=0.05)
    assert BAD_LEAD < BAD_LEAD_ELSEWHERE


def test_a_round_that_reads_like_key_off_may_have_been_key_off() -> None:
    dead = replace(FULL, volts=taken({"1": 0.0, "2": 0.01}))
    conditions = problem_of(job("12", dead)).conditions
    off = [c for c in conditions if c.key_off]
    assert len(off) == 1
    assert not off[0].sheet.rounds[0].powered
    assert off[0].log_prior - conditions[0].log_prior == pytest.approx(math.log(KEY_NOT_ON))
    assert not [c for c in problem_of(job("12", FULL)).conditions if c.key_off]
