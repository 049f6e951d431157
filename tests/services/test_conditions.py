"""In which ways a measurement may be bad, and how likely each is."""

import math
from dataclasses import replace

import numpy as np
import pytest

from backprobe.core.inference.black_lead import LeadKind
from backprobe.job import Indication, Round
from backprobe.services.conditions import (
    BAD_LEAD,
    BAD_LEAD_ELSEWHERE,
    BAD_LEAD_STAYS,
    KEY_NOT_ON,
    NOT_HOME,
)
from backprobe.services.explain import explain
from backprobe.services.problem import problem_of
from tests.services.sheets import FULL, job, taken, unplugged


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


def on_bracket(n_round: int) -> dict[tuple[int, ...], float]:
    """Log priors of bad leads, steady and wandering together, of rounds on one bracket."""
    rounds = [
        replace(FULL, name=f"{n}", black_lead="bracket", black_lead_check=None)
        for n in range(n_round)
    ]
    found: dict[tuple[int, ...], float] = {}
    for c in problem_of(job("12", *rounds)).conditions:
        found[c.bad_lead] = np.logaddexp(found.get(c.bad_lead, -math.inf), c.log_prior)
    return found


def test_priors_of_the_conditions_are_what_they_say() -> None:
    odd = BAD_LEAD_ELSEWHERE
    found = on_bracket(2)
    assert found[()] == pytest.approx(math.log(1 - odd))
    some = math.log(odd * (1 - BAD_LEAD_STAYS) / 2)
    assert found[(0,)] == found[(1,)] == pytest.approx(some)
    both = found[(0, 1)]
    assert both == pytest.approx(math.log(odd * BAD_LEAD_STAYS))
    # Two rounds on one point go bad together more often than by chance.
    assert both > 2 * math.log(odd)
    assert sum(math.exp(p) for p in found.values()) == pytest.approx(1.0)
    assert BAD_LEAD < BAD_LEAD_ELSEWHERE


@pytest.mark.parametrize("n_round", [1, 2, 3, 5])
def test_a_point_is_as_likely_bad_however_many_rounds_are_taken_there(n_round: int) -> None:
    """The point is bad, not each round anew: what is odds of it is shared among its rounds."""
    found = on_bracket(n_round)
    assert sum(math.exp(p) for p in found.values()) == pytest.approx(1.0)
    assert math.exp(found[()]) == pytest.approx(1.0 - BAD_LEAD_ELSEWHERE)
    if n_round > 1:
        assert found[tuple(range(n_round))] > max(found[(i,)] for i in range(n_round))


def test_a_round_that_reads_like_key_off_may_have_been_key_off() -> None:
    dead = replace(FULL, volts=taken({"1": 0.0, "2": 0.01}))
    conditions = problem_of(job("12", dead)).conditions
    off = [c for c in conditions if c.key_off]
    assert len(off) == 1
    assert not off[0].sheet.rounds[0].powered
    assert off[0].log_prior - conditions[0].log_prior == pytest.approx(math.log(KEY_NOT_ON))
    assert not [c for c in problem_of(job("12", FULL)).conditions if c.key_off]


FREE = unplugged("free", {"1": 5.0, "2": 0.012})


def plugged(name: str, volts: float) -> Round:
    return replace(FREE, name=name, plugged=True, volts=taken({"1": volts, "2": 0.013}))


def test_a_plugged_round_that_reads_unplugged_beside_another_may_not_have_been_home() -> None:
    conditions = problem_of(job("12", FREE, plugged("A", 5.01), plugged("B", 2.1))).conditions
    loose = [c for c in conditions if c.apart]
    assert [c.apart for c in loose] == [(1,)]
    assert [r.plugged for r in loose[0].sheet.rounds] == [False, False, True]
    assert loose[0].bad_rounds == (1,)
    assert loose[0].log_prior - conditions[0].log_prior == pytest.approx(math.log(NOT_HOME))


@pytest.mark.parametrize(
    "rounds",
    [
        (FREE, plugged("A", 5.01), plugged("B", 5.0)),  # as open in every plugged round
        (FREE, plugged("A", 2.2), plugged("B", 2.1)),
        (plugged("A", 5.01), plugged("B", 2.1)),  # nothing unplugged to compare with
    ],
)
def test_where_plugged_rounds_agree_the_connector_is_not_doubted(rounds: tuple[Round, ...]) -> None:
    assert not [c for c in problem_of(job("12", *rounds)).conditions if c.apart]


def test_a_connector_that_was_not_home_is_found_and_blamed_on_nothing_else() -> None:
    # Common practice, no source: a thermistor's wire stands at its full pull-up voltage unplugged.
    free = replace(FREE, sensor_ohms={("1", "2"): Indication(1850.0)})
    answer = explain(job("12", plugged("A", 5.0), plugged("B", 2.28), free))
    assert max(answer.faults, key=lambda fault: fault.probability).fault == "none"
    assert answer.measurement.rounds["A"] < 0.1
    assert min(answer.measurement.rounds[name] for name in ("B", "free")) > 0.9
    said = [text for text in answer.measurement.remarks if text.startswith("Round A reads as if")]
    assert len(said) == 1
    assert "connector home" in said[0]
