"""Delimited text: any layout gives the same numbers; what is cut or odd is said."""

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from backprobe.errors import RecordingError
from backprobe.recordings import delimited_blocks
from backprobe.recordings.delimited_guess import guess_mapping
from backprobe.recordings.delimited_mapping import ColumnMapping, MappedColumn
from backprobe.recordings.reading import read_capture
from tests.recordings.made import read_or_refused


@dataclass(frozen=True)
class Layout:
    """How a table is written; drawn at random."""

    separator: str
    decimal: str
    end: str
    encoding: str
    unit: str
    heading: str
    preamble: tuple[str, ...]
    trailing: bool
    missing: str
    exponents: bool
    blank_every: int
    comment: str
    interval_told: bool


UNITS = {"V": 1.0, "mV": 1e-3, "µV": 1e-6, "kV": 1e3}
HEADINGS = ("name (unit)", "name [unit]", "name/unit", "name, unit", "unit row", "name_unit")


PREAMBLES: list[tuple[str, ...]] = [(), ("Made for a test",), ("Vehicle: none", "", "2 wires")]


@st.composite
def layouts(draw: st.DrawFn) -> Layout:
    separator = draw(st.sampled_from([",", ";", "\t", "|", " "]))
    heading = draw(st.sampled_from(HEADINGS))
    return Layout(
        separator=separator,
        decimal="." if separator == "," else draw(st.sampled_from([".", ","])),
        end=draw(st.sampled_from(["\n", "\r\n", "\r"])),
        encoding=draw(st.sampled_from(["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le"])),
        unit=draw(st.sampled_from(list(UNITS))),
        heading="name (unit)" if "," in heading and separator == "," else heading,
        preamble=draw(st.sampled_from(PREAMBLES)),
        trailing=separator != " " and draw(st.booleans()),
        missing=draw(st.sampled_from(["OL", "-", "---", "NaN", "inf", "n/a"])),
        exponents=draw(st.booleans()),
        blank_every=draw(st.sampled_from([0, 0, 3])),
        comment=draw(st.sampled_from(["", "", "#", "%"])),
        interval_told=draw(st.booleans()),
    )


def heading_cells(layout: Layout) -> list[list[str]]:
    names, units = ["Left", "Right"], [layout.unit, layout.unit]
    if not layout.interval_told:
        names, units = ["Time", *names], ["ms", *units]
    if layout.heading == "unit row":
        return [names, [f"({unit})" for unit in units]]
    pattern = layout.heading
    return [
        [pattern.replace("name", n).replace("unit", u) for n, u in zip(names, units, strict=True)]
    ]


def written(layout: Layout, steps: int, samples: list[tuple[float, float]]) -> bytes:
    """The table as text; times are multiples of ``steps`` hundredths of a millisecond."""

    def number(value: float) -> str:
        if math.isnan(value):
            return layout.missing
        text = f"{value:.5e}" if layout.exponents else repr(value)
        return text.replace(".", layout.decimal)

    def line(cells: list[str]) -> str:
        return layout.separator.join(cells) + (layout.separator if layout.trailing else "")

    lines = list(layout.preamble)
    if layout.interval_told:
        lines.append(f"Sample interval: {steps * 10} us")
    lines += [line(cells) for cells in heading_cells(layout)]
    for at, pair in enumerate(samples):
        if layout.blank_every and at % layout.blank_every == 2:
            lines.append("")
        if layout.comment and at == 3:
            lines.append(f"{layout.comment} a remark, in the middle; of the table")
        time = f"{at * steps / 100:.2f}".replace(".", layout.decimal)
        cells = [*map(number, pair)]
        lines.append(line(cells if layout.interval_told else [time, *cells]))
    return (layout.end.join(lines) + layout.end).encode(layout.encoding)


# Five digits and an exponent hold each of these exactly.
NUMBERS = st.integers(-99999, 99999).map(lambda n: n / 1000)


