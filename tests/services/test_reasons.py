"""Reasons: weights of evidence add up, strongest first, and say what was read."""

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from backprobe.core.inference.sheet import Quantity
from backprobe.job.job_file import read_job
from backprobe.services.answer import Reason
from backprobe.services.explain import explain
from backprobe.services.reasons import (
    MOST_SHOWN,
    _differs,
    _fault_rival,
    evidence_tables,
    fault_text,
    main_reasons,
    own_reasons,
    role_claim,
    ruled_out,
)
from backprobe.services.summary import best_roles, fault_answers
from backprobe.services.telling import wire_because
from backprobe.services.weighing import (
    BEFORE,
    DECIBANS_PER_NAT,
    SMALLEST_SHOWN,
    TELLS_APART,
    TELLS_FAIRLY,
    Weigher,
)
from backprobe.services.words import reading_pins, reading_round
from backprobe.vocabulary import ROLES, split_fault
from tests.services.sheets import EXAMPLES, after

NAMES = ("thermistor", "cell", "pick-up")


@cache
def weigher(name: str) -> Weigher:
    return Weigher(after(name))


@cache
def tables(name: str) -> dict[str, tuple[Reason, ...]]:
    return evidence_tables(weigher(name), best_roles(after(name)))


def all_tables() -> Iterator[tuple[str, tuple[Reason, ...]]]:
    for name in NAMES:
        yield from tables(name).items()


def test_ten_decibans_are_a_factor_of_ten() -> None:
    # Good (1950): the deciban is a tenth of the logarithm to base ten of the factor.
    assert DECIBANS_PER_NAT * np.log(10.0) == pytest.approx(10.0)


@pytest.mark.parametrize("name", NAMES)
def test_decibans_of_the_whole_table_are_the_difference_of_scores(name: str) -> None:
    w = weigher(name)
    for t in range(len(w.pins)):
        rival = w.rival_of_role(t, w.best.roles[t])
        assert rival is not None
        rows = w.table("claim", w.best, rival, "rival")
        total = sum(r.decibans for r in rows)
        assert total == pytest.approx((w.best.score - rival.score) * 10.0 / np.log(10.0))
        assert len(rows) == w.sheet.n_read + 1
        assert {r.reading for r in rows} == {*w.sheet.label, BEFORE}


def test_weights_of_claim_and_rival_are_each_others_negative() -> None:
    w = weigher("thermistor")
    rival = w.rival_of_role(0, w.best.roles[0])
    assert rival is not None
    there, before = w.decibans(w.best, rival)
    back, before_back = w.decibans(rival, w.best)
    assert there == pytest.approx(-back)
    assert before == pytest.approx(-before_back)


def test_tables_are_strongest_first() -> None:
    for claim, rows in all_tables():
        weights = [r.decibans for r in rows]
        assert weights == sorted(weights, reverse=True), claim
        assert all(r.claim == claim for r in rows)
        assert all(r.text for r in rows)


def test_rivals_differ_in_what_is_claimed_and_none_is_better() -> None:
    w = weigher("thermistor")
    for t, role in enumerate(w.best.roles):
        rival = w.rival_of_role(t, role)
        assert rival is not None
        assert rival.roles[t] != role
        better = [e for e in w.all if e.roles[t] != role and e.score > rival.score]
        assert not better
    other = w.rival_of_fault(w.best.fault)
    assert other is not None
    assert other.fault != w.best.fault


@pytest.mark.parametrize("name", [*NAMES, "three-sensors-low", "half-a-sheet"])
def test_a_claim_is_set_against_a_rival_that_some_reading_tells_apart(name: str) -> None:
    w = weigher(name)
    for t, role in enumerate(w.best.roles):
        others = [e for e in w.all if e.roles[t] != role]
        rival = w.told_apart(w.best, others)
        assert rival is not None
        weights, _ = w.decibans(w.best, rival)
        nearer = [e for e in others if e.score > rival.score]
        if weights.max() < TELLS_APART:  # nothing tells any of them apart
            nearer = others
        assert all(w.decibans(w.best, e)[0].max() < TELLS_APART for e in nearer)


def test_the_same_fault_of_a_wire_by_another_name_is_no_rival() -> None:
    for name in NAMES:
        w = weigher(name)
        for fault in sorted({e.fault for e in w.all}):
            own = w.best_with_fault(fault)
            assert own is not None
            synonyms = [e for e in w.all if not _differs(e, own)]
            assert own in synonyms
            kind = split_fault(fault)[0]
            assert {split_fault(e.fault)[0] for e in synonyms} == {kind}
            assert {e.places for e in synonyms} == {own.places}


def test_a_reading_that_both_expect_is_not_said_to_differ() -> None:
    for _, rows in all_tables():
        for row in rows:
            if "; " in row.text and " would give " in row.text:
                expected, other = row.text.split("; ", 1)
                own = expected.split("this expects ", 1)[1]
                assert not other.endswith(f"would give {own}"), row.text


