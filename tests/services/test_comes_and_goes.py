"""A fault that is there only while wire and connector are wiggled, and wiggling without effect.

That the readings jump when the place of a bad contact is moved is common practice, no source; what
they jump to is Ohm's law: with its way open a pulled-up wire stands at the pull-up's full voltage,
at the sensor and at its ground alike, and a track whose feed is gone at its ground.
"""

from dataclasses import replace
from functools import cache

import pytest

from backprobe.job import Job, Round
from backprobe.services.answer import Answer
from backprobe.services.explain import explain, posterior_of
from backprobe.services.problem import problem_of
from tests.services.sheets import job, taken, unplugged

NO_FAULT = "none"


def round_of(name: str, volts: dict[str, float], action: str = "") -> Round:
    return Round(name, plugged=True, key="on", action=action, volts=taken(volts))


def thermistor(wiggled: float, action: str = "wiggle") -> Job:
    """5 V over a pull-up, 2.1 V with the sensor plugged in, then what was read while wiggling."""
    return job(
        "12",
        unplugged("A", {"1": 5.0, "2": 0.003}),
        round_of("B", {"1": 2.1, "2": 0.004}),
        round_of("C", {"1": wiggled, "2": 0.004}, action),
    )


TRACK_GROUND = job(
    "123",
    unplugged("A", {"1": 5.0, "2": 0.003, "3": 0.02}),
    round_of("B", {"1": 5.0, "2": 0.006, "3": 2.5}),
    round_of("C", {"1": 5.0, "2": 4.9, "3": 4.95}, "wiggle"),
)
# Its wheel turned by hand with the meter keeping lowest and highest, then the harness moved.
DROPS_OUT = job(
    "123",
    Round(
        "A",
        plugged=True,
        key="on",
        action="sweep",
        volts=taken({"1": 12.3, "3": 0.02}),
        volts_low=taken({"2": 0.4}),
        volts_high=taken({"2": 11.9}),
    ),
    round_of("B", {"1": 0.02, "2": 11.8, "3": 0.01}, "wiggle"),
)
# 5 V over 2.1 kohm: 1 kohm to ground leaves 1.6 V of it (Ohm's law).
HALL = job(
    "123",
    # 1 kohm against a pull-up of 700 ohm: hardly any are lower, so there is no room for a
    # resistance in the wire beside it.
    unplugged("U", {"1": 5.0, "2": 5.0, "3": 0.003}, loaded={"1": 4.99, "2": 2.94}),
    round_of("A", {"1": 5.0, "2": 0.2, "3": 0.01}),
    round_of("B", {"1": 5.0, "2": 4.9, "3": 0.01}, "wiggle"),
)


@cache
def answer_to(wiggled: float, action: str = "wiggle") -> Answer:
    return explain(thermistor(wiggled, action))


def said(answer: Answer) -> list[str]:
    return [each for each in answer.measurement.remarks if "wiggle" in each]


def healthy(answer: Answer) -> float:
    return sum(each.probability for each in answer.faults if each.fault == NO_FAULT)


def test_a_contact_that_opens_while_it_is_wiggled() -> None:
    answer = answer_to(4.99)
    assert answer.circuits[0].circuit == "temperature, thermistor"
    assert answer.faults[0].fault == "sensor-open:signal-thermistor"
    assert healthy(answer) < 0.05
    (remark,) = said(answer)
    assert remark.startswith("Round C: the fault comes and goes")
    # The measurement itself is good: what came and went is the fault.
    assert answer.measurement.trusted > 0.95


def kept(name: str, low: dict[str, float], high: dict[str, float]) -> Round:
    return Round(
        name,
        plugged=True,
        key="on",
        action="wiggle",
        volts_low=taken(low),
        volts_high=taken(high),
    )


def test_lowest_and_highest_kept_while_wiggling_tell_both() -> None:
    # With min/max hold the meter shows what the wire jumps between: 2.1 V and the full 5 V.
    jumps = kept("C", {"1": 2.1, "2": 0.004}, {"1": 4.99, "2": 0.004})
    resting = thermistor(2.1).rounds[:2]
    alone = job("12", unplugged("A", {"1": 5.0, "2": 0.003}), jumps)
    for sheet in (job("12", *resting, jumps), alone):
        answer = explain(sheet)
        assert answer.circuits[0].circuit == "temperature, thermistor"
        assert answer.faults[0].fault == "sensor-open:signal-thermistor"
        assert healthy(answer) < 0.05
        assert any(
            remark.startswith("Round C: the fault comes and goes") for remark in said(answer)
        )
        assert answer.measurement.trusted > 0.95