@given(
    layout=layouts(),
    steps=st.integers(1, 500),
    samples=st.lists(st.tuples(NUMBERS, NUMBERS), min_size=4, max_size=25),
    gap=st.integers(1, 3),
)
def test_any_layout_gives_the_same_numbers(
    tmp_path_factory: pytest.TempPathFactory,
    layout: Layout,
    steps: int,
    samples: list[tuple[float, float]],
    gap: int,
) -> None:
    samples[gap] = (samples[gap][0], math.nan)
    path = tmp_path_factory.mktemp("layout") / "a.txt"
    path.write_bytes(written(layout, steps, samples))
    capture = read_capture(path)
    assert [(c.name, c.unit) for c in capture.channels] == [("Left", "V"), ("Right", "V")]
    assert capture.interval == pytest.approx(steps * 1e-5, rel=1e-9)
    assert capture.times is None
    expected = np.array(samples) * UNITS[layout.unit]
    for channel, column in zip(capture.channels, expected.T, strict=True):
        np.testing.assert_allclose(channel.samples, column, rtol=1e-14, atol=0)
    assert capture.remarks == ()


@given(
    cut=st.integers(1, 400),
    separator=st.sampled_from([",", ";", "\t"]),
    n_row=st.integers(5, 40),
    seed=st.integers(0, 99),
)
def test_cut_table_keeps_whole_rows_and_says_so(
    tmp_path_factory: pytest.TempPathFactory, cut: int, separator: str, n_row: int, seed: int
) -> None:
    values = np.round(np.random.default_rng(seed).uniform(0, 5, n_row), 3)
    rows = [f"{at * 0.5:.1f}{separator}{v!r}" for at, v in enumerate(values.tolist())]
    whole = f"Time (ms){separator}CH1 (V)\n" + "\n".join(rows) + "\n"
    assume(cut < len(whole))
    text = whole[:-cut]
    path = tmp_path_factory.mktemp("cut") / "a.csv"
    path.write_bytes((text).encode())
    capture = read_or_refused(path)
    if capture is None:
        assert text.count("\n") < 4  # next to nothing is there
        return
    n_whole = text.count("\n") - 1
    samples = capture.channels[0].samples
    np.testing.assert_array_equal(samples[:n_whole], values[:n_whole])
    assert len(samples) in (n_whole, n_whole + 1)
    if not text.endswith("\n"):
        assert capture.remarks[-1] in (
            "The last line is cut short and left out.",
            "The file has no line end at its end; its last value may be cut short.",
        )
    elif len(samples) > n_whole:
        pytest.fail("a row came from nowhere")


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    path = tmp_path_factory.mktemp("bytes") / "a"
    path.write_bytes(data)
    read_or_refused(path)
    read_or_refused(path, interval=1e-3)