def test_reasons_of_the_answer_are_the_strong_ones_and_few() -> None:
    posterior = after("healthy-air-mass")
    roles, pins = best_roles(posterior), posterior.problem.job.connector.pins
    fault = fault_answers(posterior)[0].fault
    found = main_reasons(tables("healthy-air-mass"), roles, pins, fault)
    assert found
    assert all(r.decibans >= SMALLEST_SHOWN and r.reading != BEFORE for r in found)
    claims = {role_claim(p, r) for p, r in zip(pins, roles, strict=True)} | {f"fault {fault}"}
    for claim in {r.claim for r in found}:
        assert claim in claims
        mine = [r.decibans for r in found if r.claim == claim]
        assert len(mine) <= MOST_SHOWN
        assert mine == sorted(mine, reverse=True)


def test_the_ohmmeter_speaks_for_the_thermistor_wire() -> None:
    # A resistance between two pins that follows the room's temperature: only a thermistor has it.
    w = weigher("healthy-air-mass")
    thermistor = ROLES.index("signal-thermistor")
    others = [e for e in w.all if thermistor not in e.roles]
    rival = max(others, key=lambda e: e.score)
    rows = w.table("terminal 4 is signal-thermistor", w.best, rival, "another circuit")
    strong = {r.reading: r for r in rows if r.decibans > 10.0}
    assert "A sensor_ohms 3-4" in strong
    assert "kohm" in strong["A sensor_ohms 3-4"].text


def test_a_noted_value_speaks_for_the_circuit_that_has_it() -> None:
    w = weigher("healthy-air-mass")
    place = w.sheet.label.index("C scan air mass flow")
    rival = next(e for e in w.all if not np.isfinite(w.fits.predicted[e.row, place]))
    for claim, other, sign in ((w.best, rival, 1.0), (rival, w.best, -1.0)):
        rows = w.table("", claim, other, "the other")
        row = next(r for r in rows if r.reading == "C scan air mass flow")
        assert sign * row.decibans > 5.0
        told = f'as with "{w.best.circuit}" and not with "{rival.circuit}"'
        assert row.text == f"air mass flow is reported, {told}"


def test_ruled_out_faults_carry_the_reading_that_says_so() -> None:
    posterior, w = after("thermistor"), weigher("thermistor")
    shares = {f.fault: f.probability for f in fault_answers(posterior)}
    found = ruled_out(w, shares)
    assert found
    weights = [r.decibans for r in found]
    assert weights == sorted(weights, reverse=True)
    for r in found:
        assert r.fault != w.best.fault
        assert shares.get(r.fault, 0.0) < 0.01
        assert r.reading in w.sheet.label
        assert r.decibans >= TELLS_FAIRLY
        assert "was read" in r.text
    assert len({r.fault for r in found}) == len(found)


@pytest.mark.parametrize("name", [*NAMES, "healthy-air-mass"])
def test_a_fault_is_ruled_out_by_what_its_own_best_explanation_misses(name: str) -> None:
    # A worse fit of the same fault would be missed by any reading, and prove nothing.
    posterior, w = after(name), Weigher(after(name))
    shares = {f.fault: f.probability for f in fault_answers(posterior)}
    for r in ruled_out(w, shares):
        own = [
            e
            for e in w.all
            if e.fault == r.fault and e.roles == w.best.roles and e.family == w.best.family
        ]
        weights, _ = w.decibans(w.best, max(own, key=lambda e: e.score))
        assert r.decibans in [pytest.approx(float(weight)) for weight in weights]


@pytest.mark.parametrize("name", [*NAMES, "healthy-air-mass", "half-a-sheet"])
def test_no_fault_is_ruled_out_by_the_very_number_that_was_read(name: str) -> None:
    posterior = after(name)
    shares = {f.fault: f.probability for f in fault_answers(posterior)}
    for r in ruled_out(Weigher(posterior), shares):
        given, read = re.fullmatch(
            r"it would give (.+); (.+) was read|.+ was read; it may give that, but as well .+",
            r.text,
        ).groups()  # type: ignore[union-attr]  # a text of another form fails here
        assert given is None or given != read, r.text


def test_what_a_doubtful_round_says_rules_out_only_what_no_other_does() -> None:
    """A round behind a bad black lead, and a sound one that says the same of its supply."""
    there = after("painted-bracket")
    w = Weigher(there)
    doubted = [not believed for believed in w.believed]
    assert [label for label, d in zip(w.sheet.label, doubted, strict=True) if d] == [
        label for label in w.sheet.label if label.startswith("A ")
    ]
    told = ruled_out(w, {f.fault: f.probability for f in fault_answers(there)})
    assert told
    for each in told:
        same = [x for x in w.all if x.fault == each.fault and x.roles == w.best.roles]
        e = max((x for x in same if x.family == w.best.family), key=lambda x: x.score)
        weights, _ = w.decibans(w.best, e)
        strongest = float(weights[w.believed].max())
        assert (reading_round(each.reading) != "A") == (strongest >= TELLS_FAIRLY)


