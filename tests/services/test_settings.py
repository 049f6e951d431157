"""What a workshop sets for itself is kept, checked by the job file's rules, and taken back."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select

from backprobe.errors import ConflictError, NotFoundError, ValueOutOfRange
from backprobe.job import Meter
from backprobe.services import settings
from backprobe.services.costs import AMOUNTS, DEFAULT_COSTS, Costs, costs_with
from backprobe.services.limits import DEFAULT_LIMITS, LIMITS, SENSOR_GROUND, Limits
from backprobe.store.engine import Store
from backprobe.store.schema import SettingRow
from backprobe.store.upgrade import upgrade
from backprobe.store.workshop import MeterProfile, put_setting

BENCH = Meter(counts=50_000, dc_volts="0.025 % + 2 digits", input_resistance=11e6)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    found = Store(str(tmp_path / "shop.sqlite3"))
    upgrade(found)
    yield found
    found.close()


def kept(store: Store) -> dict[str, Any]:
    with store.read() as session:
        return {row.name: row.value for row in session.scalars(select(SettingRow))}


def test_a_new_workshop_has_a_usual_meter_limits_and_costs(store: Store) -> None:
    with store.read() as session:
        assert settings.meters(session) == ()
        assert settings.meter_for_new_job(session) == MeterProfile("")
        assert settings.limits_in_force(session) == DEFAULT_LIMITS
        assert settings.costs_in_force(session) == DEFAULT_COSTS


def test_meters_are_kept_and_one_is_taken_for_new_jobs(store: Store) -> None:
    with store.write() as session:
        settings.keep_meter(session, " bench ", BENCH)
        settings.keep_meter(session, "van", Meter())
    with store.read() as session:
        found = settings.meters(session)
        assert found == (MeterProfile("bench", BENCH, True), MeterProfile("van", Meter(), False))
        assert settings.meter_for_new_job(session).name == "bench"
    with store.write() as session:
        settings.keep_meter(session, "van 2", Meter(), is_default=True, was="van")
    with store.read() as session:
        assert [(m.name, m.is_default) for m in settings.meters(session)] == [
            ("bench", False),
            ("van 2", True),
        ]
    with store.write() as session:
        settings.forget_meter(session, "van 2")
    with store.read() as session:
        assert settings.meter_for_new_job(session) == MeterProfile("")


def test_changing_the_default_meter_keeps_it_the_default_if_asked(store: Store) -> None:
    with store.write() as session:
        settings.keep_meter(session, "bench", BENCH)
    with store.write() as session:
        settings.keep_meter(session, "bench", Meter(), is_default=True, was="bench")
    with store.read() as session:
        assert settings.meters(session) == (MeterProfile("bench", Meter(), True),)


def test_no_two_meters_have_one_name(store: Store) -> None:
    with store.write() as session:
        settings.keep_meter(session, "bench", BENCH)
        settings.keep_meter(session, "van", Meter())
    for was in ("", "van"):
        with pytest.raises(ConflictError, match="already"), store.write() as session:
            settings.keep_meter(session, "bench", Meter(), was=was)
    with pytest.raises(NotFoundError, match="no meter of that name"), store.write() as session:
        settings.forget_meter(session, "attic")
    with store.read() as session:
        assert [m.name for m in settings.meters(session)] == ["bench", "van"]


@pytest.mark.parametrize("name", ["", "  ", "x" * 61, "two\nlines"])
def test_a_meter_needs_a_name(store: Store, name: str) -> None:
    with (
        pytest.raises(ValueOutOfRange, match="name: A meter needs a name"),
        store.write() as session,
    ):
        settings.keep_meter(session, name, Meter())


def test_a_data_sheet_is_read_as_it_is_typed() -> None:
    meter = settings.meter_of(
        {
            "counts": "50000",
            "dc_volts": "0,025% + 2",
            "ac_volts": "",
            "ohms": "±(0.5 % + 2 digits)",
            "input_resistance": "11 Mohm",
        }
    )
    assert meter == Meter(
        counts=50_000,
        dc_volts="0,025% + 2",
        ohms="±(0.5 % + 2 digits)",
        input_resistance=11e6,
    )


@pytest.mark.parametrize(
    ("field", "written", "where", "message"),
    [
        ("counts", "many", "counts of the display", '"many" isn\'t a number.'),
        ("counts", "40", "counts of the display", "not 100 to 1e+08 counts"),
        ("counts", "4000.5", "counts of the display", "isn't a whole number"),
        ("counts", "4,000", "counts of the display", "can be read in two ways"),
        ("dc_volts", "good", "accuracy of DC volts", "dc_volts of [meter]"),
        ("dc_volts", "80 %", "accuracy of DC volts", "more than any meter may be off"),
        ("ohms", "2 mV", "accuracy of ohms", "ohms of [meter]"),
        ("input_resistance", "OL", "input resistance", "isn't an input resistance"),
        ("input_resistance", "50 ohm", "input resistance", 'A digital meter has about "10 Mohm"'),
        ("colour", "red", "meter", '"colour" isn\'t a field of a meter.'),
    ],
)
def test_a_mistake_in_a_data_sheet_names_field_and_remedy(
    field: str, written: str, where: str, message: str
) -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        settings.meter_of({field: written})
    assert caught.value.where == where
    assert message in str(caught.value)
    assert caught.value.remedy


def test_only_limits_that_differ_are_kept_and_they_are_taken_back(store: Store) -> None:
    limits = settings.limits_of({SENSOR_GROUND: ("30 mV", "0,08"), "charging": ("", "")})
    assert limits == Limits(((SENSOR_GROUND, 0.03, 0.08),))
    with store.write() as session:
        settings.keep_limits(session, limits)
    assert kept(store) == {"limits": {SENSOR_GROUND: {"good": 0.03, "bad": 0.08}}}
    with store.read() as session:
        assert settings.limits_in_force(session) == limits
    with store.write() as session:
        settings.reset(session, settings.LIMITS_NAME)
    assert kept(store) == {}
    with store.read() as session:
        assert settings.limits_in_force(session) == DEFAULT_LIMITS


@pytest.mark.parametrize(
    ("good", "bad", "message"),
    [
        ("tea", "0.1", '"tea" isn\'t a voltage that can be read.'),
        ("20 ohm", "0.1", "isn't a unit of voltage"),
        ("0.2", "0.1", "has to lie at or below bad"),
        ("OL", "", "inf can't be a limit. Write 0 to 100 volt."),
        ("", "10 mV", "has to lie at or below bad"),
    ],
)
def test_a_mistake_in_a_limit_names_it(good: str, bad: str, message: str) -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        settings.limits_of({SENSOR_GROUND: (good, bad)})
    assert caught.value.where == LIMITS[SENSOR_GROUND].title
    assert message in str(caught.value)


def test_only_costs_that_differ_are_kept_and_they_are_taken_back(store: Store) -> None:
    costs = settings.costs_of({"hour": "72,50", "step volts": "", "part oxygen": "120"}, "CHF")
    assert costs == Costs((("hour", 72.5),), "CHF")
    with store.write() as session:
        settings.keep_costs(session, costs)
    assert kept(store) == {"costs": {"amounts": {"hour": 72.5}, "currency": "CHF"}}
    with store.read() as session:
        assert settings.costs_in_force(session) == costs
    with store.write() as session:
        settings.keep_costs(session, DEFAULT_COSTS)
    assert kept(store) == {}


@pytest.mark.parametrize(
    ("name", "written", "where", "message"),
    [
        ("hour", "ninety", "price of an hour of work", '"ninety" isn\'t a number.'),
        ("hour", "1,200", "price of an hour of work", "can be read in two ways"),
        ("hour", "-5", "price of an hour of work", "-5 isn't between 0 and 10000."),
        ("step volts", "0", "take one reading: volts", "0 isn't between 0.1 and 120."),
        ("tea", "2", "costs", '"tea" isn\'t a cost that can be set.'),
    ],
)
def test_a_mistake_in_a_cost_names_it(name: str, written: str, where: str, message: str) -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        settings.costs_of({name: written})
    assert caught.value.where == where
    assert message in str(caught.value)


def test_what_another_version_kept_does_no_harm(store: Store) -> None:
    with store.write() as session:
        put_setting(session, "limits", {"tea": {"good": 1.0, "bad": 2.0}})
        put_setting(session, "costs", {"amounts": {"tea": 1.0, "hour": 50.0}})
    with store.read() as session:
        assert settings.limits_in_force(session) == DEFAULT_LIMITS
        assert settings.costs_in_force(session) == costs_with({"hour": 50.0})


amounts = st.dictionaries(st.sampled_from(tuple(AMOUNTS)), st.floats(0.2, 5.0), max_size=5)


@given(own=amounts)
def test_any_costs_come_back_as_they_were_typed(own: dict[str, float]) -> None:
    usable = {k: v for k, v in own.items() if AMOUNTS[k].low <= v <= AMOUNTS[k].high}
    written = {k: f"{v:.6f}" for k, v in usable.items()}
    rounded = {k: float(v) for k, v in written.items()}
    found = settings.costs_of(written)
    assert all(found.of(name) == value for name, value in rounded.items())
