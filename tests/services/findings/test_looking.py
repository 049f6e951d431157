"""What captures of stated physics turn out to be."""

from pathlib import Path

import numpy as np
import pytest

from backprobe.services.findings.looking import (
    SIGNALS,
    Circumstances,
    look_at,
    look_at_pair,
)
from backprobe.services.findings.words import Finding
from backprobe.store.recording import RecordedChannel
from scripts import demo_recordings
from tests.services.captured import INTERVAL, hall

STEP = 20e-6
SIGNAL = RecordedChannel("signal", "V")


def only(found: tuple[Finding, ...], kind: str) -> Finding:
    (finding,) = found
    assert finding.kind == kind
    return finding


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    demo_recordings.write_all(folder)
    return folder


def columns(file: Path) -> list[np.ndarray]:
    return list(np.loadtxt(file, delimiter=",", skiprows=1, unpack=True))


def test_a_wheel_of_sixty_less_two_is_told_with_its_speed() -> None:
    # 58 teeth of 60 pitches (a common wheel; common practice), 1200 rpm: 1200 pitches a second.
    pitch = np.arange(12_000) % 60
    edges = np.arange(12_000) / 1200.0
    high = np.zeros(int(10 / STEP) + 100)
    for start, number in zip(edges, pitch, strict=True):
        if number < 58:
            high[round(start / STEP) : round((start + 0.4 / 1200) / STEP)] = 5.0
    finding = only(look_at(high, STEP, 0.0, SIGNAL, Circumstances(rpm=1200.0)), "toothed wheel")
    assert "60 pitches with 58 teeth" in finding.told[0]
    assert "2 missing" in finding.told[0]
    assert "1200 rpm" in finding.told[1]
    assert not finding.doubts


def test_a_frequency_is_told_with_its_duty() -> None:
    at = Circumstances(connector_kind="air-mass")
    finding = only(look_at(hall(), INTERVAL, 0.0, SIGNAL, at), "frequency")
    assert finding.told == ("A frequency of 500 Hz, high for 40 % of the time.",)


def test_a_sound_and_a_fouled_air_mass_sensor_differ_at_the_snap(demo: Path) -> None:
    at = Circumstances(action="snap throttle", connector_kind="air-mass")
    peaks = {}
    for name in ("sound", "fouled"):
        times, volts = columns(demo / f"air-mass-snap-{name}.csv")
        finding = only(look_at(volts, times[1], 0.0, SIGNAL, at), "snap throttle")
        peaks[name] = finding.told[0]
    assert "from 1.81 V at rest to a peak of 3.4" in peaks["sound"]
    assert "to a peak of 2.7" in peaks["fouled"]


def test_a_worn_pedal_track_is_told_where_it_is_worn(demo: Path) -> None:
    times, first, second = columns(demo / "pedal-worn-track.csv")
    at = Circumstances(action="sweep", connector_kind="position")
    finding = only(look_at(first, times[1], 0.0, SIGNAL, at), "sweep")
    assert finding.doubts[0].startswith("Dead spots: at 75 % of the travel")  # worn 0.73 to 0.76
    assert not only(look_at(second, times[1], 0.0, SIGNAL, at), "sweep").doubts
    together = only(look_at_pair(first, second, times[1], 0.0), "two tracks")
    assert "half as much" in together.told[0]


def test_the_weakest_of_four_cylinders_is_named() -> None:
    # Starter current: one hump a compression; the third of four is 30 % lower.
    step, rpm = 1e-3, 210.0
    angle = np.arange(int(6 / step)) * step * rpm / 60 * 360 % 720
    hump = np.array([1.0, 1.0, 0.7, 1.0])[(angle // 180).astype(int)]
    amps = 120 + 60 * hump * np.sin(np.pi * (angle % 180) / 180) ** 2
    amps += np.random.default_rng(2).normal(0, 1.0, amps.size)
    at = Circumstances(key="crank", n_cylinder=4)
    finding = only(look_at(amps, step, 0.0, RecordedChannel("clamp", "A"), at), "cranking")
    assert "210 rpm" in finding.told[0]
    assert len(finding.doubts) == 1


def test_ripple_on_a_supply_is_told_in_millivolts() -> None:
    step = 1e-4
    t = np.arange(20_000) * step
    volts = 14.1 + 0.03 * np.sin(2 * np.pi * 400 * t)
    finding = only(look_at(volts, step, 0.0, SIGNAL, Circumstances(rpm=2000.0)), "supply")
    assert "14.10 V with 21.2 mV AC" in finding.told[0]  # 30 mV over root 2


def test_a_level_that_does_not_move_is_nothing() -> None:
    flat = np.random.default_rng(1).normal(2.5, 0.01, 5000)
    assert look_at(flat, 1e-3, 0.0, SIGNAL, Circumstances()) == ()
    assert look_at(np.full(3, 1.0), 1e-3, 0.0, SIGNAL, Circumstances()) == ()


@pytest.mark.parametrize("signal", SIGNALS)
def test_what_it_is_said_to_be_and_is_not_is_said(signal: str) -> None:
    flat = np.random.default_rng(1).normal(0.02, 0.005, 4000)
    at = Circumstances(n_cylinder=4)
    (finding,) = look_at(flat, 1e-3, 0.0, RecordedChannel("x", "V", signal=signal), at)
    assert finding.kind == signal
    assert finding.doubts or signal == "oxygen cell"


def test_a_delay_between_two_channels_is_told() -> None:
    rng = np.random.default_rng(4)
    x = np.cumsum(rng.normal(0, 1, 4000))
    x -= np.linspace(x[0], x[-1], x.size)
    first, second = x[100:], x[88:-12]
    finding = only(look_at_pair(first, second, 1e-3, 0.0), "two channels")
    assert "12 ms after the first" in finding.told[0]
