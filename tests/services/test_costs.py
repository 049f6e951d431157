"""What a workshop sets for itself. No published source: the amounts are its own."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import ValueOutOfRange
from backprobe.services.costs import (
    ACTION_MINUTES,
    AMOUNTS,
    DEFAULT_COSTS,
    PART_PRICES,
    READING_MINUTES,
    Costs,
    costs_with,
)
from backprobe.services.planning import plan_of
from backprobe.services.steps import State, cost_minutes, plan_steps
from backprobe.vocabulary import ACTIONS, CONNECTOR_KINDS
from tests.services.sheets import after

OFF, ON = State(plugged=True, key="off"), State(plugged=False, key="on")


def test_every_kind_has_a_part_and_every_action_its_minutes() -> None:
    assert set(CONNECTOR_KINDS) < set(PART_PRICES)
    assert set(ACTIONS) == {"", *ACTION_MINUTES}


def test_the_usual_amounts_lie_within_their_limits() -> None:
    for amount in AMOUNTS.values():
        assert amount.low <= amount.usual <= amount.high, amount.name
        assert amount.title, amount.name


def test_what_is_as_usual_is_not_ones_own() -> None:
    assert costs_with({"hour": 90.0}) == DEFAULT_COSTS
    assert costs_with({"hour": 91.0, "step volts": 0.5}).own == (("hour", 91.0),)


def test_minutes_by_hand() -> None:
    # Unplug 0.6, key on 0.2, read volts 0.5: 1.3 minutes; at twice the time 2.6; with the
    # connector behind a cover (8 minutes) 8.7.
    assert cost_minutes(OFF, ON, "volts") == pytest.approx(1.3)
    assert cost_minutes(OFF, ON, "volts", costs_with({"pace": 2.0})) == pytest.approx(2.6)
    covered = costs_with({"step move connector": 8.0})
    assert cost_minutes(OFF, ON, "volts", covered) == pytest.approx(8.7)
    assert plan_steps(OFF, ON, "volts", "1", costs=covered).minutes == pytest.approx(8.7)


def test_a_connector_hard_to_reach_is_moved_later() -> None:
    # The loading resistor needs no connector moved; back-probing a plugged sensor does.
    posterior = after("unplugged only")
    usual = plan_of(posterior, 99)
    covered = plan_of(posterior, 99, costs_with({"step move connector": 30.0}))
    assert any(r.plugged for r in usual.readings)
    hard = [r.minutes for r in covered.readings if r.plugged]
    assert all(minutes > 30.0 for minutes in hard)
    assert not covered.readings[0].plugged
    assert plan_of(posterior, 99, Costs()) == usual


def test_a_slow_workshop_takes_the_same_readings_in_the_same_order() -> None:
    posterior = after("half-a-sheet")
    usual, slow = plan_of(posterior), plan_of(posterior, costs=costs_with({"pace": 2.0}))
    assert [r.text for r in slow.readings] == [r.text for r in usual.readings]
    minutes = [r.minutes for r in usual.readings]
    assert [r.minutes for r in slow.readings] == pytest.approx([2 * m for m in minutes])


def test_work_and_money() -> None:
    # 20 minutes at 90 an hour are 30.
    assert DEFAULT_COSTS.work(20.0) == pytest.approx(30.0)
    assert DEFAULT_COSTS.money(30.4) == "30 EUR"
    assert DEFAULT_COSTS.money(0.2) == "less than 1 EUR"
    assert DEFAULT_COSTS.money(0.0) == "0 EUR"
    assert Costs(currency="").money(30.0) == "30"


@pytest.mark.parametrize(
    ("own", "message"),
    [
        ({"step volts": 0.0}, "take one reading: volts: 0 isn't between 0.1 and 120."),
        ({"hour": -1.0}, "price of an hour of work: -1 isn't between 0 and 10000."),
        ({"pace": float("nan")}, "nan isn't between 0.2 and 5. The usual is 1 (times)."),
        ({"tea": 1.0}, '"tea" isn\'t a cost that can be set. Leave it out.'),
    ],
)
def test_what_cannot_be_is_refused_with_field_and_remedy(
    own: dict[str, float], message: str
) -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        costs_with(own)
    assert message in str(caught.value)


@pytest.mark.parametrize("currency", ["EUR 5", "a long currency", "E\nR"])
def test_a_currency_is_a_few_letters(currency: str) -> None:
    with pytest.raises(ValueOutOfRange, match="currency"):
        Costs(currency=currency)


@given(st.dictionaries(st.sampled_from(tuple(AMOUNTS)), st.floats(0.2, 5.0), max_size=6))
def test_own_amounts_stand_and_the_others_are_usual(own: dict[str, float]) -> None:
    usable = {k: v for k, v in own.items() if AMOUNTS[k].low <= v <= AMOUNTS[k].high}
    costs = costs_with(usable)
    for name, amount in AMOUNTS.items():
        assert costs.of(name) == usable.get(name, amount.usual)
    assert cost_minutes(None, ON, "volts", costs) > 0
    assert all(costs.minutes(reading) > 0 for reading in READING_MINUTES)
