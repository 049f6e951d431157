import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import MessageError, ValueOutOfRange
from backprobe.standards.parameter_table import PARAMETERS
from backprobe.standards.parameters import decode_parameter, encode_parameter, parameter_names
from backprobe.vocabulary import SCAN_NAMES
from tests.standards.tshark import decoded

# SAE J1979 / ISO 15031-5, service 01: number, bytes, quantity, value, half of the last digit shown.
# Each row agrees with two general-purpose packet decoders (tshark 4.0.17, scapy 2.8.0), except
# where a remark says that scapy is wrong.
PUBLISHED = [
    (0x04, "80", "calculated load", 50.196, 5e-4),
    (0x05, "7B", "coolant temperature", 83, 0),
    (0x06, "84", "short fuel trim bank 1", 3.125, 0),
    (0x07, "7A", "long fuel trim bank 1", -4.6875, 0),
    (0x08, "84", "short fuel trim bank 2", 3.125, 0),
    (0x09, "7A", "long fuel trim bank 2", -4.6875, 0),
    (0x0A, "64", "fuel pressure", 300, 0),
    (0x0B, "21", "manifold pressure", 33, 0),
    (0x0C, "1AF8", "engine speed", 1726, 0),
    (0x0D, "3C", "vehicle speed", 60, 0),
    (0x0E, "94", "timing advance", 10.0, 0),
    (0x0F, "46", "intake air temperature", 30, 0),
    (0x10, "01F4", "air mass flow", 5.00, 1e-12),  # scapy takes it for one byte: 0.01
    (0x11, "33", "throttle position", 20.0, 1e-12),
    (0x14, "5A80", "oxygen sensor volts bank 1 sensor 1", 0.450, 1e-12),
    (0x14, "5A80", "short fuel trim bank 1 sensor 1", 0.0, 0),
    (0x1F, "012C", "time since start", 300, 0),
    (0x22, "0FA0", "fuel rail pressure above manifold", 316.0, 0.1),
    (0x23, "01F4", "fuel rail pressure", 5000, 0),
    (0x59, "01F4", "absolute fuel rail pressure", 5000, 0),
    (0x24, "80004000", "lambda bank 1 sensor 1", 1.0, 0),  # scapy rounds down: 0.999
    (0x24, "80004000", "oxygen sensor volts bank 1 sensor 1", 2.0, 0),  # scapy: 1.999
    (0x2C, "80", "exhaust recirculation command", 50.196, 5e-4),
    (0x2D, "90", "exhaust recirculation error", 12.5, 0),
    (0x2E, "40", "purge command", 25.098, 5e-4),
    (0x2F, "BF", "fuel level", 74.902, 5e-4),
    (0x33, "64", "barometric pressure", 100, 0),
    (0x34, "80008000", "lambda bank 1 sensor 1", 1.0, 0),
    (0x34, "80008000", "pump current bank 1 sensor 1", 0.0, 0),  # scapy leaves the -128 out
    (0x3C, "1068", "catalyst temperature bank 1 sensor 1", 380.0, 1e-9),
    (0x42, "36B0", "control unit supply", 14.0, 1e-12),
    (0x43, "0040", "absolute load", 25.098, 5e-4),
    (0x44, "8000", "commanded lambda", 1.0, 0),  # scapy: 0.999
    (0x45, "1A", "relative throttle position", 10.196, 5e-4),
    (0x46, "3C", "ambient temperature", 20, 0),
    (0x47, "1A", "throttle position B", 10.196, 5e-4),
    (0x48, "1A", "throttle position C", 10.196, 5e-4),
    (0x49, "26", "pedal position D", 14.902, 5e-4),
    (0x4C, "1A", "commanded throttle", 10.196, 5e-4),
    (0x50, "28000000", "end of scale of air mass flow", 400, 0),  # scapy alone
    (0x5C, "82", "oil temperature", 90, 0),
    (0x5E, "0014", "fuel rate", 1.0, 1e-12),
    (0x66, "0101400000", "air mass flow sensor A", 10.0, 0),  # scapy alone
    (0x67, "017B00", "coolant temperature sensor 1", 83, 0),  # scapy alone
    (0x68, "01460000000000", "intake air temperature bank 1 sensor 1", 30, 0),  # scapy alone
]
# What tshark calls the value, where it decodes it.
TSHARK_FIELDS = {
    0x04: "engine_load",
    0x05: "engine_coolant_temp",
    0x06: "short_term_fuel_bank1",
    0x07: "long_term_fuel_bank1",
    0x08: "short_term_fuel_bank2",
    0x09: "long_term_fuel_bank2",
    0x0A: "fuel_pressure",
    0x0B: "intake_manifold_absolute_pressure",
    0x0C: "engine_rpm",
    0x0D: "vehicle_speed",
    0x0E: "timing_advance",
    0x0F: "intake_air_temp",
    0x10: "maf_air_flow_rate",
    0x11: "throttle_position",
    0x1F: "engine_uptime",
    0x21: "distance_traveled_with_mil",
    0x22: "fuel_rail_pressure",
    0x23: "fuel_rail_gauge_pressure",
    0x2C: "commanded_egr",
    0x2D: "egr_error",
    0x2E: "commanded_evap_purge",
    0x2F: "fuel_tank_level_input",
    0x30: "warm_ups",
    0x31: "distance_traveled_since_code_clear",
    0x32: "evap_system_vapor_pressure",
    0x33: "absolute_barometric_pressure",
    0x3C: "catalyst_temp_11",
    0x3D: "catalyst_temp_21",
    0x3E: "catalyst_temp_12",
    0x3F: "catalyst_temp_22",
    0x42: "control_module_voltage",
    0x43: "absolute_load_value",
    0x44: "fuel_air_commanded_equiv_ratio",
    0x45: "relative_throttle_position",
    0x46: "ambient_air_temp",
    0x47: "absolute_throttle_position_B",
    0x48: "absolute_throttle_position_C",
    0x49: "accelerator_pedal_position_D",
    0x4A: "accelerator_pedal_position_E",
    0x4B: "accelerator_pedal_position_F",
    0x4C: "commanded_throttle_actuator",
    0x4D: "time_run_with_mil",
    0x4E: "time_since_trouble_code_clear",
    0x52: "ethanol_fuel",
    0x53: "absolute_evap_system_vapor_pressure",
    0x59: "fuel_rail_absolute_pressure",
    0x5A: "relative_accelerator_pedal_position",
    0x5B: "hybrid_battery_remaining_life",
    0x5C: "engine_oil_temp",
    0x5D: "fuel_injection_timing",
    0x5E: "engine_fuel_rate",
    0x61: "torque_driver_demand_engine",
    0x62: "torque_actual_engine",
    0x63: "torque_reference_engine",
}
_numbers = st.sampled_from(sorted(PARAMETERS))


