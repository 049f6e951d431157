"""How things are said. The words are the project's own; the order and the bounds are checked."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.services.words import (
    ROLE_WORDS,
    claim_words,
    counted,
    fault_words,
    gain_words,
    interval_words,
    is_circuit_reading,
    measured,
    minutes_words,
    percent,
    probability_words,
    reading_pins,
    reading_words,
    role_and_fault_words,
    state_words,
    strength_words,
    terminals_words,
    weight_words,
)
from backprobe.vocabulary import FAULT_KINDS, ROLES


def test_the_program_calls_settled_what_it_stops_asking_about() -> None:
    """The stopping rule is 0.99."""
    assert probability_words(0.99) == "settled"
    assert probability_words(0.9899) != "settled"


@given(st.floats(0, 1))
def test_a_probability_is_never_shown_as_certain(share: float) -> None:
    shown = percent(share)
    assert shown not in {"100 %", "100.0 %", "0 %", "0.0 %"}
    assert probability_words(share)


@given(st.floats(0, 1), st.floats(0, 1))
def test_a_larger_share_is_never_written_smaller(one: float, other: float) -> None:
    low, high = sorted((one, other))
    numbers = [float(percent(share).strip("<> %")) for share in (low, high)]
    if percent(low)[0] not in "<>" and percent(high)[0] not in "<>":
        assert numbers[0] <= numbers[1]


@pytest.mark.parametrize(
    ("share", "written"),
    [(0.9999, "> 99.9 %"), (0.996, "99.6 %"), (0.97, "97 %"), (0.004, "0.4 %"), (0.0, "< 0.1 %")],
)
def test_percent_has_the_digits_it_bears(share: float, written: str) -> None:
    assert percent(share) == written


def test_ten_decibans_are_odds_of_ten_and_said_to_be_good() -> None:
    """Good (1950): one deciban is hardly noticed; ten multiply the odds by ten."""
    assert strength_words(0.5) == "says nothing"
    assert weight_words(0.5) == "says nothing"
    assert weight_words(10.0) == "good, for"
    assert weight_words(-10.0) == "good, against"
    order = ["says nothing", "weak", "fair", "good", "strong", "very strong", "decisive"]
    said = [strength_words(size) for size in (0, 2, 5, 9, 15, 25, 50)]
    assert said == order


def test_every_role_and_fault_has_its_words() -> None:
    assert set(ROLE_WORDS) == set(ROLES)
    for kind in FAULT_KINDS:
        for role in ROLES:
            name = f"{kind}:{role}+sensor-ground" if kind == "swapped" else f"{kind}:{role}"
            said = fault_words(name, ("3",))
            assert "terminal 3" in said
            assert name not in said
            assert "{" not in said


@pytest.mark.parametrize(
    ("fault", "terminals", "said"),
    [
        ("none", (), "no fault in this circuit"),
        (
            "open:sensor-ground",
            ("3",),
            (
                "the sensor ground wire (terminal 3) is broken or makes no contact, "
                "between control unit and connector"
            ),
        ),
        (
            "resistance:signal-analogue",
            (),
            "unwanted resistance in the signal wire, or at its contact",
        ),
        (
            "swapped:supply-regulated+sensor-ground",
            ("1", "2"),
            (
                "the regulated supply wire and the sensor ground wire (terminals 1 and 2) are "
                "exchanged against the sensor"
            ),
        ),
        (
            "sensor-open:heater-control",
            ("4",),
            (
                "the heater is open inside or has a bad contact, on the heater control wire "
                "(terminal 4)"
            ),
        ),
        ("unheard-of:motor", ("1",), "unheard-of:motor"),
    ],
)
def test_faults_are_sentences(fault: str, terminals: tuple[str, ...], said: str) -> None:
    assert fault_words(fault, terminals) == said


def test_readings_and_claims_are_said_in_words() -> None:
    assert reading_words("A volts 3") == "A: volts at 3"
    assert reading_words("B volts_loaded 1") == "B: volts with load at 1"
    assert reading_words("A sensor_ohms 1-2") == "A: sensor ohms at 1-2"
    assert reading_words("A battery_volts") == "A: battery volts"
    assert (
        reading_words("warm idle scan intake air temperature volts")
        == "warm idle: control unit's intake air temperature volts"
    )
    assert reading_words("whatever") == "whatever"
    assert claim_words("terminal 3 is sensor-ground") == "terminal 3 is: sensor ground"
    assert claim_words("fault none") == "no fault in this circuit"
    assert claim_words("the black lead is sound") == "the black lead is sound"


def test_a_reading_knows_its_pins() -> None:
    assert reading_pins("A volts 3") == ("3",)
    assert reading_pins("A sensor_ohms 1-2") == ("1", "2")
    assert reading_pins("A battery_volts") == ()
    assert reading_pins("A scan engine speed") == ()
    assert is_circuit_reading("A battery_volts")
    assert not is_circuit_reading("A ambient_celsius")
    assert not is_circuit_reading("before any reading")


def test_a_rival_is_named_with_its_fault() -> None:
    assert role_and_fault_words("motor", "none") == "motor lead"
    assert (
        role_and_fault_words("generator-return", "short-to-supply:generator-signal")
        == "return of a generating sensor (if the live wire of the generating sensor touches "
        "the regulated supply)"
    )


def test_terminals_are_listed_as_people_do() -> None:
    assert terminals_words(()) == ""
    assert terminals_words(("3",)) == "terminal 3"
    assert terminals_words(("1", "2", "C7")) == "terminals 1, 2 and C7"


def test_states_name_plug_key_speed_and_action() -> None:
    assert state_words(plugged=False, key="on") == "unplugged, key on"
    assert state_words(plugged=True, key="run", rpm=800) == "plugged in, idling"
    assert (
        state_words(plugged=True, key="run", rpm=2500, action="snap throttle")
        == "plugged in, running at 2500 rpm, snap throttle"
    )


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (0.1, "half a minute"),
        (0.6, "half a minute"),
        (1.1, "1 minute"),
        (1.5, "1.5 minutes"),
        (2.1, "2 minutes"),
        (12.6, "13 minutes"),
    ],
)
def test_minutes_bear_no_more_than_halves(minutes: float, said: str) -> None:
    assert minutes_words(minutes) == said


def test_gain_is_said_against_one_bit() -> None:
    """One bit halves what is open (Shannon)."""
    assert "half" in gain_words(1.0)
    assert gain_words(0.01) == "tells little"


def test_values_are_said_as_the_trade_does() -> None:
    assert measured(0.012, "V") == "12 mV"
    assert measured(2210, "ohm") == "2.21 kohm"
    assert measured(0.48, "share") == "48 %"
    assert measured(3.5, "furlong") == "3.5 furlong"
    assert interval_words(2050, 2380, "ohm") == "2.05 to 2.38 kohm"
    assert interval_words(900, 1200, "ohm") == "900 ohm to 1.2 kohm"


@pytest.mark.parametrize(
    ("number", "words"), [(0, "0 jobs"), (1, "1 job"), (2, "2 jobs"), (20_000, "20,000 jobs")]
)
def test_things_are_counted(number: int, words: str) -> None:
    assert counted(number, "job") == words
    assert counted(2, "box", "boxes") == "2 boxes"
