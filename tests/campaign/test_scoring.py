"""Counting right and wrong on answers made by hand."""

from typing import Any

import pytest

from backprobe.campaign.accuracy import accuracy
from backprobe.campaign.scoring import all_roles_right, joined, same_fault, score_vehicle
from backprobe.campaign.separability import Separability
from backprobe.campaign.vehicle import TrueValue, Truth

ROLES = {"1": "generator-signal", "2": "generator-return", "3": "shield"}


def truth(**changes: Any) -> Truth:
    fields: dict[str, Any] = {
        "roles": ROLES,
        "interchangeable": (frozenset({"1", "2"}),),
        "fault": "open:generator-signal",
        "fault_pins": ("1",),
        "severity": 1e9,
        "circuit": "speed, inductive pick-up",
        "bad_rounds": {"B": "black lead lifted"},
        "weak_battery": False,
        "slips": (),
        "estimates": (TrueValue("signal", "A", "1", 2.0), TrueValue("battery", "A", "", 12.5)),
    }
    return Truth(**{**fields, **changes})


def answer(roles: dict[str, str], faults: list[tuple[str, float, list[str]]]) -> dict[str, Any]:
    return {
        "terminals": {
            pin: {"role": role, "probability": 0.9, "roles": {role: 0.9, "not-used": 0.1}}
            for pin, role in roles.items()
        },
        "faults": [
            {"fault": name, "probability": p, "terminals": pins} for name, p, pins in faults
        ],
        "measurement": {"trusted": 0.2, "rounds": {"A": 0.99, "B": 0.3, "C": 0.4}},
        "estimates": [
            {"name": "signal", "round": "A", "terminal": "1", "low": 1.9, "high": 2.1},
            {"name": "battery", "round": "A", "terminal": "4", "low": 12.6, "high": 12.7},
            {"name": "duty", "round": "A", "terminal": "1", "low": 0.0, "high": 1.0},
        ],
        "misfit": {"probability": 0.3, "readings": []},
    }


SHOWS = Separability(50.0, frozenset({"open:generator-signal", "sensor-open:generator-signal"}))
HIDDEN = Separability(1.0, frozenset({"open:generator-signal", "none"}))
EXCHANGED = {"1": "generator-return", "2": "generator-signal", "3": "shield"}
TWICE = {"1": "generator-signal", "2": "generator-signal", "3": "shield"}


@pytest.mark.parametrize(("roles", "right"), [(ROLES, True), (EXCHANGED, True), (TWICE, False)])
def test_interchangeable_wires_may_be_exchanged_but_not_doubled(
    roles: dict[str, str], right: bool
) -> None:
    assert all_roles_right(answer(roles, []), truth()) is right


def test_terminals_that_read_alike_may_be_taken_for_each_other_in_one_measure_only() -> None:
    mixed_up = {"1": "generator-signal", "2": "shield", "3": "generator-return"}
    alike = Separability(50.0, SHOWS.rivals, (frozenset({"2", "3"}),))
    score = score_vehicle(1, answer(mixed_up, []), truth(), alike)
    assert not score.all_roles_right
    assert score.all_told_apart_right


def test_groups_that_share_a_pin_are_one() -> None:
    pairs = (frozenset({"1", "2"}), frozenset({"3", "4"}), frozenset({"2", "3"}))
    assert joined(pairs) == (frozenset({"1", "2", "3", "4"}),)
    assert joined(pairs[:2]) == pairs[:2]


def test_wires_are_told_apart_where_they_are_not_interchangeable() -> None:
    assert not all_roles_right(answer(EXCHANGED, []), truth(interchangeable=()))


def test_a_fault_that_no_reading_tells_from_the_true_one_counts() -> None:
    said = answer(
        ROLES,
        [("short-to-ground:shield", 0.5, ["3"]), ("sensor-open:generator-signal", 0.4, ["1"])],
    )
    score = score_vehicle(1, said, truth(), SHOWS)
    assert score.fault_place == 2
    assert score.is_terminal_right
    assert score.is_separable


