"""Logs in layouts as they are met in workshops (common practice, no source), written by hand."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.errors import RecordingError
from backprobe.recordings.log_text import RawLog, RawSeries, read_log_text


def written(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "log.csv"
    path.write_bytes(text.encode(encoding))
    return path


def named(log: RawLog, name: str) -> RawSeries:
    return next(one for one in log.series if one.name == name)


def test_one_time_units_in_the_headings(tmp_path: Path) -> None:
    log = read_log_text(
        written(
            tmp_path,
            "Time (s),Engine RPM (rpm),MAF (g/s),Coolant temp (°C)\n"
            "0.0,800,3.20,82\n0.5,810,3.25,82\n1.0,805,3.22,83\n",
        )
    )
    assert [(one.name, one.unit) for one in log.series] == [
        ("Engine RPM", "rpm"),
        ("MAF", "g/s"),
        ("Coolant temp", "°C"),
    ]
    assert named(log, "MAF").times.tolist() == [0.0, 0.5, 1.0]
    assert named(log, "MAF").values.tolist() == [3.20, 3.25, 3.22]
    assert log.remarks == ()


def test_decimal_comma_and_units_in_a_row_of_their_own(tmp_path: Path) -> None:
    text = (
        "Protokoll vom 3. März\n\n"
        "Zeit;Motordrehzahl;Luftmasse;Geschwindigkeit;Kühlmitteltemperatur\n"
        "ms;1/min;kg/h;km/h;°C\n"
        "0;800;11,52;0;82,5\n200;810;11,70;0;82,5\n400;805;11,59;0;82,8\n"
    )
    log = read_log_text(written(tmp_path, text, "cp1252"))
    air = named(log, "Luftmasse")
    assert air.unit == "kg/h"
    assert air.times == pytest.approx([0.0, 0.2, 0.4])
    assert air.values.tolist() == [11.52, 11.70, 11.59]
    assert named(log, "Kühlmitteltemperatur").unit == "°C"


def test_a_time_column_for_each_value(tmp_path: Path) -> None:
    text = (
        "Time,RPM,Time,MAF,Time,IAT\n"
        "0.00,800,0.11,3.20,0.22,25\n0.33,810,0.44,3.25,0.55,25\n0.66,805,0.77,3.22,,\n"
    )
    log = read_log_text(written(tmp_path, text))
    assert named(log, "RPM").times.tolist() == [0.0, 0.33, 0.66]
    assert named(log, "MAF").times.tolist() == [0.11, 0.44, 0.77]
    assert named(log, "IAT").times.tolist() == [0.22, 0.55]
    assert log.remarks == ("The times have no unit; seconds are assumed.",)


def test_blanks_where_a_value_was_not_asked_in_that_row(tmp_path: Path) -> None:
    text = (
        "Time [s]\tRPM\tMAF\tIAT\n0.0\t800\t\t\n0.1\t\t3.2\t\n0.2\t\t\t25\n0.3\t810\t\t\n"
        "0.4\t\t3.3\t\n0.5\t\t\t26\n"
    )
    log = read_log_text(written(tmp_path, text))
    assert named(log, "RPM").times.tolist() == [0.0, 0.3]
    assert named(log, "MAF").values.tolist() == [3.2, 3.3]
    assert named(log, "IAT").times.tolist() == [0.2, 0.5]


def test_a_row_for_each_value(tmp_path: Path) -> None:
    rows = [
        f"{n * 0.1:.1f};{name};{value + n}\n"
        for n in range(6)
        for name, value in (("RPM", 800), ("MAF", 3))
    ]
    log = read_log_text(written(tmp_path, "time;name;value\n" + "".join(rows)))
    assert [one.name for one in log.series] == ["RPM", "MAF"]
    assert named(log, "MAF").times == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.4, 0.5])
    assert named(log, "MAF").values.tolist() == [3, 4, 5, 6, 7, 8]


def test_a_row_for_each_value_with_unit_and_clock(tmp_path: Path) -> None:
    rows = [
        f"09:30:{n:02}.500\t{name}\t{value}\t{unit}\n"
        for n in range(4)
        for name, value, unit in (("RPM", "800", "1/min"), ("IAT", "25,5", "°C"))
    ]
    log = read_log_text(written(tmp_path, "".join(rows)))
    assert named(log, "IAT").unit == "°C"
    assert named(log, "IAT").values.tolist() == [25.5] * 4
    assert named(log, "RPM").times == pytest.approx([0.0, 1.0, 2.0, 3.0])
    assert log.remarks == ("Times are counted from the first row at 09:30:00.5.",)


def test_clock_times_over_midnight(tmp_path: Path) -> None:
    text = "Clock,RPM,MAF\n23:59:59.0,800,3.2\n23:59:59.5,810,3.3\n00:00:00.0,805,3.2\n"
    log = read_log_text(written(tmp_path, text))
    assert named(log, "RPM").times == pytest.approx([0.0, 0.5, 1.0])
    assert log.remarks == ("Times are counted from the first row at 23:59:59.",)


def test_a_date_with_each_clock_time(tmp_path: Path) -> None:
    text = "Timestamp,RPM\n2026-03-02 09:30:00.0,800\n2026-03-02 09:30:01.0,810\n"
    log = read_log_text(written(tmp_path, text))
    assert named(log, "RPM").times == pytest.approx([0.0, 1.0])


def test_times_in_whole_milliseconds_are_noticed(tmp_path: Path) -> None:
    log = read_log_text(written(tmp_path, "time,rpm\n0,800\n100,810\n200,805\n"))
    assert log.series[0].times == pytest.approx([0.0, 0.1, 0.2])
    assert "look like milliseconds" in log.remarks[0]
    told = read_log_text(tmp_path / "log.csv", time_unit="s")
    assert told.series[0].times.tolist() == [0.0, 100.0, 200.0]


def test_words_among_the_columns_and_dropped_series(tmp_path: Path) -> None:
    text = "Time (s),Fuel system,RPM,Run time (s)\n0,closed loop,800,5\n1,closed loop,810,6\n"
    log = read_log_text(written(tmp_path, text))
    assert [one.name for one in log.series] == ["RPM", "Run time"]
    log = read_log_text(tmp_path / "log.csv", dropped=frozenset(("RPM",)))
    assert [one.name for one in log.series] == ["Run time"]


def test_times_that_go_back_are_put_in_order(tmp_path: Path) -> None:
    log = read_log_text(written(tmp_path, "Time (s),RPM\n0,800\n2,810\n1,805\n"))
    assert log.series[0].times.tolist() == [0.0, 1.0, 2.0]
    assert log.series[0].values.tolist() == [800, 805, 810]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "The file is empty"),
        ("a text without\nany table\n", "No times and values were found"),
        ("Time (s),RPM\n0,\n1,\n", "The log holds no values"),
    ],
)
def test_what_is_no_log_is_told(text: str, told: str, tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match=told):
        read_log_text(written(tmp_path, text))


@settings(max_examples=25)
@given(
    st.sampled_from([(",", "."), (";", ","), (";", "."), ("\t", ",")]),
    st.lists(
        st.tuples(*(st.none() | st.integers(-4000, 4000).map(lambda n: n / 8),) * 3),
        min_size=3,
        max_size=12,
    ),
)
def test_values_come_back_whatever_the_marks(
    tmp_path_factory: pytest.TempPathFactory,
    marks: tuple[str, str],
    rows: list[tuple[float | None, ...]],
) -> None:
    separator, decimal = marks
    rows = [(0.5, 0.5, 0.5), *rows]  # one whole row tells the columns
    lines = [separator.join(("Time (s)", "RPM", "MAF", "IAT"))]
    for n, row in enumerate(rows):
        cells = [f"{n * 0.25:.2f}", *("" if x is None else f"{x:.3f}" for x in row)]
        lines.append(separator.join(cells).replace(".", decimal))
    path = tmp_path_factory.mktemp("log") / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    log = read_log_text(path)
    for at, name in enumerate(("RPM", "MAF", "IAT")):
        expected = [(n * 0.25, row[at]) for n, row in enumerate(rows) if row[at] is not None]
        one = named(log, name)
        assert list(zip(one.times.tolist(), one.values.tolist(), strict=True)) == expected
        assert bool(np.all(np.diff(one.times) >= 0.0))
