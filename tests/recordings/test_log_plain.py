from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.recordings import log_text
from backprobe.recordings.delimited_mapping import ColumnMapping, MappedColumn
from backprobe.recordings.log_plain import read_plain
from backprobe.recordings.log_text import RawLog, read_log_text

MAPPING = ColumnMapping(
    ",", ".", (MappedColumn("t"), MappedColumn("a"), MappedColumn("b")), skip_lines=1, time_column=1
)


def written(folder: Path, text: str) -> Path:
    path = folder / "log.csv"
    path.write_text(text, encoding="utf-8")
    return path


def carefully(path: Path, monkeypatch: pytest.MonkeyPatch) -> RawLog:
    with monkeypatch.context() as patched:
        patched.setattr(log_text, "read_plain", lambda *_: None)
        return read_log_text(path)


@settings(max_examples=30)
@given(
    st.lists(
        st.tuples(st.none() | st.floats(-1e9, 1e9), st.none() | st.integers(-9999, 9999)),
        min_size=1,
        max_size=30,
    )
)
def test_the_fast_way_reads_what_the_careful_one_does(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[float | None, int | None]]
) -> None:
    rows = [(0.5, 1), *rows]
    cells = [
        f"{n / 4},{'' if a is None else repr(a)},{'' if b is None else b}"
        for n, (a, b) in enumerate(rows)
    ]
    path = written(tmp_path_factory.mktemp("log"), "\n".join(["Time (s),a,b", *cells]) + "\n")
    plain = read_plain(path, MAPPING, (1, 2, 3))
    assert plain is not None
    with pytest.MonkeyPatch.context() as patch:
        careful = carefully(path, patch)
    fast = read_log_text(path)
    assert [one.name for one in fast.series] == [one.name for one in careful.series]
    for one, other in zip(fast.series, careful.series, strict=True):
        np.testing.assert_array_equal(one.times, other.times)
        np.testing.assert_array_equal(one.values, other.values)


@pytest.mark.parametrize(
    "text",
    [
        "t,a,b\n0,1,2\n1,---,2\n",  # a word for nothing measured
        "t,a,b\n0,1,2\n1,1\n",  # a row too short
        "t,a,b\n0,1,2\n1,1,2,3\n",  # a row too long
        "t,a,b\n0,1,2\n,1,2\n",  # a row without a time
        "t,a,b\n0,1,2\n1,1,2",  # perhaps cut at its end
        't,a,b\n0,1,2\n1,"1",2\n',  # quotes
        "t,a,b\n0,1,2\n\n1,1,2\n",  # a blank line
        "t,a,b\n0,1,2\n1,inf,2\n",
    ],
)
def test_what_may_be_misunderstood_is_left_to_the_careful_way(text: str, tmp_path: Path) -> None:
    assert read_plain(written(tmp_path, text), MAPPING, (1, 2, 3)) is None


def test_a_row_that_is_too_short_is_told(tmp_path: Path) -> None:
    log = read_log_text(written(tmp_path, "Time (s),a,b\n0,1,2\n1,1\n2,1,2\n"))
    assert any("too few or too many cells" in remark for remark in log.remarks)
