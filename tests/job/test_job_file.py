"""The job file as a whole: what is read from it, and that nothing breaks its reader."""

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.errors import BackprobeError, JobFileError
from backprobe.job import Indication, Job, parse_job, read_job
from tests.job.good_file import GOOD


def test_the_good_file_is_read() -> None:
    job = parse_job(GOOD, "job.toml")
    assert job.connector.pins == ("1", "2", "C7")
    first, second, third = job.rounds
    assert first.volts["2"] == Indication(0.012, written="12 mV")
    assert first.volts["1"] == Indication(5.01)
    assert first.volts["C7"] == Indication(5.0, written="5.00")
    # A pair is kept in the connector's order whatever order it was written in.
    assert first.sensor_ohms["1", "2"] == Indication(2210.0, written="2.21 kohm")
    assert first.sensor_ohms["1", "C7"].over_range
    assert first.fitted[0].end == "battery negative"
    assert first.fitted[0].ohms == 2200.0
    assert first.black_lead == "battery negative"
    assert first.load_ohms == 1000.0
    # 66 degF = 18.9 degC; 11.5 kg/h / 3.6 = 3.194 g/s.
    assert second.scan["intake air temperature"].value == pytest.approx(18.889, abs=1e-3)
    assert second.scan["air mass flow"].value == pytest.approx(3.1944, abs=1e-4)
    assert second.duty_percent["C7"].value == 40.0
    assert third.harness_ohms["2"].value == 0.3
    assert job.codes[0].status == "stored"


def test_a_round_without_readings_and_a_job_without_rounds_are_possible() -> None:
    text = GOOD[: GOOD.index("[[round]]")]
    assert parse_job(text, "job.toml").rounds == ()
    text += '[[round]]\nname = "A"\nplugged = true\nkey = "off"\n'
    assert len(parse_job(text, "job.toml").rounds) == 1


@pytest.mark.parametrize("heading", ["[job]", "[connector]"])
def test_a_missing_part_is_named(heading: str) -> None:
    start = GOOD.index(heading)
    end = GOOD.index("\n\n", start)
    with pytest.raises(JobFileError) as caught:
        parse_job(GOOD[:start] + GOOD[end:], "job.toml")
    assert f"There is no {heading} in the file. Add {heading} and below it" in str(caught.value)


def connector_of(count: int) -> str:
    pins = "".join(f'[[connector.terminal]]\npin = "{pin}"\n' for pin in range(count))
    return f'format = 1\n[job]\ntitle = "x"\n[connector]\nname = "plug"\n{pins}'


@pytest.mark.parametrize("count", [2, 8])
def test_two_to_eight_terminals_are_possible(count: int) -> None:
    assert len(parse_job(connector_of(count), "job.toml").connector.terminals) == count


@pytest.mark.parametrize(
    ("count", "told"),
    [
        (0, 'line 4: The connector "plug" has no terminals; at least two are needed.'),
        (1, 'line 4: The connector "plug" has one terminal; at least two are needed. Add a [[conn'),
        (9, 'line 22: The connector "plug" has 9 terminals; at most 8 can be judged together. Put'),
    ],
)
def test_other_numbers_of_terminals_are_refused(count: int, told: str) -> None:
    with pytest.raises(JobFileError) as caught:
        parse_job(connector_of(count), "job.toml")
    assert told in str(caught.value)


def test_a_void_round_keeps_what_was_wrong_with_it() -> None:
    text = GOOD.replace('key = "off"\n', 'key = "on"\nvoid = "the key was still on"\n')
    assert parse_job(text, "job.toml").rounds[2].void == "the key was still on"


def test_a_wrong_check_digit_is_no_reason_to_refuse() -> None:
    text = GOOD.replace("odometer_km", 'vin = "1m8gdm9a0kp042788"\nodometer_km')
    assert parse_job(text, "job.toml").vehicle.vin == "1M8GDM9A0KP042788"


@pytest.mark.parametrize("text", ["", "  \n\n", "\ufeff"])
def test_an_empty_file_is_told_so(text: str) -> None:
    with pytest.raises(JobFileError) as caught:
        parse_job(text, "job.toml")
    assert str(caught.value) == (
        'job.toml: The file is empty. Start one with "backprobe new job.toml".'
    )


def test_a_text_far_too_long_is_refused() -> None:
    with pytest.raises(JobFileError, match="far too long for a job file"):
        parse_job("#" * 1_000_001, "job.toml")


def test_a_file_with_byte_order_mark_and_windows_line_ends_is_read(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert read_job(path) == parse_job(GOOD, "job.toml")


def outcome(text: str) -> Job | BackprobeError:
    try:
        return parse_job(text, "job.toml")
    except BackprobeError as error:
        return error


def is_sound(result: Job | BackprobeError) -> bool:
    if isinstance(result, BackprobeError):
        return bool(result.what and result.remedy) and "\n" not in str(result)
    return all(
        reading.value == reading.value for each in result.rounds for reading in each.volts.values()
    )


@given(st.text(max_size=200))
def test_any_text_is_either_read_or_refused_in_words(text: str) -> None:
    assert is_sound(outcome(text))


@given(st.binary(max_size=200))
def test_any_bytes_are_either_read_or_refused_in_words(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    path = tmp_path_factory.getbasetemp() / "bytes.toml"
    path.write_bytes(data)
    try:
        read_job(path)
    except BackprobeError as error:
        told = str(error)
    else:
        told = str(path)
    assert told.startswith(str(path))


LINES = GOOD.splitlines()
PIECES = st.sampled_from(
    [
        *LINES,
        "[[round]]",
        "[round]",
        "[job]",
        "volts = 5",
        "volts = { 1 = { 2 = 3 } }",
        "key = 1",
        "fitted = 3",
        "fitted = [1]",
        "scan = []",
        "round = 5",
        "connector = []",
        "format = 1.0",
        "title = [[]]",
        "pin = {}",
        "terminal = 3",
        "code = 7",
        "rpm = true",
        "void = 1",
        "1-2 = 3",
    ]
)


@given(st.data())
@settings(max_examples=150)
def test_a_good_file_with_lines_changed_is_either_read_or_refused(data: st.DataObject) -> None:
    lines = list(LINES)
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(lines) - 1))
        change: Callable[[], None] = data.draw(
            st.sampled_from(
                [
                    lambda at=at: lines.pop(at),
                    lambda at=at: lines.insert(at, data.draw(PIECES)),
                    lambda at=at: lines.__setitem__(at, data.draw(PIECES)),
                    lambda at=at: lines.__setitem__(
                        at, lines[at].split("=")[0] + "= " + data.draw(VALUES)
                    ),
                ]
            )
        )
        change()
    assert is_sound(outcome("\n".join(lines)))


VALUES = st.sampled_from(
    [
        "1",
        "-1",
        "0",
        "1e400",
        "nan",
        "true",
        '""',
        '"x"',
        '"OL"',
        "[]",
        "{}",
        "[{}]",
        "[[1]]",
        "2026-01-01",
        "2026-01-01T00:00:00Z",
        "12:00:00",
        '"é\\u0000"',
        "{ 1 = 1 }",
        "9" * 30,
    ]
)


@given(st.data())
@settings(max_examples=150)
def test_a_good_file_with_signs_changed_is_either_read_or_refused(data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(GOOD)))
    cut = data.draw(st.integers(0, 5))
    put = data.draw(st.text(alphabet='"=[]{},.#-\\\n 19aOLé', max_size=4))
    assert is_sound(outcome(GOOD[:at] + put + GOOD[at + cut :]))
