"""What readings of sensors mean by their curves."""

import re

import pytest

from backprobe.curves.loader import curve_named
from backprobe.errors import UsageError, ValueOutOfRange
from backprobe.services.curve_table import curve_rows
from backprobe.services.sensor_curves import Converted, Feed, Reading, convert

NTC = "ntc-2k5-at-20"


def read(curve: str, value: float, unit: str, pull_up: float = 0.0) -> Converted:
    feed = Feed(pull_up) if pull_up else None
    return convert(curve_named(curve), Reading(value, unit), feed)


# Published resistances of the same sensor, volts by hand below 1.0, 2.2 and 4.7 kohm at 5 V.
@pytest.mark.parametrize(
    ("celsius", "at_1k0", "at_2k2", "at_4k7"),
    [
        (-20.0, 4.70, 4.38, 3.83),
        (0.0, 4.27, 3.64, 2.78),
        (20.0, 3.57, 2.66, 1.74),
        (40.0, 2.70, 1.74, 1.00),
        (60.0, 1.87, 1.07, 0.56),
        (80.0, 1.22, 0.64, 0.32),
        (90.0, 0.98, 0.50, 0.25),
        (100.0, 0.79, 0.39, 0.19),
        (120.0, 0.51, 0.24, 0.12),
    ],
)
def test_volts_of_the_usual_coolant_sensor(
    celsius: float, at_1k0: float, at_2k2: float, at_4k7: float
) -> None:
    for pull_up, volts in ((1000.0, at_1k0), (2200.0, at_2k2), (4700.0, at_4k7)):
        # Half of the last digit, and the rounding of the ohms.
        assert read(NTC, celsius, "celsius", pull_up).volts == pytest.approx(volts, abs=0.006)
        found = read(NTC, volts, "volt", pull_up)
        assert found.low < celsius < found.high


def test_what_volts_mean_is_said_with_its_interval() -> None:
    found = read(NTC, 2.41, "volt", 2200.0)
    assert re.fullmatch(
        r"2\.41 V means 25\.\d °C \(23\.\d °C to 26\.\d °C\), 2\.047 kohm at the sensor\.",
        found.said,
    )
    assert found.as_json()["unit"] == "celsius"


def test_platinum_of_the_exhaust() -> None:
    """Twice IEC 60751, table 1: 561.96 ohm at 500 degC."""
    assert read("pt200", 561.96, "ohm").value == pytest.approx(500.0, abs=0.1)


def test_air_mass_by_frequency_warns_that_it_is_one_sensor_s_table() -> None:
    found = read("air-mass-frequency-one", 3050.0, "hertz")
    assert found.value == pytest.approx(25.0)  # 90 kg/h
    assert "every part number has its own" in found.remarks[0]
    back = read("air-mass-frequency-one", 25.0, "gram per second")
    assert back.value == pytest.approx(3050.0)


def test_pressure_by_volts() -> None:
    assert read("pressure-rail-200bar", 2.5, "volt").value == pytest.approx(10_000.0)


@pytest.mark.parametrize(
    ("curve", "value", "unit", "text"),
    [
        (NTC, 2.41, "volt", "only with the pull-up known"),
        (NTC, 50.0, "hertz", "read in volts or ohms"),
        ("air-mass-frequency-one", 20_000.0, "hertz", "20 kHz lies beyond the curve"),
        ("pt200", 3.0, "kilopascal", "read in volts or ohms"),
        ("pressure-rail-200bar", 3.0, "hertz", "tells kilopascal by volt"),
    ],
)
def test_what_cannot_be_converted(curve: str, value: float, unit: str, text: str) -> None:
    with pytest.raises(UsageError, match=text):
        read(curve, value, unit)


def test_the_ends_of_the_supply_are_no_temperature() -> None:
    with pytest.raises(ValueOutOfRange, match="open circuit or an unplugged sensor"):
        read(NTC, 5.0, "volt", 2200.0)
    assert any("hardly told" in remark for remark in read(NTC, 4.9, "volt", 2200.0).remarks)


def test_beyond_the_published_rows_is_said() -> None:
    found = read(NTC, 60_000.0, "ohm")
    assert any("published from -20 to 120 °C only" in remark for remark in found.remarks)


def test_a_curve_as_a_table() -> None:
    heads, rows = curve_rows(curve_named(NTC), Feed(2200.0))
    assert heads == ("°C", "ohm", "volts, 2.2 kohm")
    assert ("20", "2.5 kohm", "2.66 V") in rows
    assert curve_rows(curve_named("pressure-rail-200bar"))[1][0] == ("500 mV", "0 kPa")
