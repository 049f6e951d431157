import pytest

from backprobe.recordings.log_names import (
    known_quantities,
    match_name,
    quantity_names,
    unit_of_quantity,
)
from backprobe.recordings.log_units import convert_factor, known_log_unit
from backprobe.standards.parameter_table import PARAMETERS
from backprobe.vocabulary import SCAN_NAMES

# Abbreviations: SAE J1930 (from memory); words: SAE J1979, or common practice, no source.
MEANT = [
    ("MAF", "g/s", "air mass flow"),
    ("MAF", "V", "air mass flow volts"),
    ("MAF", "Hz", "air mass flow hertz"),
    ("MAF volts", "", "air mass flow volts"),
    ("MAP Hz", "", "manifold pressure hertz"),
    ("Mass Air Flow Sensor", "kg/h", "air mass flow"),
    ("IAT (SAE)", "°C", "intake air temperature"),
    ("IAT1", "°F", "intake air temperature"),
    ("ECT", "", "coolant temperature"),
    ("Engine RPM", "rpm", "engine speed"),
    ("STFT1", "%", "short fuel trim bank 1"),
    ("STFT", "%", "short fuel trim bank 1"),
    ("Short Term Fuel Trim - Bank 2", "%", "short fuel trim bank 2"),
    ("LTFT B1", "%", "long fuel trim bank 1"),
    ("O2 sensor B1S2", "V", "oxygen sensor volts bank 1 sensor 2"),
    ("HO2S11", "V", "oxygen sensor volts bank 1 sensor 1"),
    ("Lambda", "", "lambda bank 1 sensor 1"),
    ("Commanded Equivalence Ratio", "", "commanded lambda"),
    ("Absolute throttle position", "%", "throttle position"),
    ("TPS", "V", "throttle position volts"),
    ("Accelerator pedal position D", "%", "pedal position"),
    ("BARO", "kPa", "barometric pressure"),
    ("MAP", "inHg", "manifold pressure"),
    ("Battery voltage", "V", "control unit supply"),
    ("Control module voltage", "V", "control unit supply"),
    ("Absolute load value", "%", "absolute load"),
    ("Calculated load", "%", "calculated load"),
    ("Fuel rail pressure", "bar", "fuel rail pressure"),
    ("Vehicle speed", "mph", "vehicle speed"),
    ("Motordrehzahl", "1/min", "engine speed"),
    ("Kühlmitteltemperatur", "°C", "coolant temperature"),
    ("Luftmasse", "mg/stroke", "air mass flow"),
    ("Température d'air d'admission", "°C", "intake air temperature"),
    ("Temperatura del refrigerante", "°C", "coolant temperature"),
    ("Presión admisión", "hPa", "manifold pressure"),
]
NOT_MEANT = [
    ("Desired MAP", "kPa"),
    ("Rail pressure desired", "bar"),
    ("Throttle position B", "%"),
    ("Coolant temperature 2", "°C"),
    ("Transmission oil temperature", "°C"),
    ("EGR temperature", "°C"),
    ("Temp", "°C"),
    ("MAF", "°C"),
    ("ECT", "kPa"),
    ("odometer", "km"),
    ("", ""),
]


@pytest.mark.parametrize(("name", "unit", "quantity"), MEANT)
def test_names_that_are_known(name: str, unit: str, quantity: str) -> None:
    assert match_name(name, unit).quantity == quantity


@pytest.mark.parametrize(("name", "unit"), NOT_MEANT)
def test_names_that_mean_something_else(name: str, unit: str) -> None:
    assert match_name(name, unit).quantity == ""


@pytest.mark.parametrize("name", quantity_names())
def test_a_quantity_is_found_by_its_own_name(name: str) -> None:
    found = match_name(name, unit_of_quantity(name))
    assert found.quantity == name
    assert found.score == 1.0


@pytest.mark.parametrize("name", [name for name, _, _ in MEANT])
def test_case_and_marks_do_not_matter(name: str) -> None:
    loud = name.replace(" ", "_").upper()
    assert match_name(loud).quantity == match_name(name.replace("_", " ")).quantity


def test_names_of_the_job_file_are_known() -> None:
    plain = [name for name in SCAN_NAMES if not name.endswith((" volts", " hertz"))]
    assert set(plain) <= set(quantity_names())
    for name in SCAN_NAMES:
        assert unit_of_quantity(name)


def test_units_are_those_of_the_parameters_of_the_standard() -> None:
    sent = {field.name: field.unit for p in PARAMETERS.values() for field in p.fields}
    for known in known_quantities():
        if known.name in sent:
            assert known.unit == sent[known.name], known.name


# NIST SP 811 (2008), appendix B.8; the mile and the pound of 1959.
@pytest.mark.parametrize(
    ("written", "unit", "value", "expected"),
    [
        ("°F", "degC", 212.0, 100.0),
        ("psi", "kPa", 14.69595, 101.325),
        ("inHg", "kPa", 29.92126, 101.325),
        ("bar", "kPa", 1.01325, 101.325),
        ("mph", "km/h", 60.0, 96.56064),
        ("lb/min", "g/s", 1.0, 7.559873),
        ("kg/h", "g/s", 3.6, 1.0),
        ("mV", "V", 450.0, 0.45),
        ("MPa", "kPa", 5.0, 5000.0),
        ("ms", "s", 250.0, 0.25),
    ],
)
def test_units_are_converted(written: str, unit: str, value: float, expected: float) -> None:
    found = convert_factor(written, unit)
    assert found is not None
    assert value * found[0] + found[1] == pytest.approx(expected, rel=1e-6)


def test_units_of_another_kind_do_not_convert() -> None:
    assert convert_factor("kPa", "degC") is None
    assert convert_factor("furlong", "km/h") is None
    assert known_log_unit("furlong") is None
    assert convert_factor("", "kPa") == (1.0, 0.0)
