"""Asking the program: once, and reading by reading."""

from dataclasses import replace

from backprobe.campaign.asking import AskOn, ask
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
