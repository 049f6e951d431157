"""Before and after, for the owner: what was read twice in one state, the most changed first."""

from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.job.model import Indication, Job, Round
from backprobe.services.answer import Measurement
from backprobe.services.pictures import comparison_picture
from backprobe.services.pictures.comparison_picture import MOST_SHOWN, most_changed
from backprobe.services.pictures.likeliest import likeliest_circuit
from backprobe.services.pictures.usual_volts import is_usual, usual_volts
from tests.services.pictures.made_up import (
    all_words,
    answer_of,
    family_named,
    job_of,
    require_plain,
    require_room,
    told,
)

POTENTIOMETER = family_named("potentiometer-three-wire")  # supply, signal, ground
ANSWER = answer_of(POTENTIOMETER)


def read(name: str, volts: Mapping[str, float], *, plugged: bool = True, key: str = "on") -> Round:
    shown = {pin: Indication(value) for pin, value in volts.items()}
    return Round(name, plugged=plugged, key=key, volts=shown, battery_volts=Indication(12.6))


def with_rounds(*rounds: Round) -> Job:
    return replace(job_of(POTENTIOMETER), rounds=rounds)


def test_a_ground_that_was_mended_is_first_and_said_to_be_as_usual() -> None:
    before = with_rounds(read("A", {"1": 5.0, "2": 2.5, "3": 1.9}))
    after = with_rounds(read("A", {"1": 5.0, "2": 1.2, "3": 0.012}))
    pairs = most_changed(before, after, ANSWER)
    assert [pair.pin for pair in pairs] == ["3", "2", "1"]
    assert [pair.verdict for pair in pairs] == ["NOW AS USUAL", "CHANGED", "as usual"]
    svg = comparison_picture(before, after, ANSWER)
    require_plain(svg)
    require_room(svg)
    words = all_words(svg)
    assert "Terminal 3, white wire" in words
    assert "1.90 V" in words
    assert "12 mV" in words
    assert "before 1.90 V, after 12 mV; usual is 0 to 55 mV: now as usual." in told(svg, "desc")


def test_what_stays_wrong_is_said() -> None:
    before = with_rounds(read("A", {"1": 3.1, "3": 0.0}))
    after = with_rounds(read("A", {"1": 3.2, "3": 0.0}))
    assert most_changed(before, after, ANSWER)[0].verdict == "NOT AS USUAL"


def test_without_an_answer_only_the_change_is_told() -> None:
    before, after = with_rounds(read("A", {"1": 3.1})), with_rounds(read("A", {"1": 5.0}))
    pair = most_changed(before, after, None)[0]
    assert (pair.usual, pair.role, pair.verdict) == (None, "", "CHANGED")
    assert most_changed(before, before, None)[0].verdict == "as before"


def test_only_the_same_state_is_compared_void_doubted_and_endless_values_never() -> None:
    before = with_rounds(
        read("A", {"1": 5.0}, plugged=False),
        read("B", {"1": 4.0}),
        read("C", {"1": float("inf"), "2": 1.0}, key="off"),
    )
    after = with_rounds(
        read("A", {"1": 4.9}),
        replace(read("B", {"1": 0.1}), void="slipped"),
        read("C", {"1": 0.0, "2": 1.0}, key="off"),
    )
    pairs = most_changed(before, after, None)
    assert [(pair.pin, pair.before, pair.after) for pair in pairs] == [
        ("1", 4.0, 4.9),
        ("2", 1.0, 1.0),
    ]
    doubted = replace(ANSWER, measurement=Measurement(0.0, {"A": 1.0, "B": 0.1, "C": 1.0}))
    assert [pair.pin for pair in most_changed(before, after, doubted)] == ["2"]


def test_nothing_in_common_is_said() -> None:
    svg = comparison_picture(with_rounds(), with_rounds(read("A", {"1": 5.0})), None)
    require_room(svg)
    assert "Nothing was read in the same state" in all_words(svg)


def test_at_most_six_are_shown() -> None:
    keys = ("off", "on", "crank")
    rounds = [read(key, {"1": 1.0, "2": 2.0, "3": 3.0}, key=key) for key in keys]
    assert len(most_changed(with_rounds(*rounds), with_rounds(*rounds), ANSWER)) == MOST_SHOWN


@pytest.mark.parametrize(
    ("pin", "sound", "unsound"),
    [
        # Common practice, no source: 4.9 to 5.1 V; ground below 50 mV; feed within 0.5 V.
        ("1", (4.9, 5.0, 5.1), (4.7, 5.3)),
        ("3", (0.0, 0.02, 0.05), (-0.1, 0.2)),
    ],
)
def test_usual_volts_of_supply_and_ground(
    pin: str, sound: tuple[float, ...], unsound: tuple[float, ...]
) -> None:
    band = usual_volts(likeliest_circuit(ANSWER), pin, read("A", {}))
    assert band is not None
    assert all(is_usual(volts, band) for volts in sound)
    assert not any(is_usual(volts, band) for volts in unsound)


def test_usual_volts_of_a_feed_move_with_the_battery() -> None:
    heated = family_named("oxygen-four-wire")  # its first wire is the heater's feed
    likeliest = likeliest_circuit(answer_of(heated))
    for battery in (11.8, 14.2):
        taken = replace(read("A", {}), battery_volts=Indication(battery))
        band = usual_volts(likeliest, "1", taken)
        assert band is not None
        assert is_usual(battery - 0.2, band)
        assert not is_usual(battery - 1.0, band)


def test_nothing_is_usual_for_signals_with_the_key_off_or_where_it_is_undecided() -> None:
    likeliest = likeliest_circuit(ANSWER)
    assert usual_volts(likeliest, "2", read("A", {})) is None
    assert usual_volts(likeliest, "1", read("A", {}, key="off")) is None
    unsure = likeliest_circuit(answer_of(POTENTIOMETER, probability=0.4))
    assert usual_volts(unsure, "1", read("A", {})) is None


VOLTS = st.floats(-30, 60, allow_nan=False).map(lambda value: round(value, 3))


@given(st.tuples(VOLTS, VOLTS, VOLTS), st.tuples(VOLTS, VOLTS, VOLTS))
@settings(max_examples=60, deadline=None)
def test_any_volts_keep_their_room(
    first: tuple[float, float, float], second: tuple[float, float, float]
) -> None:
    def job(values: tuple[float, float, float]) -> Job:
        return with_rounds(read("A", dict(zip("123", values, strict=True))))

    svg = comparison_picture(job(first), job(second), ANSWER, ink="#111111")
    require_plain(svg)
    require_room(svg)
    changes = [pair.change for pair in most_changed(job(first), job(second), ANSWER)]
    assert changes == sorted(changes, reverse=True)
