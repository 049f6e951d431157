"""Value change dumps as IEEE 1364-2005, clause 18, describes them (from memory of the text)."""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import RecordingError
from backprobe.recordings.reading import read_capture
from tests.recordings.made import read_or_refused

# Laid out after the clause's example: date, version, scopes, dumpvars, dumpoff and dumpon.
EXAMPLE = """\
$date today $end
$version a test $end
$comment made by hand $end
$timescale 10 ns $end
$scope module top $end
$scope module part $end
$var wire 1 ! clock $end
$var reg 4 " bus [3:0] $end
$upscope $end
$var real 1 # level $end
$var event 1 % hit $end
$upscope $end
$enddefinitions $end
#100
$dumpvars
x! bx " r1.5 #
$end
#105
1!
b101 "
$comment in the middle $end
#106
0!
1%
#120
$dumpoff
x! bx " r0 #
$end
#125
$dumpon
1! bz1 " r-2.5e1 #
$end
#130
"""
NAN = math.nan


def test_changes_become_steps_of_one_tick(tmp_path: Path) -> None:
    (tmp_path / "a.vcd").write_bytes((EXAMPLE).encode())
    capture = read_capture(tmp_path / "a.vcd")
    assert capture.times is not None
    ticks = [100, 104, 105, 106, 119, 120, 124, 125, 129, 130]
    np.testing.assert_allclose(capture.times, np.array(ticks) * 1e-8, rtol=1e-14)
    names = [c.name for c in capture.channels]
    assert names == ["top.part.clock", "top.part.bus[3:0]", "top.level"]
    clock, bus, level = (c.samples for c in capture.channels)
    np.testing.assert_array_equal(clock, [NAN, NAN, 1, 0, 0, NAN, NAN, 1, 1, 1])
    np.testing.assert_array_equal(bus, [NAN, NAN, 5, 5, 5, NAN, NAN, NAN, NAN, NAN])
    np.testing.assert_array_equal(level, [1.5, 1.5, 1.5, 1.5, 1.5, 0, 0, -25, -25, -25])
    assert [clock.dtype.itemsize, level.dtype.itemsize] == [4, 8]
    assert capture.remarks == (
        "1 variables are left out: events, texts, or more than 256 in all.",
        "The file holds changes; each is a step of one tick of its time scale, level in between.",
    )


@given(
    steps=st.lists(st.integers(1, 50), min_size=2, max_size=60),
    unit=st.sampled_from([("1 s", 1.0), ("100us", 1e-4), ("10 ps", 1e-11), ("1fs", 1e-15)]),
    width=st.integers(1, 30),
    data=st.data(),
)
def test_dump_holds_the_same_signal(
    tmp_path_factory: pytest.TempPathFactory,
    steps: list[int],
    unit: tuple[str, float],
    width: int,
    data: st.DataObject,
) -> None:
    ticks = np.cumsum(steps)
    values = data.draw(
        st.lists(st.integers(0, 2**width - 1), min_size=len(steps), max_size=len(steps))
    )
    lines = [
        f"$timescale {unit[0]} $end $var reg {width} ~a v $end $enddefinitions $end",
        *(f"#{t}\nb{v:b} ~a" for t, v in zip(ticks.tolist(), values, strict=True)),
    ]
    path = tmp_path_factory.mktemp("vcd") / "a"
    path.write_bytes(("\n".join(lines) + "\n").encode())
    capture = read_capture(path)
    n_sample = capture.channels[0].samples.size
    even = capture.start + capture.interval * np.arange(n_sample, dtype=np.float64)
    times = even if capture.times is None else capture.times
    # At each instant the value written there; just before the next one still the same.
    at = np.searchsorted(times, ticks * unit[1] - 0.1 * unit[1])
    np.testing.assert_allclose(times[at], ticks * unit[1], rtol=1e-9)
    np.testing.assert_array_equal(capture.channels[0].samples[at], values)
    np.testing.assert_array_equal(capture.channels[0].samples[at[1:] - 1], values[:-1])


@given(st.integers(0, len(EXAMPLE) - 1))
def test_cut_dump_is_refused_or_said(tmp_path_factory: pytest.TempPathFactory, length: int) -> None:
    path = tmp_path_factory.mktemp("cut") / "a.vcd"
    path.write_bytes((EXAMPLE[:length]).encode())
    whole_path = path.with_name("whole")
    whole_path.write_bytes((EXAMPLE).encode())
    whole = read_capture(whole_path)
    capture = read_or_refused(path)
    if capture is None:
        return
    n_sample = capture.channels[0].samples.size
    assert n_sample >= 2
    # All but the last instant, whose changes may be missing in part, is as in the whole dump.
    for one, other in zip(capture.channels, whole.channels, strict=True):
        np.testing.assert_array_equal(one.samples[: n_sample - 1], other.samples[: n_sample - 1])
    is_inside_word = not EXAMPLE[length - 1].isspace() and not EXAMPLE[:length].endswith("$end")
    assert any("last" in remark for remark in capture.remarks) or not is_inside_word


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            EXAMPLE.replace("#125", "#119"),
            "a.vcd: The time goes back from 120 to 119. Write the dump anew, or cut it there.",
        ),
        (
            EXAMPLE.replace("10 ns", "3 ns"),
            'a.vcd: "3ns" isn\'t a time scale. Write the dump anew.',
        ),
        (
            "$date $end $enddefinitions $end #0 #1 ",
            "a.vcd: There are no variables in this dump. Write the dump anew.",
        ),
        (
            EXAMPLE[:200],
            "a.vcd: The file is cut short before its first value. Write the dump anew.",
        ),
    ],
)
def test_what_can_not_be_is_refused(text: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "a.vcd").write_bytes((text).encode())
    with pytest.raises(RecordingError) as caught:
        read_capture(tmp_path / "a.vcd")
    assert str(caught.value) == said


def test_reading_ends_at_what_is_no_change(tmp_path: Path) -> None:
    (tmp_path / "a.vcd").write_text(EXAMPLE.replace("#120", "§120"), encoding="latin-1")
    capture = read_capture(tmp_path / "a.vcd")
    assert capture.remarks[-1] == (
        '"§120" can\'t be read as a change; what comes after it is left out.'
    )
    assert capture.channels[0].samples.size == 4
