from collections.abc import Callable, Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.sent_frames import (
    CrcForm,
    FrameFault,
    SentVerdict,
    sent_frames,
)
from backprobe.errors import ValueOutOfRange
from backprobe.standards.sent_crc import legacy_crc, recommended_crc
from tests.core.waveform.signals import sent_falling_edges, wheel_edges

NIBBLE = st.integers(0, 15)
# Several frames of one length of data, not all alike.
FRAMES = st.integers(1, 6).flatmap(
    lambda n: st.lists(st.lists(NIBBLE, min_size=n, max_size=n), min_size=4, max_size=12)
)


@given(FRAMES, st.floats(2.5e-6, 108e-6), st.sampled_from([0, 400]))
def test_any_data_come_back_as_sent(frames: list[list[int]], tick: float, frame_ticks: int) -> None:
    edges = sent_falling_edges(frames, tick=tick, frame_ticks=frame_ticks)
    found = sent_frames(edges)
    assert found.verdict is SentVerdict.FRAMES
    assert found.n_data == len(frames[0])
    assert found.has_pause is bool(frame_ticks)
    assert [list(frame.data) for frame in found.frames] == frames
    # Every instant is a float: only rounding is between the tick and its mean.
    assert found.tick == pytest.approx(tick, rel=1e-9)
    assert found.frame_rate == pytest.approx(
        1.0 / np.median(np.diff([0.0, *[f.start + f.duration for f in found.frames]])), rel=1e-9
    )


@given(FRAMES, st.integers(1, 10_000))
def test_jitter_of_a_twentieth_of_a_tick_changes_no_nibble(
    frames: list[list[int]], seed: int
) -> None:
    # The nibble is a difference of two edges (0.14 tick) against half a tick: 3.5 deviations at
    # 0.1; the sync adds 27/56 of its own 0.14. 0.05 leaves seven.
    edges = sent_falling_edges(frames, tick=3e-6, jitter=0.05 * 3e-6, seed=seed)
    found = sent_frames(edges)
    assert [list(frame.data) for frame in found.frames] == frames
    assert found.verdict is SentVerdict.FRAMES


@pytest.mark.parametrize("frame_ticks", [0, 282, 400, 900])
def test_layout_of_six_data_nibbles(frame_ticks: int) -> None:
    # 282 is the least length with a pause: 56 + 8 nibbles of 27 at most + 12 = 284; data are kept
    # small here so that the pause never gets below 12.
    rng = np.random.default_rng(3)
    data = rng.integers(0, 8, (50, 6)).tolist()
    found = sent_frames(sent_falling_edges(data, tick=3e-6, frame_ticks=frame_ticks, jitter=5e-8))
    assert (found.verdict, found.n_data) == (SentVerdict.FRAMES, 6)
    assert found.has_pause is bool(frame_ticks)
    assert found.is_constant_length is bool(frame_ticks)
    if frame_ticks:
        assert found.frame_rate == pytest.approx(1.0 / (frame_ticks * 3e-6), rel=1e-3)
    # The stated uncertainty covers the tick within four of it.
    assert abs(found.tick - 3e-6) < 4.0 * found.tick_uncertainty


def test_shortest_and_longest_frame_of_three_microseconds() -> None:
    # 56 ticks and 8 nibbles of 12..27: 456 to 816 µs [j2716]. The check sum is set to the end of
    # its range so that the frame is the shortest and the longest; it then doesn't agree.
    for value, duration in ((0, 456e-6), (15, 816e-6)):

        def same(_: Sequence[int], value: int = value) -> int:
            return value

        edges = sent_falling_edges([[value] * 6] * 3, status=[value] * 3, check=same)
        found = sent_frames(edges)
        assert found.frames[0].duration == pytest.approx(duration, rel=1e-9)
        assert found.verdict is SentVerdict.SHAPE_ONLY


@pytest.mark.parametrize(
    ("check", "form"), [(recommended_crc, CrcForm.RECOMMENDED), (legacy_crc, CrcForm.LEGACY)]
)
def test_form_of_the_check_sum(check: Callable[[Sequence[int]], int], form: CrcForm) -> None:
    data = np.random.default_rng(4).integers(0, 16, (20, 6)).tolist()
    assert sent_frames(sent_falling_edges(data, check=check)).crc_form is form


def test_damaged_frames_are_counted_by_kind() -> None:
    data = np.random.default_rng(5).integers(0, 16, (30, 6)).tolist()
    edges = sent_falling_edges(data, tick=3e-6)
    assert len(sent_frames(edges).frames) == 30
    lost = np.delete(edges, 9 * 5 + 4)  # frame 5 has a pulse too few
    found = sent_frames(lost)
    assert dict(found.faults) == {FrameFault.PULSE_COUNT: 1}
    assert [list(frame.data) for frame in found.frames] == data[:5] + data[6:]
    moved = edges.copy()
    moved[9 * 7 + 3] += 2 * 3e-6 if data[7][1] >= 2 and data[7][0] <= 13 else -2 * 3e-6
    found = sent_frames(moved)
    assert found.verdict is SentVerdict.FRAMES_WITH_ERRORS
    assert sum(n for _, n in found.faults) == 1
    slower = np.concatenate(
        [edges[: 9 * 10 + 1], edges[9 * 10] + 1.03 * (edges[9 * 10 + 1 :] - edges[9 * 10])]
    )
    found = sent_frames(slower)
    assert dict(found.faults) == {FrameFault.CALIBRATION_STEP: 1}


def test_other_kinds_of_signal_are_not_sent() -> None:
    rng = np.random.default_rng(6)
    others = {
        "even pulses": np.arange(500) * 200e-6,
        "wheel": wheel_edges(speed_rpm=3000.0, duration=1.0),
        "wheel with three of twelve missing": wheel_edges(
            teeth=12, missing=(9, 10, 11), speed_rpm=900.0, duration=2.0
        ),
        "irregular": np.cumsum(rng.exponential(100e-6, 5000)),
        "serial bytes": np.cumsum(rng.integers(2, 10, 5000) * 26e-6),
    }
    for name, edges in others.items():
        assert sent_frames(edges).verdict is SentVerdict.NOT_SENT, name


def test_a_fast_wheel_that_has_the_shape_is_told_by_its_check_sums() -> None:
    # Gap of four pitches = 56 ticks, teeth of 14: as SENT, eight nibbles of value 2.
    edges = wheel_edges(teeth=12, missing=(9, 10, 11), speed_rpm=6000.0, duration=1.0)
    assert sent_frames(edges).verdict in (SentVerdict.SHAPE_ONLY, SentVerdict.NOT_SENT)


@pytest.mark.parametrize("n_edge", [0, 1, 4, 9])
def test_too_short(n_edge: int) -> None:
    edges = sent_falling_edges([[1, 2, 3, 4, 5, 6]] * 3)
    assert sent_frames(edges[:n_edge]).verdict is SentVerdict.TOO_SHORT


def test_instants_that_go_back_are_refused() -> None:
    with pytest.raises(ValueOutOfRange, match="Give each edge once, in the order of time"):
        sent_frames(np.array([0.0, 2.0, 1.0]))
