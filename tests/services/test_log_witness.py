"""A span of a log becomes the control unit's values of a round."""

from pathlib import Path

import numpy as np
import pytest

from backprobe.errors import ValueOutOfRange
from backprobe.services.log_witness import take_as_witness
from backprobe.store.engine import Store
from tests.services.captured import begun, write_csv


def test_means_over_the_span_are_entered_once(store: Store, tmp_path: Path) -> None:
    kept = begun(store)
    air = np.concatenate([np.full(50, 2.0), np.linspace(3.0, 4.0, 50)])
    file = write_csv(
        tmp_path / "log.csv",
        {
            "air mass flow (g/s)": air,
            "coolant temperature (degC)": np.full(100, 88.0),
            "odd value": np.arange(100.0),
        },
        0.1,
    )
    key = kept.keep(file, places=(), kind="log")
    for _ in range(2):
        assert take_as_witness(kept.jobs, kept.recordings, key, kept.round, 5.0, 9.9) == kept.sheet
    (record,) = kept.jobs.sheet(kept.sheet)[2].rounds
    assert {n: v.value for n, v in record.round.scan.items()} == {
        "air mass flow": pytest.approx(3.5),
        "coolant temperature": pytest.approx(88.0),
    }
    assert len(record.entries) == 2


def test_what_is_no_log_or_does_not_count_is_refused(store: Store, tmp_path: Path) -> None:
    kept = begun(store)
    capture = kept.keep(write_csv(tmp_path / "c.csv", {"signal (V)": np.arange(50.0)}))
    with pytest.raises(ValueOutOfRange, match="This is no log"):
        take_as_witness(kept.jobs, kept.recordings, capture, kept.round, 0.0, 5e-4)
    columns = {"odd value": np.arange(50.0), "another": np.arange(50.0)}
    log = kept.keep(write_csv(tmp_path / "l.csv", columns), places=(), kind="log")
    with pytest.raises(ValueOutOfRange, match="no value that a round takes"):
        take_as_witness(kept.jobs, kept.recordings, log, kept.round, 0.0, 5e-4)
    kept.recordings.void(log, "other vehicle")
    with pytest.raises(ValueOutOfRange, match="does not count"):
        take_as_witness(kept.jobs, kept.recordings, log, kept.round, 0.0, 5e-4)