@pytest.mark.parametrize(("number", "data", "name", "value", "tolerance"), PUBLISHED)
def test_published_values(
    number: int, data: str, name: str, value: float, tolerance: float
) -> None:
    values = {one.name: one for one in decode_parameter(number, bytes.fromhex(data))}
    assert values[name].value == pytest.approx(value, abs=max(tolerance, 1e-15))


@pytest.mark.needs_tshark
def test_a_general_packet_decoder_gives_the_same_values(tmp_path: Path) -> None:
    # Three draws of bytes for each parameter that tshark decodes; it shows 15 digits, but rounds
    # the factor of parameter 22 to 0.079 (exactly 5178/65535, from memory): 0.0142 % apart.
    rng = random.Random(20260301)  # noqa: S311 - bytes for a test
    asked = [
        (number, rng.randbytes(PARAMETERS[number].length))
        for number in TSHARK_FIELDS
        for _ in range(3)
    ]
    frames = [
        (0x7E8, bytes([2 + len(data), 0x41, number]) + data + bytes(5 - len(data)))
        for number, data in asked
    ]
    answers = decoded(tmp_path / "values.pcap", frames)
    for (number, data), answer in zip(asked, answers, strict=True):
        shown = float(answer[f"obd-ii.mode01_{TSHARK_FIELDS[number]}"])
        (value,) = decode_parameter(number, data)
        tolerance = 1.43e-4 if number == 0x22 else 1e-12
        assert value.value == pytest.approx(shown, rel=tolerance, abs=1e-9), f"{number:02X}"