def test_none_is_no_answer_where_the_fault_shows_and_one_where_it_does_not() -> None:
    said = answer(ROLES, [("none", 0.9, [])])
    assert score_vehicle(1, said, truth(), SHOWS).fault_place == 0
    assert score_vehicle(1, said, truth(), HIDDEN).fault_place == 1


def test_the_right_kind_on_the_right_terminal_counts_whatever_the_wire_is_taken_for() -> None:
    cases = (("open:signal-analogue", "1", True), ("open:shield", "3", False))
    for name, pin, right in (*cases, ("short-to-ground:generator-signal", "1", False)):
        said = answer(ROLES, [(name, 0.9, [pin])])
        assert score_vehicle(1, said, truth(), SHOWS).is_kind_right is right


def test_exchanged_wires_are_the_same_fault_in_either_order() -> None:
    assert same_fault("swapped:sensor-ground+shield", "swapped:shield+sensor-ground")
    assert not same_fault("swapped:sensor-ground+shield", "swapped:shield+motor")
    assert not same_fault("open:shield", "resistance:shield")


def test_rounds_are_counted_as_found_and_blamed() -> None:
    score = score_vehicle(1, answer(ROLES, [("none", 0.9, [])]), truth(), SHOWS)
    assert (score.bad_found, score.bad_total) == (1, 1)
    assert (score.good_blamed, score.good_total) == (1, 2)


def test_claims_of_a_class_are_added_up() -> None:
    said = answer(
        ROLES,
        [
            ("open:generator-signal", 0.5, ["1"]),
            ("sensor-open:generator-signal", 0.4, ["1"]),
            ("none", 0.1, []),
        ],
    )
    score = score_vehicle(1, said, truth(), SHOWS)
    fault = next(claim for claim in score.claims if claim.what == "fault")
    assert fault.is_true
    assert fault.probability == pytest.approx(0.9)


def test_a_fault_is_claimed_beyond_an_even_chance_only() -> None:
    healthy = truth(fault="none", fault_pins=(), bad_rounds={})
    none = Separability(0.0, frozenset({"none"}))
    for probability, claimed in ((0.49, False), (0.51, True)):
        said = answer(ROLES, [("open:shield", probability, ["3"]), ("none", 0.4, [])])
        assert score_vehicle(1, said, healthy, none).claims_fault is claimed


def test_estimates_meet_their_truth_and_others_are_left_out() -> None:
    score = score_vehicle(1, answer(ROLES, []), truth(), SHOWS)
    assert [(each.name, each.truth) for each in score.intervals] == [
        ("signal", 2.0),
        ("battery", 12.5),
    ]


def test_tables_count_the_right_vehicles() -> None:
    none = Separability(0.0, frozenset({"none"}))
    healthy = truth(fault="none", fault_pins=(), bad_rounds={})
    clean = truth(bad_rounds={})
    right = answer(ROLES, [("none", 0.9, [])])
    wrong = answer(TWICE, [("open:shield", 0.8, ["3"])])
    found = accuracy(
        [
            score_vehicle(1, right, healthy, none),
            score_vehicle(2, wrong, healthy, none),
            score_vehicle(3, answer(ROLES, [("open:generator-signal", 0.9, ["2"])]), clean, SHOWS),
            score_vehicle(4, right, clean, HIDDEN),
        ]
    )
    rows = {row.name: (row.share.count, row.share.total) for row in found.rows}
    assert rows["every role right, healthy"] == (1, 2)
    assert rows["every role right, one fault"] == (2, 2)
    assert rows["true fault first, where it shows"] == (1, 1)
    # Pin 2 is interchangeable with the fault's pin 1.
    assert rows["true fault first on its right terminal, where it shows"] == (1, 1)
    assert rows["fault claimed on a healthy circuit"] == (1, 2)
    assert dict(found.by_kind)["open"].count == 1
    assert found.confusions == ()
