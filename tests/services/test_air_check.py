"""The air check in words: from rounds, from a log, and what it won't say."""

import math
from dataclasses import replace

import numpy as np
import pytest

from backprobe.errors import RecordingError, ValueOutOfRange
from backprobe.job.model import Connector, Engine, Indication, Job, Round, Vehicle
from backprobe.recordings.log import Log, LogSeries
from backprobe.services.air_check import CALCULATION_ONLY, check_air
from backprobe.services.air_input import (
    AirCase,
    AirReading,
    case_of_job,
    case_of_log,
    require_engine,
    with_barometer,
)
from backprobe.services.standing_checks import pressures_check, soak_check

PETROL = require_engine(Engine(2.0))
# Idle, 2500 1/min and full load of two litres; air as a common engine takes it.
IDLE = AirReading("idle", 780.0, 34.0, 32.0, 3.2, 100.0)
MIDDLE = AirReading("2500", 2500.0, 31.0, 30.0, 10.0, 100.0)
FULL = AirReading("full load", 4000.0, 97.0, 30.0, 63.0, 100.0)


def case(*readings: AirReading, **changes: object) -> AirCase:
    return replace(AirCase(PETROL, readings), **changes)  # type: ignore[arg-type]  # a test's short cut


def with_trim(reading: AirReading, share: float, trim: float) -> AirReading:
    return replace(reading, flow=share * reading.flow, trim=trim)


def test_a_sound_sensor_is_said_to_be_sound() -> None:
    found = check_air(case(*(with_trim(each, 1.0, 1.0) for each in (IDLE, MIDDLE, FULL))))
    assert found.verdict == "in order"
    assert found.is_sound
    assert found.headline.startswith("The sensor is in order (")
    assert all(row.side == "inside" for row in found.rows)
    assert {check.verdict for check in found.checks} == {"usual"}


def test_a_low_reading_with_trims_is_named_with_its_proof() -> None:
    found = check_air(case(*(with_trim(each, 0.74, 35.0) for each in (IDLE, MIDDLE, FULL))))
    assert found.verdict == "reads low"
    assert not found.is_sound
    assert "before a part is bought" in found.next[0]
    assert found.reasons[2].startswith(
        "At 4000 rpm and 97 kPa the sensor shows 46.6 g/s, 26 % less than calculated; it is below"
    )
    assert "The fuel speaks for 62.9 g/s." in found.reasons[2]
    assert any("full load" in check.title.lower() for check in found.checks)


def test_trims_against_a_sound_reading_ask_for_the_fuel_pressure() -> None:
    found = check_air(case(with_trim(IDLE, 1.0, 25.0), with_trim(MIDDLE, 1.0, 25.0)))
    assert found.verdict in {"not in order", "can't tell"}
    assert any(each.name == "fuel" for each in found.possible)
    assert found.next[0].startswith("Measure the fuel pressure under load")


def test_idle_alone_says_what_it_cannot_tell_and_what_to_read() -> None:
    found = check_air(case(IDLE))
    assert found.verdict == "can't tell"
    assert found.headline.startswith("Can't tell with this: it may be that ")
    assert found.next[0].startswith("Read short and long fuel trim at the same points")
    assert "exhaust that flows back at low load and speed" in found.limits[0]
    assert any("looks like an engine that breathes badly" in line for line in found.limits)
    assert found.cautions[0].startswith("The engine runs: brakes on")


def test_fuel_rate_and_lambda_are_a_witness() -> None:
    # 1 L/h at lambda 1 is 3.02 g/s at 14.6 to 1, 2.98 at the 14.4 that pump petrol has here.
    found = check_air(case(replace(IDLE, fuel_rate=1.0, lambda_value=1.0)))
    assert found.rows[0].fuel_air == pytest.approx(2.98, abs=0.01)


def test_absolute_load_and_efficiency_of_a_point() -> None:
    # SAE J1979: 3.962 g/s at 800 1/min and two litres is 25.098 %.
    found = check_air(case(replace(IDLE, speed=800.0, flow=3.962)))
    assert found.rows[0].load == pytest.approx(0.25098, abs=1e-5)
    # Heywood eq. 2.27: 4.558 g/s at 35 kPa and 30 °C is 0.85.
    again = check_air(case(AirReading("idle", 800.0, 35.0, 30.0, 4.558, 100.0), humidity=0.0))
    assert again.rows[0].efficiency == pytest.approx(0.85, abs=1e-3)


