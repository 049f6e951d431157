"""Where the search starts, and what is looked at beside it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.inference.choices import other_circuit_choices
from backprobe.core.inference.fit import concatenate
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.screen import screen
from backprobe.job import Indication, Round
from backprobe.job.job_file import parse_job
from backprobe.services.explain import posterior_of
from backprobe.services.fits import ODD_READING, distinct, score
from backprobe.services.from_bank import N_ALIKE, wirings_alike
from backprobe.services.nearby import best_of_families
from backprobe.services.search import (
    MAY_COME_NEAR,
    WIDE,
    carried_on,
    rivals_from_bank,
)
from backprobe.services.summary import circuit_answers, fault_answers
from tests.services.sheets import after, job, taken, unplugged


def test_every_kind_of_circuit_keeps_its_best_start() -> None:
    posterior = after("thermistor")
    bench, sheet = posterior.bench, posterior.problem.sheet
    kin = np.unique([f.id for f, _ in bench.hypotheses.pairs], return_inverse=True)[1]
    few = screen(bench.bank, bench.hypotheses.table, sheet, 5)
    wide = screen(bench.bank, bench.hypotheses.table, sheet, 5, kin=kin)
    assert few.hypothesis.tolist() == wide.hypothesis[: few.hypothesis.size].tolist()
    # The bank's particles that are worked out exactly need not hold every kind of circuit.
    assert len(set(kin[wide.hypothesis])) > len(set(kin[few.hypothesis]))
    late = wide.hypothesis[few.hypothesis.size :]
    assert len(set(kin[late])) == late.size
    assert not set(kin[late]) & set(kin[few.hypothesis])


def test_starts_of_one_explanation_are_different_particles() -> None:
    posterior = after("thermistor")
    bench, sheet = posterior.bench, posterior.problem.sheet
    start = screen(bench.bank, bench.hypotheses.table, sheet, 8, per_assignment=3)
    assert len(set(start.particle.tolist())) == start.particle.size
    explained = {(int(h), *a) for h, a in zip(start.hypothesis, start.assigned, strict=True)}
    assert 8 <= len(explained) <= start.hypothesis.size <= 24


def test_what_may_still_come_near_is_carried_further() -> None:
    posterior = after("thermistor")
    bench, sheet = posterior.bench, posterior.problem.sheet
    first = rivals_from_bank(bench, sheet, WIDE)
    further = carried_on(bench, sheet, first)
    prior = bench.hypotheses.table.log_prior
    total, reached = (f.log_posterior + prior[f.hypothesis] for f in (first, further))
    near = set(first.hypothesis[total > total.max() - MAY_COME_NEAR].tolist())
    assert set(further.hypothesis.tolist()) <= near
    assert np.unique(further.hypothesis).size == further.hypothesis.size
    before = np.array([total[first.hypothesis == h].max() for h in further.hypothesis])
    assert (reached >= before - 1e-6).all()
    assert (reached > before + 1.0).any()


def test_copies_of_a_fit_are_dropped() -> None:
    posterior = after("thermistor")
    bench, sheet = posterior.bench, posterior.problem.sheet
    fits = posterior.fits[0].rows(np.arange(6))
    once = distinct(bench, sheet, fits)
    assert distinct(bench, sheet, concatenate([fits, fits])).size == once.size


def test_what_differs_in_a_choice_is_no_copy() -> None:
    posterior = after("unplugged only")
    bench, sheet = posterior.bench, posterior.problem.sheet
    layout = layout_of(bench.hypotheses.table, sheet)
    names = [(family.id, fault.kind) for family, fault in bench.hypotheses.pairs]
    row = int(
        np.flatnonzero(
            posterior.fits[0].hypothesis == names.index(("thermistor-two-wire", "none"))
        )[0]
    )
    one = posterior.fits[0].rows(np.array([row]))
    source, changed = other_circuit_choices(
        bench.hypotheses.table.rows(one.hypothesis), layout, one.z
    )
    assert source.size == 1  # its pull-up hangs on the inner 5 V or on the sensor supply
    is_choice = bench.hypotheses.table.static.is_choice[one.hypothesis]
    told = one.told.copy()
    for counts, expected in ((True, 2), (False, 1)):
        told[:, : layout.n_free] = is_choice & counts
        both = concatenate([replace(one, told=told), replace(one, z=changed, told=told)])
        assert distinct(bench, sheet, both).size == expected


def test_scores_are_those_of_the_fit() -> None:
    posterior = after("thermistor")
    fits, sheet = posterior.fits[0].rows(np.arange(5)), posterior.problem.sheet
    found = score(posterior.bench, fits.hypothesis, fits.assigned, fits.z, sheet, fits.lead_kind)
    assert found == pytest.approx(fits.reading_log, abs=1e-6)


# Faults together with other wires ---------------------------------------------------------------
@given(role=st.lists(st.integers(-1, 3), min_size=2, max_size=8), seed=st.integers(0, 1000))
def test_wires_of_like_roles_only_change_places_with_each_other(role: list[int], seed: int) -> None:
    roles = np.array(role)
    assigned = np.random.default_rng(seed).permutation(roles.size)
    ways = wirings_alike(roles, assigned)
    assert len(ways) <= N_ALIKE
    assert len({tuple(w) for w in ways.tolist()} | {tuple(assigned.tolist())}) == len(ways) + 1
    for way in ways:
        assert roles[way].tolist() == roles[assigned].tolist()
        assert sorted(way.tolist()) == list(range(roles.size))


def test_two_tracks_are_turned_round_as_a_whole_too() -> None:
    # Supplies, signals and grounds of two tracks: one of the ways exchanges all three pairs.
    ways = wirings_alike(np.array([0, 0, 1, 1, 2, 2]), np.arange(6)).tolist()
    assert [1, 0, 3, 2, 5, 4] in ways
    assert len(ways) == 7


def test_rivals_from_the_bank_are_wired_in_ways_of_their_own() -> None:
    # Both wires near ground: which of two is the return is open.
    posterior = posterior_of(job("12", unplugged("A", {"1": 0.004, "2": 0.003})))
    bench, sheet = posterior.bench, posterior.problem.sheet
    first = posterior.fits[0]
    found = rivals_from_bank(bench, sheet, WIDE)
    pairs = bench.hypotheses.pairs
    best = pairs[int(first.hypothesis[best_of_families(bench, first, 1)[0]])][0].id
    own = [pairs[int(h)][0].id == best for h in found.hypothesis]
    wired = {tuple(a) for a in found.assigned[own].tolist()}
    assert len(wired) > 1
    # Each is fitted as every other explanation is: none explains the sheet better than the best.
    assert found.log_posterior.max() <= first.log_posterior.max() + 0.1


def test_where_all_wires_are_dead_a_broken_feed_of_any_circuit_is_weighed() -> None:
    # Common practice, no source: no volts anywhere is a feed, whatever the connector serves.
    dead = unplugged("A", {"1": -0.001, "2": 0.058, "3": -0.002}, battery=12.3, check=12.3)
    plugged = replace(dead, name="B", plugged=True, volts=taken(dict.fromkeys("123", 0.0)))
    posterior = posterior_of(job("123", dead, plugged))
    best = max(group.log_mass for group in posterior.groups[0])
    kinds = set()
    for group in posterior.groups[0]:
        family, fault = posterior.bench.hypotheses.pairs[
            int(posterior.fits[0].hypothesis[group.modes[0]])
        ]
        if group.log_mass > best - 7.0 and fault.name.startswith("open:supply"):
            kinds.add(family.kind)
    assert {"air-mass", "pressure", "position", "speed"} <= kinds


# Reports of the control unit ---------------------------------------------------------------------
def test_a_stuck_sensor_is_found_by_what_the_control_unit_calls_it() -> None:
    # The same 3.36 V at rest and at idle: a throttle that stays closed or a steady pressure, had
    # the control unit not called it an air mass.
    def seen(name: str, key: str, signal: float, *, reported: bool) -> Round:
        volts = {"1": 5.0, "2": 2.6, "3": 0.005, "4": signal}
        said = {"air mass flow volts": Indication(signal)} if reported else {}
        return Round(name, plugged=True, key=key, volts=taken(volts), scan=said)

    def leading(*, reported: bool) -> tuple[str, str]:
        free = unplugged("A", {"1": 5.0, "2": 5.0, "3": 0.004, "4": 0.003}, loaded={"2": 1.5})
        rest = seen("B", "on", 3.36, reported=reported)
        idle = replace(seen("C", "run", 3.36, reported=reported), rpm=800.0)
        posterior = posterior_of(job("1234", free, rest, idle))
        return circuit_answers(posterior)[0].circuit, fault_answers(posterior)[0].fault

    assert leading(reported=False)[0].startswith(("position", "pressure"))
    circuit, fault = leading(reported=True)
    assert circuit.startswith("air mass")
    assert fault == "sensor-stuck:signal-analogue"


@pytest.mark.parametrize(
    ("reported", "circuit"),
    [
        ("air mass flow", "air mass, voltage"),
        ("throttle position", "position, potentiometer"),
        ("manifold pressure", "pressure, ratiometric"),
    ],
)
def test_the_name_of_a_noted_value_tells_what_the_connector_is(reported: str, circuit: str) -> None:
    # 5 V, a ground and 1.0 V on a wire that is dead unplugged: any of the three, or none of them.
    free = unplugged("A", {"1": 5.0, "2": 0.01, "3": 0.0})
    rest = Round("B", plugged=True, key="on", volts=taken({"1": 5.0, "2": 0.016, "3": 1.0}))
    unnamed = circuit_answers(posterior_of(job("123", free, rest)))
    assert unnamed[0].probability < 0.6
    noted = replace(rest, scan={reported: Indication(20.0)})
    named = circuit_answers(posterior_of(job("123", free, noted)))
    assert named[0].circuit == circuit
    assert named[0].probability > 0.75


# A circuit without the fault that leads ----------------------------------------------------------
def test_a_circuit_whose_fault_leads_is_looked_at_unharmed_too() -> None:
    # Two worn tracks whose ohms and volts an exchange of two wires explains at least as well: the
    # fault leads, yet sound tracks with their wipers the other way round must stand beside it.
    ohms = {"12": 620.0, "23": 2400.0, "13": 1950.0, "24": 2530.0, "14": 2080.0}
    free = replace(
        unplugged("A", {"1": 0.007, "2": 4.96, "3": 0.001, "4": 0.001, "5": 0.0}),
        volts_loaded=taken({"2": 4.95}),
        sensor_ohms={(pair[0], pair[1]): Indication(ohm) for pair, ohm in ohms.items()},
    )
    rest = {"1": 0.010, "2": 4.94, "3": 0.651, "4": 0.693, "5": 0.0}
    idle = {"1": 0.035, "2": 4.96, "3": 0.657, "4": 0.707, "5": 0.0}
    posterior = posterior_of(
        job(
            "12345",
            free,
            Round("B", plugged=True, key="on", volts=taken(rest)),
            Round("C", plugged=True, key="run", rpm=730.0, volts=taken(idle)),
        )
    )
    probability = {each.fault: each.probability for each in fault_answers(posterior)}
    assert probability["none"] > 0.02
    assert circuit_answers(posterior)[0].circuit == "position, two tracks"


def test_a_hall_sensor_fed_with_eight_volts_may_be_pulled_up_to_the_battery() -> None:
    # 3.3 kohm to 12.2 V: 1 kohm to ground leaves 12.2 x 1 / 4.3 = 2.84 V (Ohm's law).
    free = unplugged(
        "A", {"1": 8.05, "2": 12.2, "3": 0.01}, loaded={"1": 8.04, "2": 2.84}, battery=12.2
    )
    rest = Round("B", plugged=True, key="on", volts=taken({"1": 8.04, "2": 0.3, "3": 0.02}))
    # High 81 % of the time: a mean of 0.81 x 14.1 + 0.19 x 0.35 = 11.5 V.
    idle = Round(
        "C",
        plugged=True,
        key="run",
        rpm=850.0,
        battery_volts=Indication(14.1),
        volts=taken({"1": 8.05, "2": 11.5, "3": 0.04}),
        hertz=taken({"2": 35.0}),
        duty_percent=taken({"2": 81.0}),
    )
    free = replace(free, black_lead_check=Indication(12.2))
    posterior = posterior_of(job("123", free, rest, idle))
    assert fault_answers(posterior)[0].fault == "none"
    best = posterior.fits[0].log_posterior.argmax()
    assert posterior.fits[0].reading_log[best].min() > ODD_READING  # no reading is a mistake
    assert circuit_answers(posterior)[0].circuit == "speed, Hall sensor, open collector"


BARELY_ALTERNATING = """
format = 1
[job]
title = "two wires that alternate by millivolts"
[meter]
counts = 4000
dc_volts = "0.5 % + 2 digits"
ac_volts = "1 % + 5 digits"
ohms = "0.8 % + 3 digits"
hertz = "0.1 % + 1 digit"
input_resistance = "10 Mohm"
[connector]
name = "sensor at the block"
[[connector.terminal]]
pin = "1"
[[connector.terminal]]
pin = "2"
[[round]]
name = "A"
plugged = false
key = "on"
battery_volts = "12.62"
black_lead_check = "13.74"
volts = { 1 = "1.241", 2 = "1.171" }
load_ohms = 1000
volts_loaded = { 1 = "135.3 mV", 2 = "126.3 mV" }
[[round]]
name = "B"
plugged = true
key = "on"
black_lead = "engine block"
battery_volts = "12.58"
black_lead_check = "9.60"
volts = { 1 = "-0.866", 2 = "-4.28" }
[[round]]
name = "C"
plugged = true
key = "run"
rpm = 650
black_lead = "bracket"
battery_volts = "14.51"
black_lead_check = "13.28"
volts = { 1 = "-2.057", 2 = "-1.337" }
volts_ac = { 1 = "0.004", 2 = "0.004" }
"""


def test_two_readings_that_tell_one_value_to_all_digits_do_not_end_the_search() -> None:
    """A wire that alternates for no share of the time: the slope of its rms has no end."""
    posterior = posterior_of(parse_job(BARELY_ALTERNATING, "two-wires.toml"))
    assert np.isfinite(posterior.draws.weight).all()
