"""Captures and files that the tests of this folder make."""

import struct
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import RecordingError
from backprobe.recordings.capture import Capture, CaptureChannel
from backprobe.recordings.reading import read_capture


def made_capture(
    n_sample: int,
    n_channel: int,
    *,
    even: bool = True,
    double: bool = True,
    gaps: bool = False,
    seed: int = 7,
) -> Capture:
    """A capture of noise on slow waves, the same for the same arguments."""
    rng = np.random.default_rng(seed)
    channels = []
    for number in range(n_channel):
        wave = np.sin(np.arange(n_sample) / (200.0 + number)) + rng.normal(0.0, 0.1, n_sample)
        samples: NDArray[np.floating] = wave if double else wave.astype(np.float32)
        if gaps:
            for first in rng.integers(0, n_sample, 4):
                samples[first : first + n_sample // 20] = np.nan
        channels.append(CaptureChannel(f"CH{number}", "V" if number == 0 else "A", samples))
    times = None if even else np.cumsum(rng.uniform(0.5e-3, 1.5e-3, n_sample))
    start = -0.25 if times is None else float(times[0])
    interval = 1e-3 if times is None else float((times[-1] - times[0]) / max(n_sample - 1, 1))
    return Capture(tuple(channels), interval, start, times, "made.csv", ("It was made up.",))


def same_captures(one: Capture, other: Capture, *, source: bool = True) -> None:
    """Hold one capture against another, to the last bit."""
    assert [(c.name, c.unit) for c in one.channels] == [(c.name, c.unit) for c in other.channels]
    for a, b in zip(one.channels, other.channels, strict=True):
        assert a.samples.dtype == b.samples.dtype
        np.testing.assert_array_equal(a.samples, b.samples)
    # A mean interval that is computed again may differ in its last digits.
    np.testing.assert_allclose([one.interval, one.start], [other.interval, other.start], rtol=1e-9)
    assert (one.times is None) == (other.times is None)
    if one.times is not None and other.times is not None:
        np.testing.assert_array_equal(one.times, other.times)
    if source:
        assert one.source == other.source
    assert one.remarks == other.remarks


def wav_bytes(
    frames: NDArray[np.generic],
    rate: int,
    *,
    told: int | None = None,
    n_byte: int | None = None,
    extensible: bool = False,
) -> bytes:
    """A WAV file, made by hand; three bytes a sample are taken from int32."""
    n_channel = frames.shape[1]
    width = n_byte or frames.dtype.itemsize
    if width == 3:
        data = frames.astype("<i4").copy().view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
    else:
        data = frames.tobytes()
    code = 3 if frames.dtype.kind == "f" else 1
    frame = n_channel * width
    head = struct.pack(
        "<HHIIHH", 0xFFFE if extensible else code, n_channel, rate, rate * frame, frame, 8 * width
    )
    if extensible:
        rest = bytes.fromhex("000000001000800000aa00389b71")
        head += struct.pack("<HHIH", 22, 8 * width, 0, code) + rest
    size = len(data) if told is None else told * frame
    body = b"fmt " + struct.pack("<I", len(head)) + head + b"data" + struct.pack("<I", size) + data
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WAVE" + body


def write_wav(
    path: Path, frames: NDArray[np.generic], rate: int, *, told: int | None = None
) -> None:
    """Write such a file."""
    path.write_bytes(wav_bytes(frames, rate, told=told))


def read_or_refused(path: Path, interval: float | None = None) -> Capture | None:
    """Read a damaged file; None where it is refused with a place and a remedy."""
    try:
        return read_capture(path, interval=interval)
    except RecordingError as error:
        if not (error.what and error.where and error.remedy):
            raise ValueError(f"no place or no remedy: {error!r}") from error
        return None
