"""Campaigns: the same again for the same seed, in any number of processes; files that read back."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from backprobe.campaign.accuracy import accuracy
from backprobe.campaign.accuracy_page import markdown, tables, to_json
from backprobe.campaign.draw import Wishes, draw_vehicle
from backprobe.campaign.faulting import option_name, options
from backprobe.campaign.prediction import Predicted
from backprobe.campaign.run import Campaign, run_campaign, vehicle_of
from backprobe.campaign.separability import alike_pins, hidden_rounds, separability
from backprobe.campaign.vehicle import Vehicle
from backprobe.errors import JobFileError
from backprobe.job.job_file import parse_job, read_job, write_job
from backprobe.job.model import Connector, Job, Terminal
from backprobe.vocabulary import FAULT_KINDS, ROLES, split_fault

# Two wires: what they can tell apart is soon computed.
QUICK = Wishes(design="thermistor")


@pytest.fixture(autouse=True)
def _own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BACKPROBE_CACHE", str(tmp_path / "cache"))


def guess(job: Job) -> dict[str, Any]:
    """An answer that knows nothing."""
    return {
        "terminals": {
            pin: {"role": "not-used", "probability": 0.5, "roles": {"not-used": 0.5}}
            for pin in job.connector.pins
        },
        "faults": [{"fault": "none", "probability": 0.6, "terminals": []}],
        "measurement": {"trusted": 0.9, "rounds": {each.name: 0.9 for each in job.rounds}},
        "estimates": [],
        "misfit": {"probability": 0.5, "readings": []},
        "next": [],
    }


def is_clean_break_without_harness_ohms(vehicle: Vehicle) -> bool:
    truth = vehicle.truth
    is_clean = truth.fault == "open:signal-thermistor" and truth.severity > 1e10
    return is_clean and not any(taken.harness_ohms for taken in vehicle.job.rounds)


def refuse(_: Job) -> dict[str, Any]:
    raise JobFileError("No answer today.")


def test_a_seed_gives_the_same_vehicles_always() -> None:
    campaign = Campaign(3, seed=5)
    first = [vehicle_of(campaign, number) for number in (1, 2, 3)]
    again = [vehicle_of(campaign, number) for number in (1, 2, 3)]
    assert [v.job for v in first] == [v.job for v in again]
    assert [v.truth for v in first] == [v.truth for v in again]
    assert vehicle_of(Campaign(3, seed=6), 1).job != first[0].job


def test_processes_don_t_change_the_result() -> None:
    alone = run_campaign(Campaign(2, 2, QUICK, 1), guess)
    together = run_campaign(Campaign(2, 2, QUICK, 2), guess)
    assert alone == together


def test_every_vehicle_is_told_to_whoever_watches() -> None:
    told: list[tuple[int, int]] = []
    run_campaign(Campaign(3, 1, QUICK, 1), guess, lambda done, total: told.append((done, total)))
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_following_is_scored_beside_the_full_sheet() -> None:
    # An answer that asks for nothing is settled after battery and black lead.
    scores = run_campaign(Campaign(2, 1, QUICK, 1, follow=True), guess)
    found = accuracy(scores).followed
    assert found is not None
    assert found.readings == 2.0
    assert found.full_sheet > 8.0
    assert found.settled.count == 2
    assert any("Following" in table.heading for table in tables(accuracy(scores)))
    assert to_json(accuracy(scores))["followed"]["readings"] == 2.0


def test_only_the_first_vehicles_are_compared_with_all_kinds_where_that_is_asked() -> None:
    every = run_campaign(Campaign(4, 3, Wishes("healthy"), 1), guess)
    some = run_campaign(Campaign(4, 3, Wishes("healthy"), 1, all_kinds=3), guess)
    assert [score.is_compared for score in some] == [True, True, True, False]
    assert some[:3] == every[:3]
    totals = {row.name: row.share.total for row in accuracy(some).rows}
    assert totals["every role right, healthy"] == 4
    assert totals["every role right, healthy, connectors that read alike aside"] == 3


def test_a_job_without_an_answer_is_counted_not_dropped() -> None:
    scores = run_campaign(Campaign(2, 1, QUICK, 1), refuse)
    assert [score.error for score in scores] == ["No answer today."] * 2
    answered = accuracy(scores).rows[0].share
    assert (answered.count, answered.total) == (0, 2)


def test_saved_vehicles_read_back_with_their_truth(tmp_path: Path) -> None:
    campaign = Campaign(2, 4, QUICK, 1, tmp_path / "vehicles")
    run_campaign(campaign, guess)
    for number in (1, 2):
        vehicle = vehicle_of(campaign, number)
        path = tmp_path / "vehicles" / f"vehicle-{number:05d}.toml"
        assert read_job(path) == vehicle.job
        kept = json.loads(path.with_suffix(".truth.json").read_text(encoding="utf-8"))
        assert kept["roles"] == dict(vehicle.truth.roles)
        assert kept["fault"] == vehicle.truth.fault


@pytest.mark.parametrize("sheets", ["full", "partial"])
def test_every_job_is_a_job_file(sheets: str) -> None:
    for number in range(25):
        vehicle = draw_vehicle(np.random.default_rng([21, number]), Wishes("mixed", sheets), number)
        assert parse_job(write_job(vehicle.job), "vehicle.toml") == vehicle.job
        assert set(vehicle.truth.roles.values()) <= set(ROLES)
        assert set(vehicle.truth.roles) == set(vehicle.job.connector.pins)


def test_every_kind_of_fault_occurs_and_is_spelled_as_the_vocabulary_spells_it() -> None:
    kinds = set()
    for number in range(24):
        simulation = draw_vehicle(np.random.default_rng([22, number]), Wishes("healthy")).simulation
        for option in options(simulation.healthy):
            kind, roles = split_fault(option_name(simulation.healthy, option))
            kinds.add(kind)
            assert set(roles.split("+")) <= set(ROLES)
    assert kinds == set(FAULT_KINDS)


def test_wished_kinds_of_faults_only() -> None:
    for number in range(8):
        wishes = Wishes("fault", fault_kinds=("resistance",))
        fault = draw_vehicle(np.random.default_rng([23, number]), wishes).truth.fault
        assert split_fault(fault)[0] in {"resistance", "none"}


def test_a_broken_thermistor_wire_shows_and_its_two_ends_are_one_class() -> None:
    # Common practice: a broken signal wire and a lost pull-up read 0 V both ways round, and no
    # reading with the control unit connected tells them apart.
    wishes = Wishes("fault", fault_kinds=("open",), slips=False, design="thermistor")
    vehicles = (draw_vehicle(np.random.default_rng([24, n]), wishes) for n in range(100))
    vehicle = next(v for v in vehicles if is_clean_break_without_harness_ohms(v))
    found = separability(vehicle)
    assert found.is_separable
    assert "control-unit-input:signal-thermistor" in found.rivals
    assert "none" not in found.rivals


def test_a_key_that_is_not_on_shows_on_a_pull_up_and_not_on_a_coil_at_ground() -> None:
    # Arithmetic: without supply a pull-up reads 0 V; a coil's two ends at ground do so anyway.
    for design, shows in (("thermistor", True), ("inductive", False)):
        healthy = draw_vehicle(np.random.default_rng(6), Wishes("healthy", design=design))
        simulation = healthy.simulation
        grounded = simulation.circuit.with_edits({"coil.bias volt": 0.0})
        states = tuple(
            replace(state, moment=replace(state.moment, awake=state.name != "B"))
            for state in simulation.states
        )
        asleep = replace(
            healthy,
            truth=replace(healthy.truth, bad_rounds={"B": "key not on"}),
            simulation=replace(simulation, circuit=grounded, states=states),
        )
        assert bool(hidden_rounds(asleep)) is not shows


@pytest.mark.parametrize(
    ("second", "running", "alike"), [(12.02, 14.0, True), (11.5, 14.0, False), (12.02, 7.0, False)]
)
def test_pins_read_alike_only_if_they_do_in_every_round(
    second: float, running: float, alike: bool
) -> None:
    job = Job("alike", Connector("pair", terminals=(Terminal("1"), Terminal("2"))))
    seen = [
        Predicted("A volts 1", 12.0, 0.05),
        Predicted("A volts 2", second, 0.05),
        Predicted("C volts 1", 14.0, 0.05),
        Predicted("C volts 2", running, 0.05),
    ]
    found = alike_pins(job, {each.name: each for each in seen})
    assert bool(found) is alike


def test_a_healthy_vehicle_is_its_own_class() -> None:
    vehicle = draw_vehicle(np.random.default_rng(1), Wishes("healthy"))
    assert separability(vehicle).rivals == {"none"}


def test_page_and_object_tell_the_same_counts() -> None:
    found = accuracy(run_campaign(Campaign(3, 3, QUICK, 1), guess))
    page = markdown(tables(found), "backprobe campaign --vehicles 3")
    row = next(row for row in found.rows if row.name == "every role right, healthy")
    line = f"| {row.name} | {row.share.count} of {row.share.total} |"
    assert line in page
    assert to_json(found)["measures"][row.name]["total"] == row.share.total
    assert "    backprobe campaign --vehicles 3" in page