def test_without_a_flow_it_calculates_only() -> None:
    found = check_air(case(replace(IDLE, flow=math.nan)))
    assert found.verdict == CALCULATION_ONLY
    assert found.possible == ()
    assert found.rows[0].side == ""
    assert found.rows[0].low < 3.2 < found.rows[0].high


def test_humidity_is_reckoned_with_and_said() -> None:
    plain, moist = check_air(case(IDLE)), check_air(case(IDLE, humidity=0.9))
    assert moist.rows[0].calculated < plain.rows[0].calculated
    # CoolProp 8.0.0: 97.3 % dry air by mass at 32 °C, 100 kPa, 90 %.
    assert moist.remarks[-1].startswith(
        "At 32 °C and 90 % humidity 97.3 % of the air by mass is dry"
    )


def test_a_diesel_with_open_recirculation_is_told_to_have_it_shut() -> None:
    diesel = require_engine(Engine(2.0, fuel="diesel", induction="forced"))
    reading = AirReading("idle", 800.0, 101.0, 30.0, 8.0, 101.0)
    found = check_air(AirCase(diesel, (reading,)))
    assert found.verdict == "can't tell"
    assert found.next[0] == "Have the recirculation valve closed and read again."
    assert any("takes the place of up to half the air" in line for line in found.limits)


def scan(**values: float) -> dict[str, Indication]:
    return {name.replace("_", " "): Indication(value) for name, value in values.items()}


def job(*rounds: Round) -> Job:
    vehicle = Vehicle(engine=Engine(2.0, 4, "four-stroke", "petrol", "natural"))
    return Job("Stumbles", Connector("air mass"), vehicle=vehicle, rounds=rounds)


RUNNING = scan(air_mass_flow=3.2, manifold_pressure=34.0, intake_air_temperature=32.0)
STILL = Round("A", plugged=True, key="on", scan=scan(manifold_pressure=99.0))
AT_IDLE = Round("B", plugged=True, key="run", rpm=780.0, scan=RUNNING)


def test_a_job_gives_points_and_the_standing_manifold_the_barometer() -> None:
    found = case_of_job(job(STILL, AT_IDLE))
    assert [each.name for each in found.readings] == ["round B"]
    assert found.readings[0].barometer == 99.0
    assert found.remarks == ()


def test_an_unknown_barometer_is_said() -> None:
    found = case_of_job(job(AT_IDLE))
    assert found.readings[0].barometer == 98.0
    assert found.remarks[0].startswith("The barometer isn't known; 98 kPa is taken.")
    assert found.barometer_uncertainty > 2.0


def test_a_written_digit_is_kept() -> None:
    written = {**RUNNING, "air mass flow": Indication(3.2, written="3.2 g/s")}
    found = case_of_job(job(STILL, replace(AT_IDLE, scan=written)))
    assert found.readings[0].digit == pytest.approx(0.1)


@pytest.mark.parametrize(
    "changed",
    [
        replace(AT_IDLE, void="bad lead"),
        replace(AT_IDLE, action="snap throttle"),
        replace(AT_IDLE, scan=scan(air_mass_flow=3.2)),
    ],
)
def test_rounds_that_are_no_steady_point_are_left_out(changed: Round) -> None:
    with pytest.raises(ValueOutOfRange, match="No round has the engine running"):
        case_of_job(job(STILL, changed))


def test_without_displacement_nothing_is_calculated() -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        case_of_job(Job("x", Connector("y"), rounds=(AT_IDLE,)))
    assert str(caught.value) == (
        "engine: Without the engine's displacement no air can be calculated."
        " Give the displacement in litres, such as 1.6; the vehicle's papers have it."
    )