@pytest.mark.needs_tshark
def test_a_general_packet_decoder_agrees_on_oxygen_sensors(tmp_path: Path) -> None:
    rng = random.Random(20260302)  # noqa: S311 - as above
    asked = [
        (base + n, rng.randbytes(4 if base > 0x14 else 1) + (b"\x40" if base == 0x14 else b""))
        for base in (0x14, 0x24, 0x34)
        for n in range(8)
    ]
    frames = [
        (0x7E8, bytes([2 + len(data), 0x41, number]) + data + bytes(5 - len(data)))
        for number, data in asked
    ]
    fields = {"V": "oxygen_sensor_voltage", "": "oxygen_sensor_fuel_air_ratio"}
    fields |= {"mA": "oxygen_sensor_current"}
    for (number, data), answer in zip(
        asked, decoded(tmp_path / "oxygen.pcap", frames), strict=True
    ):
        for value in decode_parameter(number, data):
            if value.unit == "%":
                continue  # tshark has a field of its own for each bank's trim
            shown = float(answer[f"obd-ii.mode01_{fields[value.unit]}"])
            assert value.value == pytest.approx(shown, rel=1e-12, abs=1e-9), f"{number:02X}"


@given(_numbers, st.data())
def test_bytes_come_back_from_their_values(number: int, data: st.DataObject) -> None:
    raw = data.draw(st.binary(min_size=PARAMETERS[number].length))
    raw = raw[: PARAMETERS[number].length]
    values = {one.name: one.value for one in decode_parameter(number, raw)}
    if not set(parameter_names(number)) - set(values):
        again = decode_parameter(number, encode_parameter(number, values))
        assert {one.name: one.value for one in again} == values


@given(_numbers, st.floats(0.0, 1.0))
def test_a_value_is_sent_to_within_half_a_step(number: int, low: float) -> None:
    ends = {
        one.name: one.value for one in decode_parameter(number, b"\x7f" * PARAMETERS[number].length)
    }
    wanted = {name: value * (1.0 - 0.1 * low) for name, value in ends.items()}
    sent = decode_parameter(number, encode_parameter(number, wanted))
    for one in sent:
        assert abs(one.value - wanted[one.name]) <= one.resolution * (0.5 + 1e-9)


def test_what_the_first_byte_rules_out_is_not_a_value() -> None:
    assert [one.name for one in decode_parameter(0x66, bytes.fromhex("0201400140"))] == [
        "air mass flow sensor B"
    ]
    assert decode_parameter(0x67, bytes(3)) == ()


def test_a_sensor_that_gives_no_trim_has_none() -> None:
    # SAE J1979: FF in the second byte means that the sensor isn't used for the trim.
    (volts,) = decode_parameter(0x15, b"\x5a\xff")
    assert volts.name == "oxygen sensor volts bank 1 sensor 2"
    assert encode_parameter(0x15, {volts.name: 0.45}) == b"\x5a\xff"


def test_names_of_the_job_file_are_used_where_it_has_them() -> None:
    names = {name for number in PARAMETERS for name in parameter_names(number)}
    assert {name for name in SCAN_NAMES if not name.endswith((" volts", " hertz"))} <= names


def test_a_length_that_does_not_fit_is_told() -> None:
    with pytest.raises(MessageError) as caught:
        decode_parameter(0x10, b"\x01")
    assert str(caught.value) == (
        "Parameter 10 has 2 bytes, here are 1. Compare with the bytes as they were sent."
    )


def test_what_cannot_be_sent_is_told() -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        encode_parameter(0x0B, {"manifold pressure": 300})
    assert str(caught.value) == (
        "parameter 0B: manifold pressure: 300 kPa is beyond the scale."
        " It reaches from 0 to 255 kPa."
    )
    with pytest.raises(ValueOutOfRange, match="is missing"):
        encode_parameter(0x0B, {})
    with pytest.raises(ValueOutOfRange, match="It has manifold pressure"):
        encode_parameter(0x0B, {"boost": 1})
    with pytest.raises(ValueOutOfRange, match="beyond the scale"):
        encode_parameter(0x0B, {"manifold pressure": float("nan")})


def test_a_number_outside_of_the_table_is_told() -> None:
    with pytest.raises(MessageError, match="Parameter FE isn't in the table"):
        decode_parameter(0xFE, b"")