def test_lowest_and_highest_that_stay_where_they_were_say_nothing() -> None:
    still = kept("C", {"1": 2.1, "2": 0.004}, {"1": 2.1, "2": 0.004})
    answer = explain(job("12", *thermistor(2.1).rounds[:2], still))
    assert said(answer) == []
    assert healthy(answer) > 0.7


def test_a_ground_that_goes_lifts_both_the_signal_and_itself() -> None:
    answer = explain(TRACK_GROUND)
    assert [wire.role for wire in answer.terminals] == [
        "supply-regulated",
        "sensor-ground",
        "signal-analogue",
    ]
    first = answer.faults[0].fault, answer.faults[1].fault
    assert set(first) == {"open:sensor-ground", "resistance:sensor-ground"}
    assert healthy(answer) < 0.02


def test_a_sensor_that_loses_its_feed_lets_its_output_go() -> None:
    # Without a feed an open collector leaves the wire to the pull-up (common practice, no source).
    answer = explain(DROPS_OUT)
    assert [wire.role for wire in answer.terminals[:2]] == ["supply-battery", "signal-switching"]
    assert answer.faults[0].fault == "open:supply-battery"
    assert answer.faults[0].probability > 0.7


def test_a_tooth_does_not_come_by_wiggling() -> None:
    # Standing on a tooth, the wire would go high for good only if the wheel were turned.
    wiggled, afresh = explain(HALL), explain(without_action(HALL))
    assert healthy(wiggled) < 0.5
    assert healthy(afresh) > 0.9


def without_action(sheet: Job) -> Job:
    return replace(sheet, rounds=tuple(replace(r, action="") for r in sheet.rounds))


def test_wiggling_that_changes_nothing_says_nothing() -> None:
    still, before = answer_to(2.1), explain(replace_rounds(thermistor(2.1), 2))
    assert said(still) == []
    assert healthy(still) > 0.7
    # One look more at a sensor that was left alone: no circuit gets likelier by it.
    assert still.circuits[0].circuit == before.circuits[0].circuit == "temperature, thermistor"
    assert still.circuits[0].probability == pytest.approx(before.circuits[0].probability, abs=0.1)


def replace_rounds(sheet: Job, n: int) -> Job:
    return replace(sheet, rounds=sheet.rounds[:n])


def test_where_nothing_was_read_at_rest_it_is_asked_for() -> None:
    # Plugged in it was read while wiggled alone: whether it goes away at rest nobody has seen.
    sheet = job(
        "12", unplugged("A", {"1": 5.0, "2": 0.003}), round_of("B", {"1": 5.0, "2": 4.99}, "wiggle")
    )
    answer = explain(sheet)
    assert answer.faults[0].fault == "open:sensor-ground"
    (remark,) = said(answer)
    assert remark.startswith("Round B: the fault may be there only while")
    assert "Read the same with nothing moved" in remark


def test_only_a_sheet_that_was_wiggled_is_asked_whether_its_fault_comes_and_goes() -> None:
    def may_come(sheet: Job) -> list[bool]:
        return [c.comes_and_goes for c in problem_of(sheet).conditions]

    assert may_come(thermistor(4.99))[-1]
    assert may_come(thermistor(4.99)).count(True) == 1
    assert not any(may_come(thermistor(4.99, "")))
    # Where all was wiggled there is nothing to hold it against.
    assert not any(may_come(job("12", round_of("A", {"1": 2.1}, "wiggle"))))


def test_it_goes_on_from_the_answer_before_as_from_the_start() -> None:
    sheet = thermistor(4.99)
    before = posterior_of(replace_rounds(sheet, 2))
    anew, on = posterior_of(sheet), posterior_of(sheet, earlier=before.known)
    for posterior in (anew, on):
        share = sum(
            float(w)
            for w, c in zip(posterior.draws.weight, posterior.draws.condition, strict=True)
            if posterior.problem.conditions[int(c)].comes_and_goes
        )
        assert share > 0.9


def test_what_jumps_with_the_connector_is_not_a_ground_elsewhere() -> None:
    # Ohm's law: 10 mA of the sensor over 100 ohm of a bad contact lift its ground by 1 V, and with
    # the ground the signal, by what the ratio leaves of it: 2.5 + 1 * (1 - 0.5) = 3 V.
    resting = round_of("B", {"1": 5.0, "2": 0.006, "3": 2.5})
    jumps = kept("C", {"1": 5.0, "2": 0.006, "3": 2.5}, {"1": 5.0, "2": 1.0, "3": 3.0})
    sheet = job("123", unplugged("A", {"1": 5.0, "2": 0.003, "3": 0.02}), resting, jumps)
    answer = explain(sheet)
    share = {each.fault: each.probability for each in answer.faults}
    assert answer.faults[0].fault == "resistance:sensor-ground"
    assert share.get("ground-lifted:sensor-ground", 0.0) < 0.1 * answer.faults[0].probability
