"""Limits with a grey zone. The values are those of the sources that each limit names."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import ValueOutOfRange
from backprobe.services.limits import (
    BATTERY_AT_REST,
    CHARGING,
    DEFAULT_LIMITS,
    LIMITS,
    SENSOR_GROUND,
    Limit,
    Limits,
)

NAMES = tuple(LIMITS)


@pytest.mark.parametrize(
    ("name", "value", "standing"),
    [
        # A trade journal's series on ground circuits: 0.05 V of a control unit, 0.10 V of others.
        (SENSOR_GROUND, 0.049, "good"),
        (SENSOR_GROUND, 0.05, "good"),
        (SENSOR_GROUND, 0.051, "grey"),
        (SENSOR_GROUND, 0.099, "grey"),
        (SENSOR_GROUND, 0.1, "bad"),
        # Public battery tables: 12.4 V three quarters, 12.2 V half.
        (BATTERY_AT_REST, 12.4, "good"),
        (BATTERY_AT_REST, 12.3, "grey"),
        (BATTERY_AT_REST, 12.2, "grey"),
        (BATTERY_AT_REST, 12.19, "bad"),
        (CHARGING, 14.1, "good"),
    ],
)
def test_standing(name: str, value: float, standing: str) -> None:
    assert DEFAULT_LIMITS[name].standing(value) == standing


def test_how_a_value_is_said() -> None:
    limit = DEFAULT_LIMITS[SENSOR_GROUND]
    assert limit.words(0.02) == ""
    assert limit.words(0.07) == "in the grey zone from 50 mV to 100 mV, on which sources differ"
    assert limit.words(0.2) == "over 100 mV"
    assert DEFAULT_LIMITS[BATTERY_AT_REST].words(11.9) == "under 12.20 V"


@pytest.mark.parametrize("limit", tuple(DEFAULT_LIMITS), ids=NAMES)
def test_every_limit_names_its_sources(limit: Limit) -> None:
    assert len(limit.sources) >= 2
    assert limit.grey.endswith(".")
    assert limit.is_floor == (limit.good > limit.bad)


def test_a_limit_of_ones_own_and_a_cliff_where_one_is_wanted() -> None:
    own = Limits(((SENSOR_GROUND, 0.03, 0.03), (BATTERY_AT_REST, 12.0, 12.0)))
    assert [own[SENSOR_GROUND].standing(v) for v in (0.03, 0.0301)] == ["good", "bad"]
    assert [own[BATTERY_AT_REST].standing(v) for v in (12.0, 11.99)] == ["good", "bad"]
    assert own[CHARGING] == LIMITS[CHARGING]
    assert Limits(((SENSOR_GROUND, 0.05, 0.10),)) == DEFAULT_LIMITS


@pytest.mark.parametrize(
    ("name", "good", "bad", "message"),
    [
        (SENSOR_GROUND, 0.2, 0.1, "Good (0.2 volt) has to lie at or below bad (0.1 volt)."),
        (BATTERY_AT_REST, 12.0, 12.4, "at or above bad (12.4 volt). The usual are 12.4 and 12.2"),
        (SENSOR_GROUND, -0.1, 0.1, "-0.1 can't be a limit. Write 0 to 100 volt."),
        (SENSOR_GROUND, float("nan"), 0.1, "nan can't be a limit."),
        ("tea", 1.0, 2.0, '"tea" isn\'t a limit that can be set.'),
    ],
)
def test_what_cannot_be_is_refused(name: str, good: float, bad: float, message: str) -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        Limits(((name, good, bad),))
    assert message in str(caught.value)
    assert caught.value.where in {"limits", *(each.title for each in LIMITS.values())}


@given(name=st.sampled_from(NAMES), value=st.floats(0.0, 20.0), more=st.floats(0.0, 5.0))
def test_no_cliff_and_no_way_back(name: str, value: float, more: float) -> None:
    """Going the bad way a value never becomes better, and good never touches bad."""
    limit = LIMITS[name]
    order = ["good", "grey", "bad"]
    first, second = limit.standing(value), limit.standing(value + more)
    here, there = order.index(first), order.index(second)
    assert (here >= there) if limit.is_floor else (here <= there)
    middle = 0.5 * (limit.good + limit.bad)
    assert limit.standing(middle) == "grey"
