"""How a proposed reading is said."""

import math

import pytest

from backprobe.services.costs import READING_MINUTES
from backprobe.services.planning_words import (
    FAULT,
    QUANTITY,
    ROLE,
    WIRE,
    check_sentence,
    expectation,
    fault_phrase,
    measurement_phrase,
    moved_lead_sentence,
    sentence,
)
from backprobe.vocabulary import FAULT_KINDS, NO_FAULT, ROLES, fault_name


def test_every_word_of_the_vocabulary_has_its_phrase() -> None:
    assert set(ROLE) == set(WIRE) == set(ROLES)
    assert set(FAULT) == {NO_FAULT, *FAULT_KINDS}
    assert set(QUANTITY) == set(READING_MINUTES) - {"scan"}


@pytest.mark.parametrize("kind", FAULT_KINDS)
@pytest.mark.parametrize("role", ROLES)
def test_a_fault_is_named_without_the_programs_own_words(kind: str, role: str) -> None:
    phrase = fault_phrase(fault_name(kind, role), ("3",))
    assert ":" not in phrase
    assert "{" not in phrase
    assert phrase.endswith("at terminal 3")


def test_two_exchanged_wires_are_both_named() -> None:
    phrase = fault_phrase("swapped:sensor-ground+signal-analogue", ("1", "2"))
    assert phrase == "ground wire and signal wire exchanged at terminals 1 and 2"


@pytest.mark.parametrize(
    ("quantity", "low", "high", "words"),
    [
        ("volts", 4.98, 5.02, "about 5.00 V"),
        ("volts", 0.3, 2.1, "300 mV to 2.10 V"),
        ("volts", -0.0004, 0.0003, "about 0 mV"),
        ("hertz", 80.0, 1900.0, "80 Hz to 1.9 kHz"),
        ("duty_percent", 49.0, 52.0, "about 50.5 %"),
        ("sensor_ohms", math.nan, math.nan, "OL"),
        ("hertz", math.nan, math.nan, "no number"),
        ("harness_ohms", 0.3, 0.6, "0.3 ohm to 0.6 ohm"),
        ("sensor_ohms", 2000.0, 2400.0, "2 kohm to 2.4 kohm"),
    ],
)
def test_what_the_meter_would_show(quantity: str, low: float, high: float, words: str) -> None:
    assert expectation(quantity, low, high) == words


def test_a_whole_sentence() -> None:
    text = sentence(
        "volts_loaded",
        "1",
        "tells whether terminal 1 is",
        ("the regulated supply", "a switching signal"),
        ("about 5.00 V", "880 mV to 2.50 V"),
    )
    assert text == (
        "DC volts under load at terminal 1 tells whether terminal 1 is the regulated supply "
        "(about 5.00 V) or a switching signal (880 mV to 2.50 V)."
    )


def test_a_pair_of_terminals_is_named_as_one_says_it() -> None:
    text = sentence(
        "sensor_ohms", "1-2", "tells", ("a sound circuit", "an open sensor"), ("a", "b")
    )
    assert text.startswith("Ohms across the free sensor, terminals 1 and 2, tells a sound circuit")


def test_what_is_wrong_with_a_measurement() -> None:
    assert measurement_phrase(("A", "B"), ()) == "a bad black-lead point in round A and B"
    assert measurement_phrase((), ("C",)) == "a key that was not on in round C"
    assert measurement_phrase((), (), ("D",)) == "a connector that was not home in round D"
    assert measurement_phrase((), ()) == "a sound measurement"


def test_a_check_says_what_it_has_to_agree_with() -> None:
    assert "agree with the volts across the battery posts" in check_sentence(
        "black_lead_check", "A"
    )
    assert "agree with those to the black lead's point" in check_sentence("battery_volts", "A")


def test_a_lead_on_battery_negative_is_cleaned_and_not_moved() -> None:
    assert "on another point" in moved_lead_sentence("A")
    there = moved_lead_sentence("A", at_battery=True)
    assert "Clean the battery's negative post" in there
    assert "another point" not in there
    assert there.endswith("in round A it misses the volts across the battery posts.")
