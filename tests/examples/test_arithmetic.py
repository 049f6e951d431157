"""The demo jobs hold what their own circuits give, within what the meter may be off.

Every value is computed here by hand from the circuit told at the foot of its file: voltage
dividers, parallel resistors, the exponential law of a thermistor (IEC 60539-1, beta form). The
tolerance is the data-sheet statement of the meter, a half per cent and two digits.
"""

from math import exp
from pathlib import Path

import pytest

from backprobe.job import Job, Round
from backprobe.job.job_file import read_job

EXAMPLES = Path(__file__).parents[2] / "examples"


def job(name: str) -> Job:
    return read_job(EXAMPLES / f"{name}.toml")


def rounds(name: str) -> dict[str, Round]:
    return {each.name: each for each in job(name).rounds}


def thermistor(ohm_25: float, beta: float, celsius: float) -> float:
    return ohm_25 * exp(beta * (1 / (celsius + 273.15) - 1 / 298.15))


def divided(volt: float, upper: float, lower: float, foot: float = 0.0) -> float:
    return foot + (volt - foot) * lower / (upper + lower)


def parallel(*ohms: float) -> float:
    return 1 / sum(1 / each for each in ohms)


def shows(indicated: float, true: float) -> bool:
    """A 4000-count meter on DC volts: 0.5 % and two digits."""
    digit = 10.0 ** max(-4, -3 if abs(true) < 4 else -2) if abs(true) >= 0.4 else 1e-4
    return abs(indicated - true) <= 0.005 * abs(true) + 2 * digit


def ohms_show(indicated: float, true: float) -> bool:
    return abs(indicated - true) <= 0.008 * true + 3 * (1 if true < 4000 else 10)


def test_there_are_at_least_seven_and_each_reads_as_a_job() -> None:
    files = sorted(EXAMPLES.glob("*.toml"))
    assert len(files) >= 7
    for file in files:
        read = read_job(file)
        assert read.title
        assert read.rounds


def test_each_is_listed_for_the_reader() -> None:
    listed = (EXAMPLES / "README.md").read_text(encoding="utf-8")
    for file in EXAMPLES.glob("*.toml"):
        assert f"| `{file.name}` |" in listed


def test_healthy_air_mass() -> None:
    sheet = rounds("healthy-air-mass")
    cold, warm = thermistor(2500, 3450, 19), thermistor(2500, 3450, 24)
    assert ohms_show(sheet["A"].sensor_ohms["3", "4"].value, cold)
    assert shows(sheet["A"].volts_loaded["4"].value, divided(5.0, 2200, 1000))
    assert shows(sheet["B"].volts["4"].value, divided(5.0, 2200, cold, foot=0.024))
    assert shows(sheet["C"].volts["4"].value, divided(5.0, 2200, warm, foot=0.029))
    assert shows(sheet["B"].volts["1"].value, 1.00 + 0.024)
    assert shows(sheet["C"].volts["1"].value, 1.45 + 0.029)


def test_only_over_bumps_opens_while_it_is_moved() -> None:
    sheet = rounds("only-over-bumps")
    warm = thermistor(2400, 3450, 62)
    assert shows(sheet["A"].volts["1"].value, divided(5.0, 2200, warm, foot=0.0061))
    assert sheet["B"].action == "wiggle"
    assert shows(sheet["B"].volts["1"].value, 5.0)
    assert shows(sheet["C"].volts["1"].value, 5.0)
    assert shows(sheet["C"].volts_loaded["1"].value, divided(5.0, 2200, 1000))
    assert ohms_show(sheet["C"].sensor_ohms["1", "2"].value, warm)


