"""Readings one by one on a simulated vehicle, as someone asks for them."""

from typing import Any

import numpy as np
import pytest

from backprobe.campaign.draw import Wishes, draw_vehicle
from backprobe.campaign.planner import (
    Assistant,
    Wanted,
    compare_choice,
    count_readings,
    doubt,
    exhaustive,
    follow,
)
from backprobe.campaign.vehicle import Vehicle
from backprobe.job.job_file import parse_job, write_job
from backprobe.job.model import Job

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


def one_after_another(job: Job) -> dict[str, Any]:
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
        thermistor(), lambda _: answer((1.0,), [entry(0)]), np.random.default_rng(1), most=7
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
