"""Headings of columns: name, unit, scale. Prefixes as in the SI brochure, table 7 (from memory)."""

import pytest

from backprobe.recordings.heading_units import is_unit_cell, known_unit, parse_heading


@pytest.mark.parametrize(
    ("written", "name", "unit", "scale"),
    [
        ("Time (ms)", "Time", "s", 1e-3),
        ("CH1 [mV]", "CH1", "V", 1e-3),
        ("Voltage/V", "Voltage", "V", 1.0),
        ("Flow / g/s", "Flow", "g/s", 1.0),
        ("Current, mA", "Current", "A", 1e-3),
        ("Voltage in kV", "Voltage", "V", 1e3),
        ("throttle_V", "throttle", "V", 1.0),
        ("t_us", "t", "s", 1e-6),
        ("t (µs)", "t", "s", 1e-6),
        ("R (kΩ)", "R", "ohm", 1e3),
        ("Coolant (°C)", "Coolant", "degC", 1.0),
        ("Rail (MPa)", "Rail", "Pa", 1e6),
        ("Level (counts)", "Level", "counts", 1.0),
        ("mV", "mV", "V", 1e-3),
        # No units: a letter that names a channel, a remark in brackets, a share of two names.
        ("Channel A", "Channel A", "", 1.0),
        ("phase V", "phase V", "", 1.0),
        ("CH1 (upper left)", "CH1 (upper left)", "", 1.0),
        ("left/right", "left/right", "", 1.0),
        ("A", "A", "", 1.0),
        ("", "", "", 1.0),
    ],
)
def test_heading(written: str, name: str, unit: str, scale: float) -> None:
    found = parse_heading(written)
    assert (found.name, found.unit, found.scale) == (name, unit, scale)


def test_capital_letters_matter() -> None:
    assert known_unit("mPa") == ("Pa", 1e-3)
    assert known_unit("MPa") == ("Pa", 1e6)
    assert known_unit("ms") == ("s", 1e-3)
    assert known_unit("Ms") == ("s", 1e6)
    assert known_unit("xV") is None


@pytest.mark.parametrize(
    ("cell", "is_unit"),
    [
        ("(ms)", True),
        ("[V]", True),
        ("mV", True),
        ("()", True),
        ("(°C)", True),
        ("Time", False),
        ("Lambda(V)", False),
        ("12", False),
        ("(12)", False),
    ],
)
def test_unit_cell(cell: str, is_unit: bool) -> None:
    assert is_unit_cell(cell) is is_unit
