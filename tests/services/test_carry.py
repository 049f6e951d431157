"""A search that goes on from an earlier answer finds what a search from the start finds."""

from dataclasses import replace

import numpy as np
import pytest

from backprobe.core.inference.layout import last_choices, layout_of
from backprobe.core.inference.likelihood import indicate
from backprobe.core.inference.predict import predict
from backprobe.job import Job
from backprobe.job.job_file import read_job
from backprobe.services.carry import FAR_BEHIND, grew_out_of, recast, worth_a_glance
from backprobe.services.doubted import in_one_batch, reached
from backprobe.services.engine import infer_at_a_glance
from backprobe.services.explain import posterior_of
from backprobe.services.problem import problem_of
from backprobe.services.summary import best_roles, fault_answers
from tests.core.inference.small_sheets import KEY_ON, UNPLUGGED, hypotheses, sheet
from tests.services.sheets import EXAMPLES, after

NAMES = ("both-wires-at-five-volts", "healthy-air-mass", "stands-at-two-and-a-half-volts")


def job(name: str) -> Job:
    return read_job(EXAMPLES / f"{name}.toml")


def without_last_reading(whole: Job) -> Job:
    last = whole.rounds[-1]
    volts = dict(list(last.volts.items())[:-1])
    return replace(whole, rounds=(*whole.rounds[:-1], replace(last, volts=volts)))


@pytest.mark.parametrize("name", NAMES)
def test_one_reading_more_leads_to_the_same_answer_either_way(name: str) -> None:
    earlier = posterior_of(without_last_reading(job(name)))
    gone_on = posterior_of(job(name), earlier=earlier.known)
    anew = after(name)
    assert best_roles(gone_on) == best_roles(anew)
    first, second = fault_answers(gone_on)[0], fault_answers(anew)[0]
    assert first.fault == second.fault
    assert first.probability == pytest.approx(second.probability, abs=0.1)


def test_coordinates_laid_out_anew_predict_the_old_readings_as_before() -> None:
    whole = job("healthy-air-mass")
    shorter = replace(whole, rounds=whole.rounds[:-1])
    earlier = posterior_of(shorter)
    old, new = problem_of(shorter).sheet, problem_of(whole).sheet
    some = earlier.fits[0].rows(np.arange(8))
    z = recast(earlier.bench, some, old, new)
    rows = earlier.bench.hypotheses.table.rows(some.hypothesis)
    found = predict(rows, z, new, assigned=some.assigned, ohm_rounds=new.ohm_rounds)
    shown = indicate(rows, new, found, pick=some.assigned).mean[:, :, 0]
    kept = [new.label.index(label) for label in old.label]
    told = np.isfinite(some.predicted)
    assert shown[:, kept][told] == pytest.approx(some.predicted[told], abs=1e-9)


def test_a_round_that_is_new_starts_from_the_option_of_the_last_one_like_it() -> None:
    table = hypotheses("switch-two-wire", 2)
    rounds = (UNPLUGGED, KEY_ON, replace(KEY_ON, name="again"))
    old, new = sheet(2, rounds[:2]), sheet(2, rounds)
    before, after_ = layout_of(table.table, old), layout_of(table.table, new)
    z = np.zeros((1, before.size))
    z[0, before.choice(0)], z[0, before.choice(1)] = -1.0, 1.0
    last, at = last_choices(table.table.rows(np.zeros(1, dtype=np.int64)), z, before, 0)
    assert (last[0, 0], at[0, 0]) == (1.0, before.choice(1).start)
    _, at = last_choices(table.table.rows(np.zeros(1, dtype=np.int64)), z, before, 5)
    assert at[0, 0] == -1  # its throttle was never snapped
    assert after_.choice(2).stop == after_.lead(0)[0]


