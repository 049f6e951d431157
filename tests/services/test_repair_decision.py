"""Acting now against reading first.

Held against a tree of costs written out by hand: Raiffa & Schlaifer, Applied Statistical Decision
Theory (1961), ch. 4 (from memory): the expected opportunity loss of an act is its expected cost
less that of deciding with perfect information.
"""

from dataclasses import replace
from math import log2

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.services.answer import (
    Answer,
    FaultAnswer,
    Measurement,
    Misfit,
    NextReading,
    TerminalAnswer,
)
from backprobe.services.costs import costs_with
from backprobe.services.repair_decision import repair_decision
from backprobe.vocabulary import FAULT_KINDS, NO_FAULT, fault_name

WIRE, DRIFT = "resistance:sensor-ground", "sensor-drift:signal-analogue"
# An hour is 60, so a minute is 1. The wire: 45 minutes and 5 of material, 50. The part: 20 minutes
# and 80, 100. A return visit 150.
COSTS = costs_with(
    {
        "hour": 60.0,
        "return visit": 150.0,
        "material": 5.0,
        "repair wire": 45.0,
        "repair part": 20.0,
        "part pressure": 80.0,
    }
)


def reading(bits: float, minutes: float) -> NextReading:
    return NextReading(True, "on", 0.0, "", "volts", "3", bits, minutes, "Volts at terminal 3.")


def answered(
    faults: dict[str, float], *more: NextReading, trusted: float = 1.0, fits: float = 0.5
) -> Answer:
    return Answer(
        file="",
        terminals=(TerminalAnswer("3", "sensor-ground", 1.0, {"sensor-ground": 1.0}),),
        circuits=(),
        faults=tuple(FaultAnswer(f, p, ("3",)) for f, p in faults.items()),
        measurement=Measurement(trusted),
        estimates=(),
        misfit=Misfit(fits),
        reasons=(),
        next=more,
    )


def test_acting_now_by_hand() -> None:
    """The wire at 0.8, else the sensor: the whole tree in figures."""
    # Act on the wire: 50 in any case; in 0.2 of cases a return visit and the part on top.
    acting = 50.0 + 0.2 * (150.0 + 100.0)  # 100
    # Knowing what it is: 50 in 0.8, 100 in 0.2 of cases.
    knowing = 0.8 * 50.0 + 0.2 * 100.0  # 60
    found = repair_decision(answered({WIRE: 0.8, DRIFT: 0.2}), COSTS, "pressure")
    assert found is not None
    assert found.repair_price == pytest.approx(50.0)
    assert found.act_price == pytest.approx(acting - knowing) == pytest.approx(40.0)


def test_a_reading_that_settles_half_by_hand() -> None:
    # Open: 0.8 log2(1/0.8) + 0.2 log2(1/0.2) = 0.722 bits; a reading with half of that settles
    # half, leaving 20 of 40, and costs 6 minutes, 6: 26 in all, cheaper by 14.
    open_bits = 0.8 * log2(1 / 0.8) + 0.2 * log2(1 / 0.2)
    found = repair_decision(
        answered({WIRE: 0.8, DRIFT: 0.2}, reading(open_bits / 2, 6.0)), COSTS, "pressure"
    )
    assert found is not None
    assert found.settles == pytest.approx(0.5)
    assert found.read_price == pytest.approx(26.0)
    assert found.choice == "read"
    assert found.words == (
        "Leading (very likely, 80 %): unwanted resistance in the sensor ground wire (terminal 3), "
        "or at its contact. To mend it: work on the wire, 45 minutes, 50 EUR in all. Acting now is "
        "wrong with a chance of 20 %; then that and a return visit (150 EUR) are lost: 40 EUR to "
        "be expected. The next reading costs 6 minutes (6 EUR) and is expected to settle about "
        "50 % of what is open: 26 EUR to be expected that way. Read first: it's cheaper by about "
        "14 EUR."
    )
    assert "temporary wire" in found.proof


