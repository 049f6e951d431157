"""Readings one by one on a simulated vehicle, as someone asks for them."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from backprobe.campaign.choices import compare_choice, doubt, exhaustive
from backprobe.campaign.draw import Wishes, draw_vehicle
from backprobe.campaign.planner import (
    Assistant,
    Wanted,
    count_readings,
    follow,
)
from backprobe.campaign.vehicle import Vehicle
from backprobe.job.job_file import parse_job, write_job
from backprobe.job.model import Job
from backprobe.services.unavailable import Unavailable

ASKED = (
    ("volts", "1", False, "on", 0.0),
    ("volts", "2", False, "on", 0.0),
    ("volts_loaded", "1", False, "on", 0.0),
    ("volts", "1", True, "on", 0.0),
    ("volts", "1", True, "run", 800.0),
    ("volts", "1", True, "run", 2500.0),
    ("hertz", "1", True, "run", 800.0),
    ("volts_high", "2", True, "run", 800.0),
    ("sensor_ohms", "1-2", False, "off", 0.0),
    ("harness_ohms", "2", False, "off", 0.0),
    ("ambient_celsius", "", False, "off", 0.0),
)


def entry(place: int) -> dict[str, Any]:
    quantity, terminal, plugged, key, rpm = ASKED[place]
    return {
        "plugged": plugged,
        "key": key,
        "rpm": rpm,
        "action": "",
        "quantity": quantity,
        "terminal": terminal,
        "minutes": 0.5,
    }


def answer(faults: tuple[float, ...], nexts: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "terminals": {"1": {"roles": {"not-used": 1.0}}},
        "faults": [{"fault": f"fault {k}", "probability": p} for k, p in enumerate(faults)],
        "next": nexts,
    }


def one_after_another(job: Job, without: object = ()) -> dict[str, Any]:
    place = count_readings(job) - 2
    return answer((1.0,), [entry(place)] if place < len(ASKED) else [])


def thermistor() -> Vehicle:
    return draw_vehicle(np.random.default_rng(5), Wishes("healthy", design="thermistor"))


def test_every_kind_of_reading_is_taken_where_it_was_asked_for() -> None:
    done = follow(thermistor(), one_after_another, np.random.default_rng(1))
    assert done.settled
    assert done.readings == len(ASKED) + 2
    assert done.minutes == pytest.approx(0.5 * len(ASKED))
    # unplugged and on, plugged and on, idle, raised, unplugged and off
    states = [(taken.plugged, taken.key, taken.rpm > 1200.0) for taken in done.job.rounds]
    assert states == [
        (False, "on", False),
        (True, "on", False),
        (True, "run", False),
        (True, "run", True),
        (False, "off", False),
    ]
    assert set(done.job.rounds[0].volts) == {"1", "2"}
    assert done.job.rounds[4].ambient_celsius is not None
    # An ohmmeter on a thermistor between its two pins shows no open circuit.
    assert np.isfinite(done.job.rounds[4].sensor_ohms["1", "2"].value)
    assert parse_job(write_job(done.job), "followed.toml") == done.job


def test_readings_agree_with_the_vehicle_s_own_sheet() -> None:
    vehicle = thermistor()
    assistant = Assistant(vehicle, np.random.default_rng(1))
    job = assistant.empty_job()
    for pin in ("1", "2"):
        job = assistant.take(job, Wanted(False, "on", 0.0, "", "volts", pin))
    for pin, shown in vehicle.job.rounds[0].volts.items():
        assert job.rounds[0].volts[pin].value == pytest.approx(shown.value, abs=0.03)


def test_what_was_read_once_is_read_in_a_new_round() -> None:
    assistant = Assistant(thermistor(), np.random.default_rng(1))
    job = assistant.empty_job()
    again = Wanted(True, "on", 0.0, "", "volts", "1")
    job = assistant.take(assistant.take(job, again), again)
    assert [taken.name for taken in job.rounds] == ["A", "B"]


def test_asking_for_ever_ends_at_the_limit() -> None:
    done = follow(
        thermistor(), lambda _, __: answer((1.0,), [entry(0)]), np.random.default_rng(1), most=7
    )
    assert not done.settled
    assert done.readings == 7


def test_doubt_is_counted_in_bits() -> None:
    assert doubt(answer((1.0,), [])) == 0.0
    assert doubt(answer((0.5, 0.5), [])) == pytest.approx(1.0)
    assert doubt(answer((0.5, 0.25, 0.25), [])) == pytest.approx(1.5)


def of_two(job: Job) -> dict[str, Any]:
    """An answer that terminal 2's volts settle and nothing else; it asks for terminal 1's."""
    taken = {pin for each in job.rounds for pin in each.volts}
    return answer((1.0,) if "2" in taken else (0.5, 0.5), [entry(0)])


def test_every_possible_reading_is_tried_from_the_same_job() -> None:
    assistant = Assistant(thermistor(), np.random.default_rng(1))
    tried = list(exhaustive(assistant.empty_job(), assistant, of_two))
    assert len(tried) == 2 * 9
    told = {(c.wanted.quantity, c.wanted.terminal) for c in tried if c.bits > 0.5}
    assert told == {("volts", "2")}
    # What needs no running engine is sooner done.
    fastest = max(tried, key=lambda choice: choice.bits_per_minute)
    assert not fastest.wanted.rpm


def test_a_poor_choice_is_seen_to_be_one() -> None:
    assistant = Assistant(thermistor(), np.random.default_rng(1))
    found = compare_choice(assistant.empty_job(), assistant, of_two)
    assert found is not None
    assert found.chosen == 0.0
    assert found.best > found.mean > 0.0


def position(seed: int = 3) -> Vehicle:
    return draw_vehicle(np.random.default_rng(seed), Wishes("healthy", design="track"))


def test_a_sweep_reaches_both_stops() -> None:
    vehicle = position()
    (signal,) = [pin for pin, role in vehicle.truth.roles.items() if role == "signal-analogue"]
    assistant = Assistant(vehicle, np.random.default_rng(1))
    job = assistant.empty_job()
    for quantity in ("volts_low", "volts_high"):
        job = assistant.take(job, Wanted(True, "on", 0.0, "sweep", quantity, signal))
    (swept,) = job.rounds
    # A track's wiper passes from near one end to near the other: some volts of its five.
    travel = swept.volts_high[signal].value - swept.volts_low[signal].value
    assert travel > 2.0


def test_a_reported_value_is_read_and_what_is_not_reported_is_refused() -> None:
    wishes = Wishes("healthy", design="air-mass-thermistor")
    vehicle = draw_vehicle(np.random.default_rng(3), wishes)
    assistant = Assistant(vehicle, np.random.default_rng(1))
    name = "intake air temperature"
    wanted = Wanted(True, "on", 0.0, "", "scan", name)
    assert assistant.refused(wanted) is None
    job = assistant.take(assistant.empty_job(), wanted)
    # Weather, and what the bay adds to it.
    assert -20.0 < job.rounds[0].scan[name].value < 60.0
    refused = assistant.refused(Wanted(True, "on", 0.0, "", "scan", "coolant temperature"))
    assert refused == Unavailable("scan", "coolant temperature")
    unplugged = assistant.take(job, Wanted(False, "on", 0.0, "", "scan", name))
    # Common practice, no source: without its thermistor it reports its coldest value.
    assert unplugged.rounds[1].scan[name].value == pytest.approx(-40.0)


def test_a_coil_alternates_while_the_starter_turns() -> None:
    vehicle = draw_vehicle(np.random.default_rng(2), Wishes("healthy", design="inductive"))
    assistant = Assistant(vehicle, np.random.default_rng(1))
    job = assistant.empty_job()
    cranked = Wanted(True, "crank", 200.0, "", "hertz", "1")
    job = assistant.take(job, cranked)
    (taken,) = job.rounds
    assert (taken.key, taken.plugged) == ("crank", True)
    assert 100.0 < taken.rpm < 400.0  # what a starter turns an engine at (common practice)


def test_an_engine_that_does_not_start_is_set_aside_and_not_read_running() -> None:
    wishes = Wishes("fault", fault_kinds=("sensor-open",), design="inductive")
    vehicle = draw_vehicle(np.random.default_rng(2), wishes)
    told: list[tuple[Unavailable, ...]] = []

    def asks_for_idle(_: Job, without: Sequence[Unavailable]) -> dict[str, Any]:
        told.append(tuple(without))
        wanted = entry(7) | {"terminal": "1", "quantity": "volts"}
        return answer((1.0,), [] if without else [wanted])

    done = follow(vehicle, asks_for_idle, np.random.default_rng(1))
    assert done.settled
    assert told == [(), (Unavailable(state="plugged|run|idle|"),)]
    assert [taken.key for taken in done.job.rounds] == ["on"]