def test_what_is_corrected_is_searched_anew() -> None:
    whole = job("healthy-air-mass")
    sheet = problem_of(whole).sheet
    shorter = problem_of(without_last_reading(whole)).sheet
    assert grew_out_of(sheet, shorter)
    assert not grew_out_of(shorter, sheet)
    assert not grew_out_of(sheet, replace(shorter, value=shorter.value + 0.1))
    # The same readings, but the engine was running.
    running = replace(whole.rounds[0], plugged=True, key="run", rpm=800)
    changed = replace(whole, rounds=(running, *whole.rounds[1:]))
    assert not grew_out_of(problem_of(changed).sheet, shorter)
    named = replace(whole.connector.terminals[0], diagram="motor")
    terminals = (named, *whole.connector.terminals[1:])
    with_diagram = replace(whole, connector=replace(whole.connector, terminals=terminals))
    assert not grew_out_of(problem_of(with_diagram).sheet, shorter)


def test_after_few_readings_a_fault_stays_possible() -> None:
    # Dozens of sound circuits read alike there. Common practice, no source: one wire with voltage
    # and one without say nothing of whether the circuit is sound.
    first = job("healthy-air-mass").rounds[0]
    bare = replace(first, volts={}, volts_loaded={}, sensor_ohms={}, ambient_celsius=None)
    earlier = posterior_of(replace(job("healthy-air-mass"), rounds=(bare,))).known
    for n in (1, 2):
        volts = dict(list(first.volts.items())[:n])
        taken = replace(job("healthy-air-mass"), rounds=(replace(bare, volts=volts),))
        gone_on = posterior_of(taken, earlier=earlier)
        earlier = gone_on.known
        none = {f.fault: f.probability for f in fault_answers(gone_on)}["none"]
        anew = {f.fault: f.probability for f in fault_answers(posterior_of(taken))}["none"]
        assert none < 0.97
        assert none == pytest.approx(anew, abs=0.1)


def test_a_glance_leaves_out_bad_measurements_that_were_far_behind() -> None:
    once = job("painted-bracket")
    # Read again on the same point, it shows the same: a lead that wanders would not.
    whole = replace(once, rounds=(replace(once.rounds[0], name="before"), *once.rounds))
    earlier = posterior_of(without_last_reading(whole)).known
    problem = problem_of(whole)
    bench = posterior_of(whole).bench
    seen = worth_a_glance(bench, problem, earlier)
    score = reached(bench, earlier.problem.conditions, earlier.fits)
    assert [c.wanders for c in problem.conditions] == [False, True, False]
    assert score.argmax() == 2  # a steady bad lead, as the job's second round proves
    assert score[1] < score[2] - FAR_BEHIND
    assert seen.conditions == (problem.conditions[0], problem.conditions[2])


def test_a_glance_at_a_corrected_sheet_doubts_all_that_it_may() -> None:
    """What was far behind before the correction need not be now."""
    whole = job("painted-bracket")
    first = replace(whole.rounds[0], volts={"1": whole.rounds[0].volts["1"]}, scan={})
    taken = replace(whole, rounds=(first,))
    assert first.black_lead_check is not None
    other = replace(first, black_lead_check=replace(first.black_lead_check, value=12.46))
    earlier = posterior_of(replace(taken, rounds=(other,))).known
    seen = infer_at_a_glance(problem_of(taken), posterior_of(taken).bench, earlier)
    assert seen is not None
    doubted = [(c.bad_lead, c.wanders) for c in problem_of(taken).conditions]
    assert [(c.bad_lead, c.wanders) for c in seen.problem.conditions] == doubted
    assert len(worth_a_glance(seen.bench, problem_of(taken), earlier).conditions) < len(doubted)


def test_fewer_steps_go_less_far_from_the_same_starts() -> None:
    found = posterior_of(job("painted-bracket"))
    problem, bench = found.problem, found.bench
    starts = found.fits[0].rows(np.arange(4))
    start = (starts.hypothesis, starts.assigned, np.zeros_like(starts.z))
    few, many = (
        in_one_batch(bench, problem.sheet, problem.conditions[:1], [start], n)[0] for n in (1, 8)
    )
    assert (many.log_posterior >= few.log_posterior - 1e-9).all()
    assert (many.log_posterior > few.log_posterior + 1e-3).any()