def test_a_reading_dearer_than_what_it_can_save_is_not_taken() -> None:
    # It settles all of 40, yet takes 41 minutes at 1 each.
    sure = answered({WIRE: 0.8, DRIFT: 0.2}, reading(5.0, 41.0))
    found = repair_decision(sure, COSTS, "pressure")
    assert found is not None
    assert found.settles == 1.0
    assert found.read_price == pytest.approx(41.0)
    assert "settle all of what is open" in found.words
    assert found.choice == "act"
    assert found.words.endswith("once its proof is seen.")
    quick = repair_decision(replace(sure, next=(reading(5.0, 39.0),)), COSTS, "pressure")
    assert quick is not None
    assert quick.choice == "read"


@pytest.mark.parametrize(("price", "loss", "choice"), [(80.0, 25.0, "act"), (400.0, 57.0, "read")])
def test_a_dear_part_is_proved_for_longer(price: float, loss: float, choice: str) -> None:
    # Wrong in 0.1: 0.1 (20 + 80 + 150) = 25 and 0.1 (20 + 400 + 150) = 57, against 30 minutes.
    costs = costs_with({**dict(COSTS.own), "part pressure": price})
    found = repair_decision(
        answered({DRIFT: 0.9, WIRE: 0.1}, reading(5.0, 30.0)), costs, "pressure"
    )
    assert found is not None
    assert found.act_price == pytest.approx(loss)
    assert found.choice == choice


def test_a_control_unit_is_never_a_question_of_price() -> None:
    # Common practice, no source: it is named last.
    found = repair_decision(
        answered({"control-unit-input:signal-analogue": 0.98, WIRE: 0.02}, reading(0.01, 90.0))
    )
    assert found is not None
    assert found.read_price > found.act_price
    assert found.choice == "read"
    assert found.words.startswith("The control unit is named last")


@pytest.mark.parametrize(
    ("trusted", "fits", "words"),
    [(0.8, 0.5, "measurement itself is in doubt"), (1.0, 1e-5, "fit nothing that is modelled")],
)
def test_no_price_counts_before_the_readings_can_be_believed(
    trusted: float, fits: float, words: str
) -> None:
    found = repair_decision(answered({WIRE: 0.97, DRIFT: 0.03}, trusted=trusted, fits=fits))
    assert found is not None
    assert found.choice == "read"
    assert words in found.words


def test_nothing_left_to_read() -> None:
    found = repair_decision(answered({WIRE: 0.6, DRIFT: 0.4}), COSTS, "pressure")
    assert found is not None
    assert found.choice == "act"
    assert found.read_price == found.act_price
    assert "No reading is left" in found.words
    assert found.words.endswith("Act once its proof is seen.")


def test_a_sound_circuit_is_not_repaired() -> None:
    assert repair_decision(answered({NO_FAULT: 0.9, WIRE: 0.1})) is None
    assert repair_decision(answered({})) is None


@pytest.mark.parametrize("kind", [k for k in FAULT_KINDS if k != NO_FAULT])
def test_every_kind_of_fault_has_its_work(kind: str) -> None:
    found = repair_decision(answered({fault_name(kind, "signal-analogue"): 0.7, WIRE: 0.3}))
    assert found is not None
    assert found.repair_minutes > 0
    assert found.proof


@given(
    p=st.floats(0.34, 0.99),
    bits=st.floats(0.0, 3.0),
    minutes=st.floats(0.5, 60.0),
)
def test_reading_first_lies_between_its_own_price_and_that_on_top(
    p: float, bits: float, minutes: float
) -> None:
    found = repair_decision(answered({WIRE: p, DRIFT: 1.0 - p}, reading(bits, minutes)), COSTS)
    assert found is not None
    assert minutes - 1e-9 <= found.read_price <= minutes + found.act_price + 1e-9
    assert (found.choice == "read") == (found.read_price < found.act_price)
