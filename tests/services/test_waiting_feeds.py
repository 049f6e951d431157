"""Battery feeds whose relay waits for the engine, and rounds of a ground that lifts with the load.

Common practice, no source: heaters are often fed from a relay that closes for two seconds after
key-on and while the engine turns; a bad ground path lifts by the current that returns through it.
"""

from dataclasses import replace

import pytest

from backprobe.job import Indication, Job
from backprobe.services.explain import explain
from tests.services.sheets import job, taken, unplugged
from tests.services.test_starved_sensors import running

STANDING = {"A": 0.0, "B": 0.0, "C": 0.44, "D": 0.009}


def heated_cell(*, turning: bool) -> Job:
    """An oxygen cell with its heater: feed, driver, signal, return."""
    apart = unplugged("A", STANDING, battery=12.4, check=12.4)
    mated = replace(apart, name="B", plugged=True, volts=taken(STANDING | {"B": 0.002}))
    rounds = [apart, mated]
    if turning:
        rounds.append(running("C", {"A": 13.7, "B": 6.1, "C": 0.62, "D": 0.014}))
    return job("ABCD", *rounds)


def test_a_feed_that_comes_with_the_engine_is_no_fault() -> None:
    answer = explain(heated_cell(turning=True))
    assert max(answer.faults, key=lambda fault: fault.probability).fault == "none"
    feed = next(terminal for terminal in answer.terminals if terminal.pin == "A")
    assert feed.roles["supply-battery"] > 0.9
    said = [text for text in answer.measurement.remarks if text.startswith("Terminal A, battery")]
    assert len(said) == 1
    assert "(round A, B) and live while the engine turns (round C)" in said[0]


@pytest.mark.parametrize(
    ("apart", "mated", "turning", "ohm"),
    [
        ((-0.003, 0.015), (0.011, 0.013), (13.7, 0.11), 68.0),
        ((0.004, -0.003), (0.006, 0.009), (13.6, 0.08), 88.0),
        ((-0.003, 2.03), (0.007, 0.012), (13.6, 0.073), None),  # its driver is watched
    ],
)
def test_a_relay_whose_feed_comes_with_the_engine_which_then_pulls_it_is_sound(
    apart: tuple[float, float],
    mated: tuple[float, float],
    turning: tuple[float, float],
    ohm: float | None,
) -> None:
    """A fuel pump's relay, say: nothing on it at first, then battery voltage and the driver on."""
    by_pin = [dict(zip("AB", volts, strict=True)) for volts in (apart, mated, turning)]
    first = unplugged("A", by_pin[0], battery=12.6, check=12.59)
    second = replace(first, name="B", plugged=True, volts=taken(by_pin[1]))
    if ohm is not None:
        first = replace(first, sensor_ohms={("A", "B"): Indication(ohm)})
    answer = explain(job("AB", first, second, running("C", by_pin[2])))
    roles = {each.pin: max(each.roles, key=each.roles.__getitem__) for each in answer.terminals}
    assert roles == {"A": "supply-battery", "B": "driver-control"}
    assert max(answer.faults, key=lambda fault: fault.probability).fault == "none"


def test_a_lift_that_grows_while_the_engine_runs_is_no_bad_black_lead() -> None:
    # A Hall sensor on 5 V; the control unit's ground and all it feeds stand 0.6, then 1.0 V up.
    low = {"1": 5.6, "2": 5.6, "3": 0.6}
    apart = unplugged("A", low, battery=12.3, check=12.3)
    mated = replace(apart, name="B", plugged=True)
    turning = running("C", {"1": 6.0, "2": 3.4, "3": 1.0})
    turning = replace(turning, hertz=taken({"2": 310.0}), black_lead_check=Indication(14.0))
    answer = explain(job("123", apart, mated, turning))
    first = max(answer.faults, key=lambda fault: fault.probability)
    assert (first.fault, first.terminals) == ("ground-lifted:sensor-ground", ("3",))
    assert all(share > 0.9 for share in answer.measurement.rounds.values())