def log(**changes: tuple[list[float], list[float]]) -> Log:
    """Ten seconds of idle, a snap, ten seconds at 2500."""
    at = [0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 10.6, 11.2, 13.0, 15.0, 17.0, 19.0, 21.0, 23.0]
    series = {
        "engine speed": (at, [780.0] * 6 + [2800.0, 3200.0] + [2500.0] * 6),
        "manifold pressure": (at, [34.0] * 6 + [96.0, 60.0] + [31.0] * 6),
        "air mass flow": (at, [3.2] * 6 + [52.0, 30.0] + [10.0] * 6),
        "intake air temperature": ([0.0, 2.0, 4.0, 6.0], [32.0] * 4),
        **{name.replace("_", " "): pair for name, pair in changes.items()},
    }
    units = {"engine speed": "1/min", "manifold pressure": "kPa", "air mass flow": "g/s"}
    return Log(
        tuple(
            LogSeries(name, name, units.get(name, ""), np.array(pair[0]), np.array(pair[1]))
            for name, pair in series.items()
        ),
        "made-up.csv",
    )


def test_a_log_gives_its_steady_points_and_its_snap() -> None:
    found = case_of_log(log(), PETROL, barometer=100.0)
    assert [round(each.speed, -1) for each in found.readings] == [780.0, 2500.0]
    assert found.snap is not None
    assert found.snap.flow > 30.0
    answer = check_air(found)
    assert [check.title for check in answer.checks] == ["Idle", "Snap of the throttle"]


def test_units_of_a_log_are_brought_to_ours() -> None:
    series = [
        replace(each, unit="kg/h", values=3.6 * each.values)
        if each.quantity == "air mass flow"
        else each
        for each in log().series
    ]
    found = case_of_log(Log(tuple(series)), PETROL, barometer=100.0)
    assert found.readings[0].flow == pytest.approx(3.2, rel=0.01)


def test_trims_of_a_log_are_added() -> None:
    at = [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    found = case_of_log(
        log(short_fuel_trim=(at, [2.0] * 6), long_fuel_trim=(at, [5.0] * 6)), PETROL, barometer=99.0
    )
    assert found.readings[0].trim == pytest.approx(7.0)
    assert math.isnan(found.readings[1].trim)


def test_trims_of_two_banks_are_averaged() -> None:
    at = [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    both = {
        "short fuel trim bank 1": (at, [2.0] * 6),
        "long fuel trim bank 1": (at, [5.0] * 6),
        "long fuel trim bank 2": (at, [-1.0] * 6),
    }
    found = case_of_log(log(**both), PETROL, barometer=99.0)
    assert found.readings[0].trim == pytest.approx(3.0)


def test_a_log_without_what_is_needed_says_so() -> None:
    with pytest.raises(RecordingError) as caught:
        case_of_log(log(manifold_pressure=([], [])), PETROL)
    assert str(caught.value) == (
        "made-up.csv: The log has no manifold pressure. Log air mass flow, manifold pressure,"
        " engine speed and intake air temperature."
    )
    with pytest.raises(RecordingError, match="isn't steady anywhere"):
        case_of_log(log(engine_speed=([0.0, 11.0, 23.0], [700.0, 6000.0, 700.0])), PETROL)


def test_a_known_barometer_stays() -> None:
    assert with_barometer(case(IDLE)).readings[0].barometer == 100.0


def test_standing_pressures() -> None:
    found = pressures_check({"manifold": 99.0, "barometer": 98.0, "boost": 91.0}, 200.0)
    assert found.verdict == "wrong"
    assert found.words == (
        "Manifold 99 kPa, barometer 98 kPa and boost 91 kPa, 8.0 kPa apart at most; 200 m high the"
        " standard atmosphere has 98.9 kPa, give or take 3 for the weather. They contradict each"
        " other. The boost sensor stands alone against the others."
    )
    assert pressures_check({"manifold": 99.0}, 200.0).verdict == "usual"


def test_cold_soak_in_words() -> None:
    found = soak_check({"coolant": 18.0, "intake air": 19.0, "outside": 30.0}, 9.0)
    assert found.verdict == "doubtful"
    assert "The outside sensor stands alone" in found.words
    assert "17 to 49 °C" in found.words
    assert soak_check({"coolant": 18.0, "outside": 19.0}, 9.0).words.endswith("They agree.")
