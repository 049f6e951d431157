"""Hits, misses and what is left out, where connectors of all kinds count: answers made by hand."""

from typing import Any

import pytest

from backprobe.campaign.accuracy import accuracy
from backprobe.campaign.accuracy_page import INTRODUCTION, to_json
from backprobe.campaign.asking import Asked
from backprobe.campaign.kinds.counting import among_all_kinds
from backprobe.campaign.kinds.rivals import Rival
from backprobe.campaign.scoring import VehicleScore, score_vehicle
from backprobe.campaign.separability import Separability
from backprobe.campaign.vehicle import Truth
from backprobe.services.joint_explanations import JointExplanation

TRUE = {"1": "signal-thermistor", "2": "sensor-ground"}
SWITCH = {"1": "signal-switch", "2": "sensor-ground"}
FAULT = "sensor-shorted:signal-thermistor"
STUCK = "sensor-stuck:signal-switch"
BROKEN = "open:sensor-ground"
SHOWS = Separability(50.0, frozenset({FAULT}))
HIDDEN = Separability(1.0, frozenset({FAULT, "none"}))


def truth(**changes: Any) -> Truth:
    fields: dict[str, Any] = {
        "roles": TRUE,
        "interchangeable": (),
        "fault": FAULT,
        "fault_pins": ("1",),
        "severity": 1.0,
        "circuit": "temperature, thermistor",
        "bad_rounds": {},
        "weak_battery": False,
        "slips": (),
        "estimates": (),
    }
    return Truth(**{**fields, **changes})


def answer(roles: dict[str, str], *faults: str) -> dict[str, Any]:
    return {
        "terminals": {
            pin: {"role": role, "probability": 0.9, "roles": {role: 0.9}}
            for pin, role in roles.items()
        },
        "faults": [
            {"fault": name, "probability": 0.9 / 2**place, "terminals": ["1"]}
            for place, name in enumerate(faults, start=1)
        ],
        "measurement": {"trusted": 0.9, "rounds": {"A": 0.99}},
        "misfit": {"probability": 0.3, "readings": []},
    }


def story(fault: str, roles: dict[str, str], circuit: str = "switch to ground") -> JointExplanation:
    return JointExplanation(circuit, fault, tuple(roles.items()), 0.2)


HEALTHY_SWITCH = story("none", SWITCH)
STUCK_SWITCH = story(STUCK, SWITCH)
ALL = (HEALTHY_SWITCH, STUCK_SWITCH, story(BROKEN, TRUE), story(FAULT, TRUE))


class Proving:
    """Proves what it's told to, and remembers what it was asked."""

    def __init__(self, *proved: JointExplanation) -> None:
        self.proved = {rival_of(each) for each in proved}
        self.asked: list[Rival] = []

    def __call__(self, rival: Rival) -> bool:
        self.asked.append(rival)
        return rival in self.proved


def rival_of(each: JointExplanation) -> Rival:
    return Rival(each.circuit, each.fault, each.roles)


def counted(
    said: dict[str, Any],
    proving: Proving,
    shown: Separability = SHOWS,
    explanations: tuple[JointExplanation, ...] = ALL,
    **changes: Any,
) -> VehicleScore:
    true = truth(**changes)
    score = score_vehicle(1, said, true, shown)
    return among_all_kinds(score, Asked(said, explanations), true, shown, proving)


def test_a_fault_on_another_kind_that_reads_the_same_counts() -> None:
    said = answer(TRUE, STUCK, FAULT)
    assert counted(said, Proving()).place_among_all == 2
    found = counted(said, Proving(STUCK_SWITCH))
    assert found.place_among_all == 1
    assert found.shows_among_all
    # The figure within one kind stays what it was.
    assert found.fault_place == 2


def test_only_what_is_said_before_the_true_fault_is_asked_for() -> None:
    proving = Proving()
    counted(answer(TRUE, FAULT, STUCK), proving)
    assert proving.asked == [rival_of(HEALTHY_SWITCH)]
    proving = Proving()
    counted(answer(TRUE, BROKEN, FAULT, STUCK), proving)
    assert proving.asked == [rival_of(HEALTHY_SWITCH), rival_of(ALL[2])]


def test_a_fault_that_is_not_listed_may_still_be_met_among_the_first_three() -> None:
    said = answer(TRUE, "open:motor", BROKEN, STUCK, "open:shield")
    assert counted(said, Proving(STUCK_SWITCH)).place_among_all == 3
    assert counted(said, Proving()).place_among_all == 0


def test_what_stands_fourth_changes_nothing() -> None:
    said = answer(TRUE, "open:motor", "open:shield", "open:supply-battery", STUCK)
    assert counted(said, Proving(STUCK_SWITCH)).place_among_all == 0