@given(st.text("0123456789.,;:-+eE \t\n\r\"'#|OLtV()[]/µ", max_size=200))
def test_any_text_is_read_or_refused(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    path = tmp_path_factory.mktemp("text") / "a"
    path.write_bytes((text).encode())
    read_or_refused(path)
    read_or_refused(path, interval=1e-3)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "a.csv: The file is empty. Export the recording anew."),
        (
            "one,two\nthree,four\n",
            (
                "a.csv: No columns of numbers were found in this text."
                " Export it with one column a channel, or describe its columns yourself."
            ),
        ),
        (
            "t (s),u\n0,1\n1,2\n1,3\n2,4\n7,5\n",
            (
                "a.csv: The time stands still at sample 3: 1 s after 1 s."
                " Cut the file there if it holds several recordings,"
                " or give the interval between samples instead of the time column."
            ),
        ),
        (
            "t (s),u\n0.5,1\n",
            (
                "a.csv: There is only one sample."
                " A capture needs two or more; export the whole recording."
            ),
        ),
        (
            "left (V),right (V)\n1,5\n2,2\n1,5\n",
            (
                "a.csv: No column holds the time, and the time between samples isn't told."
                " Give the interval between two samples, or say which column is the time."
            ),
        ),
        (
            "\x01\x02\x03\x04\x05",
            (
                "a.csv: This is neither a text nor a kind of recording that is known."
                " Export it as text with columns, WAV, Parquet, NumPy, VCD or MDF 4."
            ),
        ),
    ],
)
def test_what_is_no_capture_is_refused(text: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes((text).encode())
    with pytest.raises(RecordingError) as caught:
        read_capture(tmp_path / "a.csv")
    assert str(caught.value) == said


def test_odd_lines_are_told_with_their_numbers(tmp_path: Path) -> None:
    text = "t (s);u (V)\n0;1\n1;2\n\nfoo;3\n2;bar\n3;OL\n4;-\n5;6;7\n6\n7;8\nThe end\n8;9\n"
    (tmp_path / "a.csv").write_bytes((text).encode())
    capture = read_capture(tmp_path / "a.csv")
    nan = math.nan
    np.testing.assert_array_equal(capture.channels[0].samples, [1, 2, nan, nan, nan, 6, nan, 8, 9])
    assert capture.remarks == (
        'u: 1 of 9 cells aren\'t numbers ("bar" in line 6); they count as not measured.',
        "2 lines without a time or a number are left out (the first is line 5).",
        "2 lines have too few or too many cells (the first is line 10).",
    )


def test_given_interval_makes_all_columns_channels(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"left,right\n1,5\n2,2\n1,5\n")
    capture = read_capture(tmp_path / "a.csv", interval=0.25)
    assert [c.name for c in capture.channels] == ["left", "right"]
    assert capture.interval == 0.25
    assert capture.remarks == ("The interval of 0.25 s was given by hand.",)


def test_corrected_mapping_is_obeyed(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"10 5 7\n20 6 8\n30 7 9\n")
    columns = (
        MappedColumn("at", "s", 1e-6),
        MappedColumn("", is_kept=False),
        MappedColumn("p", "Pa", 2.0),
    )
    mapping = ColumnMapping(" ", ".", columns, time_column=1)
    capture = read_capture(tmp_path / "a.csv", mapping)
    assert [capture.start, capture.interval] == pytest.approx([1e-5, 1e-5])
    assert [(c.name, c.unit) for c in capture.channels] == [("p", "Pa")]
    np.testing.assert_array_equal(capture.channels[0].samples, [14, 16, 18])
    with pytest.raises(RecordingError, match="No column is left as a channel"):
        read_capture(tmp_path / "a.csv", replace(mapping, columns=columns[:2]))


def test_few_digits_of_time_are_told(tmp_path: Path) -> None:
    rows = "".join(f"{at * 0.004:.2f},{at}\n" for at in range(1000))
    (tmp_path / "a.csv").write_bytes(("t (s),u\n" + rows).encode())
    capture = read_capture(tmp_path / "a.csv")
    # The last instant is known to half its last digit, over 999 intervals.
    assert capture.interval == pytest.approx(0.004, abs=0.01 / 999)
    assert capture.times is None
    assert capture.remarks == (
        (
            "Neighbouring samples carry the same time since it is written with few digits;"
            " the samples are taken as evenly spaced."
        ),
    )


def test_fewer_samples_than_told_are_noticed(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"Samples: 5\ndt: 2 ms\n\nu (V),v (V)\n1,4\n3,4\n2,3\n")
    capture = read_capture(tmp_path / "a.csv")
    assert capture.interval == 2e-3
    assert capture.remarks == ("The file tells of 5 samples, but holds 3.",)


def test_zero_bytes_of_a_lost_supply_are_told(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"t (s),u\n0,1\n1,2\n2,3\n" + bytes(500))
    capture = read_capture(tmp_path / "a.csv")
    assert capture.channels[0].samples.tolist() == [1, 2, 3]
    assert capture.remarks == ("Zero bytes are left out; the recorder may have lost power.",)


def test_comma_that_may_mean_two_things_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"t (s);u (V)\n0;1,250\n1;2,125\n2;3,500\n")
    guess = guess_mapping(tmp_path / "a.csv")
    assert (guess.mapping.decimal, guess.mapping.thousands) == (",", "")
    assert guess.remarks == (
        "A comma was taken for the decimal mark; it may part thousands instead.",
    )


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_long_table_is_the_same_in_many_blocks(
    encoding: str, end: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(delimited_blocks, "BLOCK", 1001)
    n = 3000
    values = np.round(np.random.default_rng(2).normal(0, 2, n), 3)
    text = "t (us);u (mV)\n" + "".join(f"{i};{v!r}\n" for i, v in enumerate(values.tolist()))
    text = text.replace("\n1500;", "\n1500 ;").replace("\n", end)
    (tmp_path / "a.csv").write_bytes(text.encode(encoding))
    capture = read_capture(tmp_path / "a.csv")
    np.testing.assert_allclose(capture.channels[0].samples, values * 1e-3, rtol=1e-14)
    assert (capture.interval, capture.times) == (1e-6, None)
