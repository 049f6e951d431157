"""Sound circuits that a narrower idea of vehicles takes for faulty, and a fault it takes for sound.

All common practice, no source, but for Ohm's law where a number is worked out.
"""

from dataclasses import replace

from backprobe.job import Indication, Job, Round
from backprobe.services.answer import Answer, FaultAnswer
from backprobe.services.explain import explain
from backprobe.services.problem import problem_of
from tests.services.sheets import job, taken, unplugged
from tests.services.test_starved_sensors import running


def first(answer: Answer) -> FaultAnswer:
    return max(answer.faults, key=lambda fault: fault.probability)


def test_a_pull_up_behind_the_control_unit_s_protection_is_no_short() -> None:
    # A Hall sensor on the battery; its input is pulled to a battery voltage 0.9 V lower.
    apart = unplugged(
        "A", {"1": 12.3, "2": 11.4, "3": 0.01}, loaded={"2": 3.6}, battery=12.5, check=12.5
    )
    mated = replace(apart, name="B", plugged=True, volts_loaded={})
    turning = running("C", {"1": 13.8, "2": 6.6, "3": 0.02})
    turning = replace(turning, hertz=taken({"2": 340.0}), duty_percent=taken({"2": 51.0}))
    answer = explain(job("123", apart, mated, turning))
    assert first(answer).fault == "none"
    assert first(answer).probability > 0.7


def test_a_wheel_that_stands_while_the_engine_idles_is_no_stuck_sensor() -> None:
    # 7 mA through 100 ohm: 0.70 V (Ohm's law), as steady with the engine running.
    apart = unplugged("A", {"1": 12.2, "2": 0.012}, battery=12.4, check=12.4)
    mated = replace(apart, name="B", plugged=True, volts=taken({"1": 12.2, "2": 0.71}))
    turning = running("C", {"1": 13.8, "2": 0.72})
    assert first(explain(job("12", apart, mated, turning))).fault == "none"


def test_a_heated_sensor_s_ground_at_three_tenths_of_a_volt_has_resistance() -> None:
    # 0.3 A through 0.9 ohm: 0.27 V (Ohm's law); a sound ground stays within 0.1 V.
    apart = unplugged("A", {"1": 12.4, "2": 0.001, "3": 0.0}, battery=12.5, check=12.5)
    mated = replace(apart, name="B", plugged=True, volts=taken({"1": 12.3, "2": 0.27, "3": 1.26}))
    turning = running("C", {"1": 13.9, "2": 0.3, "3": 1.66})
    answer = explain(job("123", apart, mated, turning))
    assert first(answer).fault == "resistance:sensor-ground"
    assert first(answer).terminals == ("2",)


def test_a_ghost_of_some_ten_millivolts_on_an_empty_cavity_is_no_faulty_wire() -> None:
    # Ghost voltage: what a cavity with nothing on it picks up beside live wires, gone under load.
    apart = unplugged("A", {"1": 5.0, "2": 0.07, "3": 0.009, "4": 0.009}, loaded={"3": 0.0})
    mated = replace(
        apart,
        name="B",
        plugged=True,
        volts=taken({"1": 5.0, "2": 0.071, "3": 0.52, "4": 0.013}),
        volts_loaded={},
    )
    answer = explain(job("1234", apart, mated))
    assert first(answer).fault == "none"
    roles = next(each.roles for each in answer.terminals if each.pin == "2")
    assert max(roles, key=lambda role: roles[role]) == "not-used"


def test_a_sleeping_supply_that_an_ohmmeter_sees_nothing_of_is_no_fault() -> None:
    # A regulator that blocks, with nothing else on its output, reads as open as a broken wire does.
    sheet = hall_sensor()
    ohms = {"1": Indication(float("inf"), over_range=True), "3": Indication(0.4)}
    asleep = Round("D", plugged=False, key="off", harness_ohms=ohms)
    before, after = (first(explain(job("123", *rounds))) for rounds in (sheet, (*sheet, asleep)))
    assert before.fault == after.fault == "none"
    assert after.probability > before.probability - 0.1


def hall_sensor() -> tuple[Round, ...]:
    """Rounds of a sound Hall sensor fed with 9 V, its input pulled to 5 V."""
    apart = unplugged("A", {"1": 9.02, "2": 5.0, "3": 0.004}, loaded={"2": 1.0})
    mated = replace(
        apart,
        name="B",
        plugged=True,
        volts=taken({"1": 9.02, "2": 0.048, "3": 0.005}),
        volts_loaded={},
    )
    turning = running("C", {"1": 9.03, "2": 2.53, "3": 0.009})
    turning = replace(turning, hertz=taken({"2": 23.6}), volts_ac=taken({"2": 2.48}))
    return apart, mated, turning


def sheet_with(scan: dict[str, float]) -> Job:
    apart = unplugged("A", {"1": 5.0, "2": 0.01})
    seen = {name: Indication(value) for name, value in scan.items()}
    return job("12", replace(apart, plugged=True, volts=taken({"1": 2.6, "2": 0.01}), scan=seen))


def labels(of: Job) -> set[str]:
    return {name.removeprefix("A scan ") for name in problem_of(of).sheet.label if "scan" in name}


def test_a_temperature_noted_for_comparison_is_not_this_connector_s() -> None:
    own = {"coolant temperature": 21.0, "coolant temperature volts": 2.6}
    assert labels(sheet_with(own)) == set(own)
    assert labels(sheet_with(own | {"intake air temperature": 20.0})) == set(own)
    # Without volts of either one nothing says which is which.
    both = {"coolant temperature": 21.0, "intake air temperature": 20.0}
    assert labels(sheet_with(both)) == set(both)
