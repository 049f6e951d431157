"""Asking the program: once, and reading by reading."""

from collections import defaultdict
from dataclasses import replace

import pytest

from backprobe.campaign.asking import LEAST_LISTED, AskOn, ask, ask_closely
from backprobe.campaign.run import going_on
from backprobe.job.job_file import read_job
from tests.services.sheets import EXAMPLES


def test_asking_on_goes_on_from_the_answer_before() -> None:
    whole = read_job(EXAMPLES / "both-wires-at-five-volts.toml")
    shorter = replace(whole, rounds=whole.rounds[:-1])
    asked = AskOn()
    asked(shorter)
    assert asked.earlier is not None
    before = asked.earlier
    found, anew = asked(whole), ask(whole)
    assert asked.earlier is not before
    assert found["faults"][0]["fault"] == anew["faults"][0]["fault"]
    assert {p: t["role"] for p, t in found["terminals"].items()} == {
        p: t["role"] for p, t in anew["terminals"].items()
    }


def test_only_the_program_itself_goes_on() -> None:
    assert isinstance(going_on(ask), AskOn)

    def other(job: object) -> dict[str, object]:
        return {"job": job}

    assert not isinstance(going_on(other), AskOn)
    job = read_job(EXAMPLES / "both-wires-at-five-volts.toml")
    assert going_on(other)(job, ()) == {"job": job}


def test_explanations_stand_behind_the_answer_and_add_up_to_it() -> None:
    job = read_job(EXAMPLES / "both-wires-at-five-volts.toml")
    asked = ask_closely(job)
    assert asked.answer == ask(job)
    listed = [each.probability for each in asked.explanations]
    assert listed == sorted(listed, reverse=True)
    assert min(listed) >= LEAST_LISTED
    by_fault: dict[str, float] = defaultdict(float)
    for each in asked.explanations:
        assert [pin for pin, _ in each.roles] == list(job.connector.pins)
        by_fault[each.fault] += each.probability
    said = {fault["fault"]: fault["probability"] for fault in asked.answer["faults"]}
    # Those below a hundredth are missing from the sum.
    for name, probability in by_fault.items():
        assert probability <= said[name] + 1e-5
    assert sum(listed) > 0.8
    first = asked.answer["faults"][0]
    assert by_fault[first["fault"]] == pytest.approx(first["probability"], abs=0.1)
    roles = {pin: terminal["role"] for pin, terminal in asked.answer["terminals"].items()}
    assert roles in [dict(each.roles) for each in asked.explanations]
