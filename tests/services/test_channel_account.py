"""What is measured on a capture becomes readings of its round, once, and weighs as it is good."""

from pathlib import Path

import numpy as np
import pytest

from backprobe.core.waveform.levels import state_levels
from backprobe.errors import ValueOutOfRange
from backprobe.quantities import parse_quantity
from backprobe.services.capture_study import readings_of
from backprobe.services.channel_account import account_of, take_readings
from backprobe.services.explain import explain
from backprobe.store.engine import Store
from tests.services.captured import (
    HALL_DUTY,
    HALL_HERTZ,
    HALL_HIGH,
    HALL_LOW,
    INTERVAL,
    begun,
    hall,
    write_csv,
)

MEAN = HALL_DUTY * HALL_HIGH + (1 - HALL_DUTY) * HALL_LOW
TRUTH = {
    "volts": MEAN,
    "level_high": HALL_HIGH,
    "level_low": HALL_LOW,
    "hertz": HALL_HERTZ,
    "duty_percent": 100 * HALL_DUTY,
}


def test_readings_hold_the_truth_within_their_limits() -> None:
    samples = hall()
    found = readings_of(samples, INTERVAL, state_levels(samples), error_share=0.01, is_moving=False)
    assert found.keys() == TRUTH.keys()
    for quantity, (value, limit) in found.items():
        assert abs(value - TRUTH[quantity]) < limit, quantity
        assert limit < 0.02 * TRUTH["volts"] * 2 or quantity in ("hertz", "duty_percent")


def test_a_movement_gives_its_extremes_and_no_mean() -> None:
    ramp = np.concatenate([np.full(500, 0.5), np.linspace(0.5, 4.5, 2000), np.full(500, 4.5)])
    found = readings_of(ramp, 1e-3, state_levels(ramp), error_share=0.03, is_moving=True)
    assert found.keys() == {"volts_high", "volts_low"}
    assert found["volts_high"][0] == pytest.approx(4.5)
    assert found["volts_low"][0] == pytest.approx(0.5)


def test_a_frequency_that_moves_is_no_reading() -> None:
    phase = np.cumsum(np.linspace(300.0, 900.0, 50_000) * INTERVAL) % 1.0
    samples = np.where(phase < 0.5, 5.0, 0.2)
    found = readings_of(samples, INTERVAL, state_levels(samples), error_share=0.03, is_moving=False)
    assert "hertz" not in found
    assert "level_high" in found


def test_taken_twice_they_are_entered_once(store: Store, tmp_path: Path) -> None:
    kept = begun(store)
    key = kept.keep(write_csv(tmp_path / "hall.csv", {"signal (V)": hall()}))
    for _ in range(2):
        take_readings(kept.jobs, kept.recordings, key, 0)
    (record,) = kept.jobs.sheet(kept.sheet)[2].rounds
    assert {entry.quantity for entry in record.entries} == TRUTH.keys()
    assert len(record.entries) == len(TRUTH)
    for entry in record.entries:
        assert entry.indication is not None
        unit = {"hertz": "hertz", "duty_percent": "percent"}.get(entry.quantity, "volt")
        written = parse_quantity(entry.indication.written, unit)
        assert written.limits is not None
        assert abs(written.value - TRUTH[entry.quantity]) < written.limits
    found = kept.recordings.recording(key)
    (account,) = account_of(found, kept.recordings.samples(found), kept.jobs.job(kept.job))
    assert account.taken
    assert account.title == "signal, terminal 3"


def test_a_capture_alone_tells_a_switching_signal(store: Store, tmp_path: Path) -> None:
    kept = begun(store)
    key = kept.keep(write_csv(tmp_path / "hall.csv", {"signal (V)": hall()}))
    take_readings(kept.jobs, kept.recordings, key, 0)
    answer = explain(kept.jobs.job_file(kept.sheet)[0])
    by_pin = {each.pin: each for each in answer.terminals}
    assert by_pin["3"].roles["signal-switching"] > 0.9


@pytest.mark.parametrize("why", ["void", "no terminal", "no volts", "no unit"])
def test_what_can_not_be_a_reading_says_why(store: Store, tmp_path: Path, why: str) -> None:
    kept = begun(store)
    unit = "A" if why == "no volts" else "V"
    name = "signal" if why == "no unit" else f"signal ({unit})"
    file = write_csv(tmp_path / "hall.csv", {name: hall(5000)})
    key = kept.keep(file, places=("",) if why == "no terminal" else ("3",))
    if why == "void":
        kept.recordings.void(key, "clip on the wrong wire")
    with pytest.raises(ValueOutOfRange, match="There is nothing to take"):
        take_readings(kept.jobs, kept.recordings, key, 0)
    assert not kept.jobs.sheet(kept.sheet)[2].rounds[0].entries
