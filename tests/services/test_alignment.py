"""A second recording is laid over the first by the shift that is really between them."""

from pathlib import Path

import numpy as np
import pytest

from backprobe.services.alignment import aligned
from backprobe.store.engine import Store
from backprobe.store.upgrade import upgrade
from tests.services.captured import begun, write_csv

STEP = 1e-3


def bump(at: float) -> np.ndarray:
    t = np.arange(3000) * STEP
    return np.asarray(1.0 + 3.0 * np.exp(-(((t - at) / 0.05) ** 2)) * (t >= at - 0.2))


@pytest.mark.parametrize(("way", "shift"), [("start", 0.0), ("steepest", -0.4), ("alike", -0.4)])
def test_the_shift_is_found(tmp_path: Path, way: str, shift: float) -> None:
    store = Store(str(tmp_path / "jobs.sqlite3"))
    upgrade(store)
    kept = begun(store)
    keys = [
        kept.keep(write_csv(tmp_path / f"{at}.csv", {"air mass (V)": bump(at)}, STEP))
        for at in (1.0, 1.4)
    ]
    own, other = (kept.recordings.recording(key) for key in keys)
    samples = [kept.recordings.samples(each) for each in (own, other)]
    found = aligned(own, samples[0], other, samples[1], way)
    assert found.other == keys[1]
    assert found.shift == pytest.approx(shift, abs=2 * STEP)
    assert found.shifted(0.5).words == "Shifted by 500 ms, by hand."
    store.close()