def test_a_number_within_the_meters_error_is_not_said_to_differ() -> None:
    w = weigher("cell")
    i = int(np.argmax(np.isfinite(w.fits.residual[w.best.row])))
    near = [
        e
        for e in w.all
        if e.row != w.best.row and w.expects(i, e) and w.shown(i, e) != w.shown(i, w.best)
    ]
    assert near
    assert w.expects(i, w.best)
    for rival in near:
        for weight, more, less in ((5.0, "this", "the rival"), (-5.0, "the rival", "this")):
            told = w.sentence(i, w.best, rival, "the rival", weight)
            assert told == f"{w.shown(i, None)} is likelier with {more} than with {less}"


def test_a_rival_in_another_kind_of_circuit_is_named_with_it() -> None:
    w = weigher("thermistor")
    same = next(e for e in w.all if e.circuit == w.best.circuit and e.roles == w.best.roles)
    turned = replace(same, roles=same.roles[::-1])
    assert _fault_rival(w.best, turned) == (
        f"{fault_text(same.fault)} (with the wires taken otherwise)"
    )
    other = next(e for e in w.all if e.circuit != w.best.circuit)
    assert _fault_rival(w.best, same) == fault_text(same.fault)
    assert _fault_rival(w.best, other) == f'{fault_text(other.fault)} (in "{other.circuit}")'


def test_that_a_value_is_reported_tells_no_fault_apart() -> None:
    w = weigher("healthy-air-mass")
    reported = np.array([q == Quantity.REPORTED for q in w.sheet.quantity])
    assert reported.any()
    others = [e for e in w.all if e.fault != w.best.fault]
    rival = w.told_apart(w.best, others, by_circuit=False)
    assert rival is not None
    weights, _ = w.decibans(w.best, rival)
    nearest = max(others, key=lambda e: e.score)
    assert weights[~reported].max() >= TELLS_APART or rival == nearest


@pytest.mark.parametrize("name", [*NAMES, "healthy-air-mass", "half-a-sheet"])
def test_a_settled_wire_is_told_by_its_own_reading_where_one_tells(name: str) -> None:
    posterior, w = after(name), weigher(name)
    roles = best_roles(posterior)
    surely = own_reasons(w, roles, np.ones(len(roles)))
    claim = w.best_with_roles(roles)
    for reason in surely:
        pin = reason.claim.split()[1]
        t = w.pins.index(pin)
        assert pin in reading_pins(reason.reading)
        assert reason.decibans >= TELLS_FAIRLY
        others = [e for e in w.all if e.roles[t] != roles[t]]
        told = w.told_apart_at(pin, claim, others)
        assert told is not None
        rival, place = told
        assert w.sheet.label[place] == reason.reading
        assert reason.decibans == pytest.approx(float(w.decibans(claim, rival)[0][place]))
        here = [i for i, label in enumerate(w.sheet.label) if pin in reading_pins(label)]
        nearer = [e for e in others if e.score > rival.score]
        assert all(w.decibans(claim, e)[0][here].max() < TELLS_FAIRLY for e in nearer)
    assert own_reasons(w, roles, np.full(len(roles), 0.94)) == ()


def test_the_ground_of_a_bare_pair_of_fives_is_told_by_its_millivolts() -> None:
    # 5.00 V, 5.01 V and 6 mV: a ground is known by the volts that it has not.
    answer = explain(read_job(EXAMPLES / "half-a-sheet.toml"))
    said = next(each for each in answer.terminals if each.pin == "3")
    assert said.role == "sensor-ground"
    assert wire_because(answer, said).startswith("6 mV ")


def test_less_than_an_ohm_is_told_in_ohms() -> None:
    w = weigher("thermistor")
    i = next(k for k, label in enumerate(w.sheet.label) if "ohms" in label)
    value = w.sheet.value.copy()
    value[i] = 0.7
    w = Weigher(after("thermistor"))
    w.sheet = replace(w.sheet, value=value)
    assert w.shown(i, None) == "0.7 ohm"


def test_what_was_hardly_expected_is_only_said_to_be_nearer() -> None:
    w = Weigher(after("thermistor"))
    i = w.sheet.label.index("A volts 1")
    rival = next(e for e in w.all if not w.expects(i, e) and w.shown(i, e) != w.shown(i, w.best))
    assert " where this expects " in w.sentence(i, w.best, rival, "the rival", 9.0)
    residual = w.fits.residual.copy()
    residual[w.best.row, i] = -20.0
    w.fits = replace(w.fits, residual=residual)
    told = w.sentence(i, w.best, rival, "the rival", 9.0)
    assert told == (
        f"{w.shown(i, None)} is nearer to this ({w.shown(i, w.best)}) "
        f"than to the rival ({w.shown(i, rival)})"
    )
