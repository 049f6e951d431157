from pathlib import Path

import numpy as np
import pytest

from backprobe.errors import RecordingError
from backprobe.recordings.log_mdf import is_mdf, read_log_mdf
from backprobe.recordings.log_reading import read_log

asammdf = pytest.importorskip("asammdf")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A file with two groups that have instants of their own, written by the library itself."""
    fast, slow = np.arange(20) * 0.1, np.arange(4) * 0.5
    with asammdf.MDF(version="4.10") as file:
        file.append([asammdf.Signal(800 + 10 * np.sin(fast), fast, name="RPM", unit="1/min")])
        file.append(
            [
                asammdf.Signal(np.full(4, 77.0), slow, name="IAT", unit="°F"),
                asammdf.Signal(np.array([1, 2, 3, 4]), slow, name="RPM", unit=""),
            ]
        )
        return Path(str(file.save(tmp_path / "log.mf4", overwrite=True)))


def test_each_group_keeps_its_instants(path: Path) -> None:
    log = read_log_mdf(path)
    assert [(one.name, one.unit, one.values.size) for one in log.series] == [
        ("RPM", "1/min", 20),
        ("IAT", "°F", 4),
        ("RPM (2)", "", 4),
    ]
    assert log.series[1].times.tolist() == [0.0, 0.5, 1.0, 1.5]


def test_it_is_read_like_any_log(path: Path) -> None:
    log = read_log(path)
    air = next(one for one in log.series if one.quantity == "intake air temperature")
    assert air.values == pytest.approx([25.0] * 4)


def test_series_may_be_left_out(path: Path) -> None:
    assert [one.name for one in read_log_mdf(path, dropped=frozenset(("IAT",))).series] == [
        "RPM",
        "RPM (2)",
    ]


def test_a_damaged_file_is_told(path: Path) -> None:
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    assert is_mdf(path)
    with pytest.raises(RecordingError, match=r"cut short or damaged|holds no channel"):
        read_log_mdf(path)
