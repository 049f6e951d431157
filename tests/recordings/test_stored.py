"""Stored captures: what was put in comes out, extremes equal brute force, memory stays small."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import RecordingError
from backprobe.recordings.capture import Capture, CaptureChannel
from backprobe.recordings.reading import ReadOptions, read_capture
from backprobe.recordings.stored import StoredCapture
from backprobe.recordings.stored_writer import extremes_path, store_capture, write_parquet
from tests.recordings.made import made_capture, same_captures, write_wav

N_SAMPLE = 70_001  # no multiple of the stretches that extremes are kept of


@pytest.fixture(scope="module")
def stored(tmp_path_factory: pytest.TempPathFactory) -> tuple[StoredCapture, Capture]:
    capture = made_capture(N_SAMPLE, 2, gaps=True)
    path = tmp_path_factory.mktemp("stored") / "capture.parquet"
    write_parquet(capture, path)
    return StoredCapture.open(path), capture


@given(
    first=st.integers(0, N_SAMPLE - 1), length=st.integers(1, N_SAMPLE), n_bin=st.integers(1, 40)
)
def test_extremes_equal_brute_force(
    stored: tuple[StoredCapture, Capture], first: int, length: int, n_bin: int
) -> None:
    opened, capture = stored
    last = min(first + length, N_SAMPLE)
    for channel in (0, 1):
        found = opened.extremes(channel, first, last, n_bin)
        samples = capture.channels[channel].samples
        assert found.edges[0] == first
        assert found.edges[-1] == last
        assert len(found.low) == len(found.high) == min(n_bin, last - first)
        assert np.all(np.diff(found.edges) > 0)
        for at, (a, b) in enumerate(zip(found.edges[:-1], found.edges[1:], strict=True)):
            part = samples[a:b][~np.isnan(samples[a:b])]
            if part.size == 0:
                assert np.isnan(found.low[at])
                assert np.isnan(found.high[at])
            else:
                assert found.low[at] == part.min()
                assert found.high[at] == part.max()


@given(first=st.integers(0, N_SAMPLE - 1), length=st.integers(1, N_SAMPLE))
def test_any_stretch_is_what_was_stored(
    stored: tuple[StoredCapture, Capture], first: int, length: int
) -> None:
    opened, capture = stored
    last = min(first + length, N_SAMPLE)
    for channel in (0, 1):
        np.testing.assert_array_equal(
            opened.samples(channel, first, last), capture.channels[channel].samples[first:last]
        )
    assert opened.times(first, last)[0] == pytest.approx(capture.start + first * capture.interval)


def test_blocks_make_the_whole(stored: tuple[StoredCapture, Capture]) -> None:
    opened, capture = stored
    parts = list(opened.blocks(10_000))
    assert [part.channels[0].samples.size for part in parts] == [10_000] * 7 + [1]
    for channel in (0, 1):
        joined = np.concatenate([part.channels[channel].samples for part in parts])
        np.testing.assert_array_equal(joined, capture.channels[channel].samples)
    assert parts[3].start == pytest.approx(capture.start + 30_000 * capture.interval)


@given(n_point=st.integers(50, 3000), first=st.integers(0, N_SAMPLE // 2))
def test_line_keeps_gaps_and_extremes(
    stored: tuple[StoredCapture, Capture], n_point: int, first: int
) -> None:
    opened, capture = stored
    line = opened.line(1, first, None, n_point)
    samples = capture.channels[1].samples
    assert np.all(np.diff(line.index) > 0)
    np.testing.assert_array_equal(line.samples, samples[line.index])
    gaps = np.flatnonzero(np.isnan(samples))
    gaps = gaps[gaps >= first]
    n_gap = int(np.count_nonzero(np.diff(gaps) > 1)) + 1 if gaps.size else 0
    assert np.count_nonzero(np.isnan(line.samples)) == n_gap
    # Twice as many points as there are gaps may come on top.
    assert line.index.size <= n_point + 5 * n_gap + 3


@pytest.mark.parametrize("is_even", [True, False])
def test_instant_is_found(is_even: bool, tmp_path: Path) -> None:
    capture = made_capture(5000, 1, even=is_even)
    write_parquet(capture, tmp_path / "c")
    opened = StoredCapture.open(tmp_path / "c")
    times = opened.times()
    for at in (0, 1, 2500, 4999):
        assert opened.index_at(times[at]) == at
        assert opened.index_at(times[at] + 0.2 * opened.interval) >= at
    assert opened.index_at(times[-1] + 1.0) == 5000
    assert opened.index_at(times[0] - 1.0) == 0


@given(
    n_sample=st.integers(2, 3000),
    n_channel=st.integers(1, 3),
    is_even=st.booleans(),
    is_double=st.booleans(),
)
def test_parquet_round_trip(
    tmp_path_factory: pytest.TempPathFactory,
    n_sample: int,
    n_channel: int,
    is_even: bool,
    is_double: bool,
) -> None:
    capture = made_capture(n_sample, n_channel, even=is_even, double=is_double, gaps=True)
    path = tmp_path_factory.mktemp("trip") / "c.parquet"
    write_parquet(capture, path)
    same_captures(read_capture(path), capture, source=False)


def test_channels_of_one_name_stay_apart(tmp_path: Path) -> None:
    channels = tuple(CaptureChannel("time", unit, np.arange(3.0)) for unit in ("V", "A", "s"))
    capture = Capture(channels, 1.0, times=np.array([0.0, 0.5, 2.0]), remarks=("A remark.",))
    write_parquet(capture, tmp_path / "c")
    same_captures(read_capture(tmp_path / "c"), capture, source=False)


def test_wav_and_text_are_stored_alike(tmp_path: Path) -> None:
    samples = np.round(1000 * np.sin(np.arange(60_000) / 50)).astype("<i2")
    write_wav(tmp_path / "a.wav", samples[:, None], rate=10_000)
    shares: list[float] = []
    store_capture(tmp_path / "a.wav", tmp_path / "a", progress=shares.append)
    times = np.arange(samples.size) * 1e-4
    lines = [f"{t:.4f};{v / 32768!r}" for t, v in zip(times, samples.tolist(), strict=True)]
    (tmp_path / "b.csv").write_bytes(("Time (s);u (V)\n" + "\n".join(lines) + "\n").encode())
    store_capture(tmp_path / "b.csv", tmp_path / "b")
    one, other = StoredCapture.open(tmp_path / "a"), StoredCapture.open(tmp_path / "b")
    np.testing.assert_array_equal(one.samples(0), other.samples(0))
    assert (one.interval, one.start, one.n_sample) == (1e-4, 0.0, 60_000)
    assert (other.interval, other.start, other.n_sample) == (1e-4, 0.0, 60_000)
    assert one.samples(0).dtype == np.float32
    assert other.samples(0).dtype == np.float64
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert other.source == "b.csv"


def test_uneven_times_are_stored(tmp_path: Path) -> None:
    (tmp_path / "u.csv").write_bytes(b"t (ms),u\n0,1\n1,2\n5,3\n6,4\n")
    store_capture(tmp_path / "u.csv", tmp_path / "u")
    opened = StoredCapture.open(tmp_path / "u")
    assert not opened.is_even
    np.testing.assert_allclose(opened.times(), [0.0, 1e-3, 5e-3, 6e-3], rtol=1e-15)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "t (s),u\n0,1\n1,2\n0,3\n",
            (
                "bad.csv: The time goes back at sample 3: 0 s after 1 s."
                " Cut the file there if it holds several recordings,"
                " or give the interval between samples instead of the time column."
            ),
        ),
        (
            "t (s),u\n0,1\n1,low\n2,high\n3,low\n",
            (
                'bad.csv: u holds words rather than numbers: "low" in line 3. Leave this column out'
                " (kept = false), or correct the decimal mark."
            ),
        ),
    ],
)
def test_failed_storing_leaves_nothing(text: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_bytes((text).encode())
    folder = tmp_path / "out"
    with pytest.raises(RecordingError) as caught:
        store_capture(tmp_path / "bad.csv", folder / "c", ReadOptions())
    assert str(caught.value) == said
    assert not folder.exists() or list(folder.iterdir()) == []


def test_broken_off_storing_leaves_the_old_capture(tmp_path: Path) -> None:
    write_parquet(made_capture(100, 1), tmp_path / "c")
    old = StoredCapture.open(tmp_path / "c").samples(0)
    write_wav(tmp_path / "a.wav", np.zeros((3_000_000, 1), "<i2"), rate=1000)

    def stop(share: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        store_capture(tmp_path / "a.wav", tmp_path / "c", progress=stop)
    assert {path.name for path in tmp_path.iterdir()} == {"a.wav", "c", "c.extremes"}
    np.testing.assert_array_equal(StoredCapture.open(tmp_path / "c").samples(0), old)


def test_folder_that_is_none_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(RecordingError) as caught:
        write_parquet(made_capture(10, 1), tmp_path / "file" / "c")
    assert str(caught.value).startswith("c: The capture can't be stored: ")
    assert str(caught.value).endswith(". Make room, or choose another folder.")


def test_full_disk_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise pl.exceptions.ComputeError("No space left on device")

    monkeypatch.setattr(pl.LazyFrame, "sink_parquet", full)
    with pytest.raises(RecordingError) as caught:
        write_parquet(made_capture(10, 1), tmp_path / "c")
    assert str(caught.value) == (
        "c: The capture can't be stored: No space left on device."
        " Make room, or choose another folder."
    )
    assert list(tmp_path.iterdir()) == []


def test_errors_say_what_is_missing(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match=r"^c: There is no such stored capture\. Store"):
        StoredCapture.open(tmp_path / "c")
    write_parquet(made_capture(100_000, 1), tmp_path / "c")
    opened = StoredCapture.open(tmp_path / "c")
    with pytest.raises(RecordingError, match=r"^c: There is no stretch from sample 5 to 5\."):
        opened.samples(0, 5, 5)
    extremes_path(tmp_path / "c").unlink()
    with pytest.raises(RecordingError, match=r"extremes of this stored capture are missing"):
        StoredCapture.open(tmp_path / "c").extremes(0, 0, None, 4)


# Not ru_maxrss: it keeps the peak of the process that this one was started from.
_CHILD = """
import sys
from pathlib import Path
from backprobe.recordings.stored_writer import store_capture
def peak():
    status = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in status if line.startswith("VmHWM"))
before = peak()
store_capture(Path(sys.argv[1]), Path(sys.argv[2]))
print(before, peak())
"""


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="only Linux tells it so")
def test_memory_does_not_grow_with_the_file(tmp_path: Path) -> None:
    """A file of 120 MB (240 MB as float32) is stored in far less memory than it is long."""
    n_frame, n_part = 2_000_000, 15
    write_wav(tmp_path / "long.wav", np.zeros((0, 2), "<i2"), rate=100_000, told=n_frame * n_part)
    noise = np.random.default_rng(1).integers(-3000, 3000, (n_frame, 2)).astype("<i2").tobytes()
    with (tmp_path / "long.wav").open("ab") as file:
        for _ in range(n_part):
            file.write(noise)
    done = subprocess.run(
        [sys.executable, "-c", _CHILD, str(tmp_path / "long.wav"), str(tmp_path / "c")],
        capture_output=True,
        text=True,
        check=True,
    )
    before, most = map(int, done.stdout.split())
    # KiB; blocks of 2^20 samples and what the writer keeps of them, measured at 100 to 180 MiB.
    assert most - before < 400 * 1024
    assert StoredCapture.open(tmp_path / "c").n_sample == n_frame * n_part
