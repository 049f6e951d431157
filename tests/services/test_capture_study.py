"""Whatever is in a capture, it is studied to the end: doubt is a result, not an error."""

from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from backprobe.recordings.capture import Capture, CaptureChannel
from backprobe.recordings.stored import StoredCapture
from backprobe.recordings.stored_writer import write_parquet
from backprobe.services.capture_study import study_capture
from backprobe.services.findings.looking import SIGNALS, Circumstances
from backprobe.services.kept_samples import KeptSamples
from backprobe.store.recording import RecordedChannel

SHAPES = ("nothing", "gaps", "noise", "pulses", "sine", "walk", "level", "steps", "ramp")


def signal(shape: str, n: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    t = np.arange(n)
    made = {
        "nothing": np.full(n, np.nan),
        "gaps": np.where(rng.random(n) < 0.5, np.nan, rng.normal(0, 1, n)),
        "noise": rng.normal(0, 1, n),
        "pulses": np.where(t % 7 < 2, 5.0, 0.0),
        "sine": 1e5 * np.sin(t / 9.0),
        "walk": np.cumsum(rng.normal(0, 1, n)),
        "level": np.full(n, 1e-9),
        "steps": rng.choice([0.0, 2.5, 5.0], n),
        "ramp": np.linspace(0.0, 5.0, n),
    }
    return made[shape]


@given(
    shapes=st.lists(st.sampled_from(SHAPES), min_size=1, max_size=3),
    n=st.sampled_from([2, 7, 8, 9, 50, 700]),
    said=st.sampled_from(["", *SIGNALS]),
    action=st.sampled_from(["", "sweep", "snap throttle"]),
    kind=st.sampled_from(["unknown", "air-mass", "oxygen", "position"]),
    is_even=st.booleans(),
    seed=st.integers(0, 999),
)
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_capture_is_studied(
    tmp_path: Path,
    shapes: list[str],
    n: int,
    said: str,
    action: str,
    kind: str,
    is_even: bool,
    seed: int,
) -> None:
    steps = np.random.default_rng(seed).uniform(1e-4, 1e-2, n)
    times = None if is_even else np.cumsum(steps)
    units = ("V", "V", "A")
    channels = tuple(
        CaptureChannel(f"channel {i}", units[i], signal(shape, n, seed + i))
        for i, shape in enumerate(shapes)
    )
    start = 0.0 if times is None else float(times[0])
    write_parquet(Capture(channels, 1e-3, start, times), tmp_path / "samples")
    kept = KeptSamples(StoredCapture.open(tmp_path / "samples"))
    recorded = [RecordedChannel(each.name, each.unit, signal=said) for each in channels]
    at = Circumstances(rpm=800.0, action=action, n_cylinder=4, connector_kind=kind)
    study = study_capture(recorded, kept, at, error_share=0.03)
    assert len(study.channels) == len(channels)
    for each in study.channels:
        assert all(np.isfinite(limit) and limit > 0 for _, limit in each.readings.values())
        assert all(text for finding in each.findings for text in finding.told)
