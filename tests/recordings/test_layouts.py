"""Tables as a person may meet them, made by hand for these tests; each layout is generic.

The numbers that are expected were read off the files by eye.
"""

from pathlib import Path

import numpy as np
import pytest

from backprobe.recordings.delimited_guess import guess_mapping
from backprobe.recordings.delimited_mapping import from_toml, to_toml
from backprobe.recordings.reading import read_capture

LAYOUTS = Path(__file__).parent / "layouts"
NAN = float("nan")
Expected = tuple[float, float, dict[tuple[str, str], list[float]]]

# file: interval and start in s; name and unit of each channel: samples.
EXPECTED: dict[str, Expected] = {
    "aligned.txt": (
        4e-5,
        0.0,
        {("Crank", "V"): [0.01, -0.02, 1.5, 0.015], ("Cam", "V"): [5.0, 5.0, 0.1, 0.1]},
    ),
    "comma.csv": (
        1e-4,
        -1e-4,
        {("CH1", "V"): [0.0125, 0.0135, -0.02, 0.014], ("CH2", "V"): [5.02, 5.01, 5.0, 0.12]},
    ),
    "comments-and-blanks.dat": (1e-3, 0.0, {("throttle", "V"): [0.51, 0.52, 2.75, 4.48]}),
    "counted-samples.csv": (5e-4, 0.0, {("Injector", "V"): [13.8, 13.7, 0.4, 0.4]}),
    "date-and-time.csv": (1.0, 86398.5, {("volts", "V"): [4.99, 5.0, 5.01]}),
    "no-header.txt": (1e-3, 1e-3, {("channel 1", ""): [2.41, 2.42, 2.40, 2.39]}),
    "preamble-interval.txt": (
        2e-6,
        0.0,
        {("A", "V"): [1.5, 1.501, 1.499, 1.502], ("B", "A"): [0.02, 0.0205, NAN, 0.021]},
    ),
    "preamble-rate.csv": (
        2e-6,
        -4e-6,
        {("CH1", "V"): [0.1, 0.3, 0.5], ("CH2", "V"): [0.2, 0.4, 0.6]},
    ),
    "quoted.csv": (
        0.01,
        0.0,
        {("Pedal 1", "V"): [0.75, 0.76, 0.77], ("Pedal 2", "V"): [0.37, 0.38, NAN]},
    ),
    "semicolon-decimal-comma.csv": (
        5e-4,
        0.0,
        {
            ("Signal A", "V"): [0.4125, 0.413, NAN, 0.41125],
            ("Signal B", "degC"): [21.5, 21.5, 21.6, 21.6],
        },
    ),
    "spaced-thousands.txt": (1.0, 0.0, {("Resistance", "ohm"): [1002500.0, 1003500.0, 998000.0]}),
    "thousands.csv": (
        1e-5,
        0.0,
        {
            ("speed", "1/min"): [1234.5, 1235.5, 987.25],
            ("pressure", "Pa"): [101300.0, 101400.0, 101200.0],
        },
    ),
    "trailing-separators.csv": (0.02, 0.0, {("Lambda", "V"): [0.15, 0.16, NAN, 0.82]}),
    "utf16-clock.txt": (0.005, 86399.99, {("Supply", "V"): [12.61, 12.60, 12.58, 12.59]}),
}


def test_each_file_is_expected() -> None:
    assert {path.name for path in LAYOUTS.iterdir()} == set(EXPECTED)


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_layout_is_read(name: str) -> None:
    interval, start, channels = EXPECTED[name]
    capture = read_capture(LAYOUTS / name)
    assert capture.times is None
    # Scaling by a power of ten rounds once; a clock has a rounding of 86400 s.
    assert capture.interval == pytest.approx(interval, rel=1e-9)
    assert capture.start == pytest.approx(start, rel=1e-12, abs=1e-12)
    assert [(each.name, each.unit) for each in capture.channels] == list(channels)
    for channel, samples in zip(capture.channels, channels.values(), strict=True):
        np.testing.assert_allclose(channel.samples, samples, rtol=1e-14)
    assert capture.source == name


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_mapping_can_be_saved_and_used_again(name: str) -> None:
    guess = guess_mapping(LAYOUTS / name)
    mapping = from_toml(to_toml(guess.mapping))
    assert mapping == guess.mapping
    again = read_capture(LAYOUTS / name, mapping)
    first = read_capture(LAYOUTS / name)
    assert again.interval == first.interval
    for one, other in zip(first.channels, again.channels, strict=True):
        np.testing.assert_array_equal(one.samples, other.samples)


def test_preview_shows_text_and_numbers() -> None:
    preview = guess_mapping(LAYOUTS / "semicolon-decimal-comma.csv").preview
    assert preview.above == ("Zeit;Signal A;Signal B", "(ms);(mV);(°C)")
    assert preview.texts[2] == ("1,0", "OL", "21,6")
    np.testing.assert_allclose(preview.numbers[2], [1e-3, NAN, 21.6])
    assert len(preview.texts) == len(preview.numbers) == 4


def test_assumed_seconds_are_said() -> None:
    assert guess_mapping(LAYOUTS / "no-header.txt").remarks == (
        "The time column has no unit; seconds are assumed.",
    )