@pytest.mark.parametrize("first", [FAULT, STUCK, "none"])
def test_a_healthy_connector_that_reads_the_same_leaves_hits_and_misses_out(first: str) -> None:
    found = counted(answer(TRUE, first, BROKEN), Proving(HEALTHY_SWITCH))
    assert found.is_separable
    assert not found.shows_among_all


def test_none_is_no_answer_where_no_healthy_connector_was_proved() -> None:
    found = counted(answer(TRUE, "none", FAULT), Proving(STUCK_SWITCH))
    assert found.shows_among_all
    assert found.place_among_all == 2


def test_a_fault_that_does_not_show_within_its_kind_shows_nowhere() -> None:
    proving = Proving()
    found = counted(answer(TRUE, "none", STUCK), proving, HIDDEN)
    assert not found.shows_among_all
    assert proving.asked == []


def test_roles_of_a_connector_that_reads_the_same_are_right() -> None:
    said = answer(SWITCH, FAULT)
    assert not counted(said, Proving()).roles_among_all
    assert counted(said, Proving(STUCK_SWITCH)).roles_among_all
    # A healthy one, or the true fault on other wires, explains them as well.
    assert counted(said, Proving(HEALTHY_SWITCH), HIDDEN).roles_among_all
    other = story(FAULT, SWITCH, "temperature, thermistor")
    assert counted(said, Proving(other), explanations=(other,)).roles_among_all


def test_roles_that_differ_from_those_proved_stay_wrong() -> None:
    exchanged = {"1": "sensor-ground", "2": "signal-thermistor"}
    assert not counted(answer(exchanged, FAULT), Proving(*ALL)).roles_among_all


def test_a_healthy_connector_is_asked_for_its_roles_alone() -> None:
    said = answer(SWITCH, STUCK)
    proving = Proving(STUCK_SWITCH)
    found = counted(said, proving, HIDDEN, fault="none")
    assert found.roles_among_all
    assert not found.all_roles_right
    assert (found.shows_among_all, found.place_among_all) == (found.is_separable, found.fault_place)
    assert {dict(rival.roles)["1"] for rival in proving.asked} == {"signal-switch"}
    assert not counted(said, Proving(), HIDDEN, fault="none").roles_among_all
    untold = Proving(*ALL)
    assert counted(answer(TRUE, "none"), untold, HIDDEN, fault="none").roles_among_all
    assert untold.asked == []


def test_true_roles_ask_for_no_proof() -> None:
    proving = Proving(*ALL)
    found = counted(answer(TRUE, FAULT), proving, explanations=ALL[1:])
    assert found.roles_among_all
    assert proving.asked == []


def test_the_truth_is_no_rival_of_itself() -> None:
    proving = Proving(*ALL)
    found = counted(answer(TRUE, "open:motor"), proving, explanations=(story(FAULT, TRUE),))
    assert found.place_among_all == 0
    assert proving.asked == []


@pytest.mark.parametrize(
    "changes",
    [
        {"bad_rounds": {"A": "key not on"}},
        {"slips": ("A volts 1",)},
        {"weak_battery": True},
    ],
)
def test_vehicles_that_no_table_asks_for_cost_no_proof(changes: dict[str, Any]) -> None:
    proving = Proving(*ALL)
    said = answer(SWITCH, STUCK, FAULT)
    assert counted(said, proving, **changes) == score_vehicle(1, said, truth(**changes), SHOWS)
    assert proving.asked == []


def test_an_answer_without_explanations_counts_as_it_did() -> None:
    said = answer(SWITCH, STUCK, FAULT)
    found = counted(said, Proving(*ALL), explanations=())
    assert (found.shows_among_all, found.place_among_all) == (found.is_separable, found.fault_place)
    assert found.roles_among_all == found.all_told_apart_right


def test_both_figures_stand_side_by_side() -> None:
    first = counted(answer(TRUE, STUCK, FAULT), Proving(STUCK_SWITCH))
    left_out = counted(answer(SWITCH, "none"), Proving(HEALTHY_SWITCH))
    missed = counted(answer(TRUE, BROKEN, "none", FAULT), Proving())
    found = accuracy([first, left_out, missed])
    rows = {row.name: (row.share.count, row.share.total) for row in found.rows}
    assert rows["true fault first, where it shows"] == (0, 3)
    assert rows["true fault among first three, where it shows"] == (2, 3)
    among = "where it shows among all kinds of connectors"
    assert rows[f"true fault first, {among}"] == (1, 2)
    assert rows[f"true fault among first three, {among}"] == (2, 2)
    assert rows["every role right, one fault, terminals that read alike aside"] == (2, 3)
    assert rows["every role right, one fault, connectors that read alike aside"] == (3, 3)
    assert to_json(found)["measures"][f"true fault first, {among}"]["count"] == 1
    assert "among all kinds of connectors" in INTRODUCTION