def test_painted_bracket_takes_the_same_from_every_wire() -> None:
    sheet = rounds("painted-bracket")
    bracket = 0.385
    signal = 0.009 + 0.377 * (5.0 - 0.009)
    for pin, true in {"1": 5.0, "2": 0.009, "3": signal}.items():
        assert shows(sheet["A"].volts[pin].value, true - bracket)
        assert shows(sheet["B"].volts[pin].value, true)
    battery, check = sheet["A"].battery_volts, sheet["A"].black_lead_check
    assert battery is not None
    assert check is not None
    assert battery.value - check.value == pytest.approx(bracket, abs=0.02)  # two digits of 10 mV


def test_open_ground_puts_both_wires_at_the_pull_up() -> None:
    """Trade fact: 5 V on both wires of a plugged thermistor means its return is open."""
    sheet = rounds("both-wires-at-five-volts")
    cold = thermistor(2050, 3500, 14)
    assert shows(sheet["A"].volts["1"].value, divided(5.0, 2200, 10e6))
    assert shows(sheet["A"].volts["2"].value, divided(5.0, 2200 + cold, 10e6))
    assert ohms_show(sheet["B"].sensor_ohms["1", "2"].value, cold)
    assert shows(sheet["B"].volts_loaded["1"].value, divided(5.0, 2200, 1000))


def test_shared_supply_is_limited_by_its_regulator() -> None:
    sheet = rounds("three-sensors-low")
    limit, leak, track = 0.050, 62.4, 4000.0
    supply = limit * parallel(leak, track)
    assert shows(sheet["A"].volts["A"].value, limit * leak)
    assert shows(sheet["A"].volts_loaded["A"].value, limit * parallel(leak, 1000))
    assert shows(sheet["B"].volts["A"].value, supply)
    assert shows(sheet["B"].volts["C"].value, divided(supply, 0.87, 0.13, foot=0.0056))
    assert shows(sheet["C"].volts_low["C"].value, divided(supply, 0.87, 0.13, foot=0.0056))
    assert shows(sheet["C"].volts_high["C"].value, divided(supply, 0.12, 0.88, foot=0.0056))


def test_corroded_signal_loses_a_quarter_on_its_way() -> None:
    sheet = rounds("pressure-off-by-a-quarter")
    pull_down, corrosion, substitute = 100e3, 33e3, 2200.0
    at_connector = sheet["A"].volts["1"].value
    arriving = divided(at_connector, corrosion, pull_down)
    assert sheet["A"].scan["manifold pressure volts"].value == pytest.approx(arriving, abs=0.02)
    forced = divided(5.0, substitute, corrosion + pull_down)
    assert shows(sheet["C"].volts["1"].value, forced)
    assert sheet["C"].scan["manifold pressure volts"].value == pytest.approx(
        divided(forced, corrosion, pull_down), abs=0.02
    )


def test_mean_of_a_square_wave_says_nothing_about_its_rate() -> None:
    sheet = rounds("stands-at-two-and-a-half-volts")
    assert shows(sheet["A"].volts_loaded["3"].value, divided(5.01, 3000, 1000))
    for name in "BC":
        assert sheet[name].volts["3"].value == pytest.approx((0.11 + 5.00) / 2, abs=0.03)
        assert not sheet[name].hertz


def test_half_a_sheet_has_two_wires_that_look_alike() -> None:
    (only,) = rounds("half-a-sheet").values()
    assert shows(only.volts["1"].value, 5.0)
    assert shows(only.volts["2"].value, 5.0)
    assert not only.volts_loaded


def test_twelve_of_what_has_one_number_a_thousand_times_too_large() -> None:
    sheet = rounds("twelve-of-what")
    warm = thermistor(2500, 3450, 22)
    assert sheet["A"].volts["2"].value == pytest.approx(1000 * 0.012)
    assert shows(sheet["A"].volts_loaded["2"].value, 0.012)
    assert ohms_show(sheet["A"].sensor_ohms["1", "2"].value, warm)
    assert shows(sheet["B"].volts["1"].value, divided(5.0, 2200, warm, foot=0.013))
    assert shows(sheet["A"].volts_loaded["1"].value, divided(5.0, 2200, 1000))
