"""WAV files, held against scipy.io.wavfile and the wave module of the standard library."""

import io
import struct
import wave
from pathlib import Path

import numpy as np
import pytest
import scipy.io.wavfile
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import RecordingError
from backprobe.recordings.reading import read_capture
from tests.recordings.made import read_or_refused, wav_bytes

SCALES = {"<u1": 128.0, "<i2": 32768.0, "<i4": 2147483648.0, "<f4": 1.0, "<f8": 1.0}


def frames_of(dtype: str, n_frame: int, n_channel: int) -> np.ndarray:
    rng = np.random.default_rng(3)
    if dtype[1] == "f":
        return rng.uniform(-1.0, 1.0, (n_frame, n_channel)).astype(dtype)
    limits = np.iinfo(dtype)
    found = rng.integers(limits.min, limits.max, (n_frame, n_channel), endpoint=True, dtype="i8")
    found[0], found[-1] = limits.min, limits.max
    return found.astype(dtype)


@pytest.mark.parametrize("dtype", SCALES)
@pytest.mark.parametrize("n_channel", [1, 3])
def test_samples_are_those_that_scipy_wrote(dtype: str, n_channel: int, tmp_path: Path) -> None:
    frames = frames_of(dtype, 200, n_channel)
    path = tmp_path / "a.wav"
    scipy.io.wavfile.write(path, 12_500, frames)
    capture = read_capture(path)
    assert capture.interval == 8e-5
    assert [c.unit for c in capture.channels] == [""] * n_channel
    offset = 128.0 if dtype == "<u1" else 0.0
    for channel, column in zip(capture.channels, frames.T, strict=True):
        # Scaling by powers of two is exact.
        np.testing.assert_array_equal(
            channel.samples.astype(np.float64), (column.astype(np.float64) - offset) / SCALES[dtype]
        )


def test_samples_of_24_bits_are_those_that_wave_wrote(tmp_path: Path) -> None:
    values = np.array([0, 1, -1, 2**23 - 1, -(2**23), 123456, -654321], dtype="<i4")
    data = values.view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
    with wave.open(str(tmp_path / "a.wav"), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(3)
        file.setframerate(1000)
        file.writeframes(data)
    capture = read_capture(tmp_path / "a.wav")
    assert capture.channels[0].samples.dtype == np.float32
    np.testing.assert_array_equal(capture.channels[0].samples * 2.0**23, values)


@pytest.mark.parametrize("dtype", ["<i2", "<f4"])
def test_extensible_format_reads_like_the_plain_one(dtype: str, tmp_path: Path) -> None:
    frames = frames_of(dtype, 50, 2)
    plain, extensible = wav_bytes(frames, 500), wav_bytes(frames, 500, extensible=True)
    assert len(extensible) == len(plain) + 24
    (tmp_path / "a.wav").write_bytes(plain)
    (tmp_path / "b.bin").write_bytes(extensible)
    for one, other in zip(
        read_capture(tmp_path / "a.wav").channels,
        read_capture(tmp_path / "b.bin").channels,
        strict=True,
    ):
        np.testing.assert_array_equal(one.samples, other.samples)


def test_full_scale_in_volts(tmp_path: Path) -> None:
    (tmp_path / "a.wav").write_bytes(wav_bytes(np.array([[-32768], [16384]], "<i2"), 10))
    channel = read_capture(tmp_path / "a.wav", volts_at_full_scale=20.0).channels[0]
    assert channel.unit == "V"
    np.testing.assert_array_equal(channel.samples, [-20.0, 10.0])


def test_long_form_tells_its_length_in_a_chunk_of_its_own(tmp_path: Path) -> None:
    frames = frames_of("<i2", 100, 1)
    plain = wav_bytes(frames, 500)
    sizes = b"ds64" + struct.pack("<IQQQI", 28, 0, 200, 100, 0)
    at = plain.index(b"data")
    long_form = b"RF64\xff\xff\xff\xffWAVE" + sizes + plain[12:at] + b"data\xff\xff\xff\xff"
    (tmp_path / "a.wav").write_bytes(long_form + frames.tobytes() + b"JUNK" + bytes(4))
    capture = read_capture(tmp_path / "a.wav")
    np.testing.assert_array_equal(capture.channels[0].samples * 32768, frames[:, 0])
    assert capture.remarks == ()


WHOLE = wav_bytes(frames_of("<i2", 60, 2), 500)


@given(st.integers(0, len(WHOLE) - 1))
def test_cut_file_keeps_what_is_there_and_says_so(
    tmp_path_factory: pytest.TempPathFactory, length: int
) -> None:
    path = tmp_path_factory.mktemp("cut") / "a.wav"
    path.write_bytes(WHOLE[:length])
    capture = read_or_refused(path)
    if capture is None:
        assert length < len(WHOLE) - 60 * 4 + 8  # not even two samples are there
        return
    n_frame = capture.channels[0].samples.size
    assert n_frame == (length - (len(WHOLE) - 240)) // 4
    expected = np.frombuffer(WHOLE[-240:], "<i2").reshape(-1, 2)[:n_frame]
    np.testing.assert_array_equal(capture.channels[1].samples * 32768, expected[:, 1])
    assert capture.remarks == (f"The file is cut short: {n_frame} of 60 samples are there.",)


@given(st.data())
def test_damaged_head_is_refused_or_read(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    path = tmp_path_factory.mktemp("bad") / "a.wav"
    damaged = bytearray(WHOLE)
    for _ in range(3):
        damaged[data.draw(st.integers(12, 43))] = data.draw(st.integers(0, 255))
    path.write_bytes(damaged)
    read_or_refused(path)


def test_unknown_length_is_read_to_the_end(tmp_path: Path) -> None:
    (tmp_path / "a.wav").write_bytes(wav_bytes(frames_of("<i2", 60, 1), 500, told=0))
    capture = read_capture(tmp_path / "a.wav")
    assert capture.channels[0].samples.size == 60
    assert capture.remarks == (
        (
            "The file doesn't tell its length; it is read up to its end."
            " The recording may have broken off."
        ),
    )


def test_packed_samples_are_refused(tmp_path: Path) -> None:
    packed = bytearray(WHOLE)
    packed[20:22] = (7).to_bytes(2, "little")
    (tmp_path / "a.wav").write_bytes(packed)
    with pytest.raises(RecordingError) as caught:
        read_capture(tmp_path / "a.wav")
    assert str(caught.value) == (
        "a.wav: Samples of kind 7 with 16 bits aren't read."
        " Save it with whole numbers of 8, 16, 24 or 32 bits, or with floats."
    )


def test_our_own_maker_agrees_with_wave() -> None:
    with wave.open(io.BytesIO(WHOLE)) as file:
        assert (file.getnchannels(), file.getnframes(), file.getframerate()) == (2, 60, 500)
