"""What one sample means and how far samples are apart, as people write it."""

import pytest

from backprobe.errors import BackprobeError, ValueOutOfRange
from backprobe.recordings.reading import ReadOptions
from backprobe.services.told_of_samples import ToldOfSamples


@pytest.mark.parametrize(
    ("volts", "interval", "read"),
    [
        ("", " ", ReadOptions()),
        ("5 V", "2 us", ReadOptions(volts_at_full_scale=5.0, interval=2e-6)),
        ("2,5", "0,5 ms", ReadOptions(volts_at_full_scale=2.5, interval=5e-4)),
        ("500 mV", "1 s", ReadOptions(volts_at_full_scale=0.5, interval=1.0)),
        ("1 V", "100 ns", ReadOptions(volts_at_full_scale=1.0, interval=1e-7)),
    ],
)
def test_it_is_read_as_people_write_it(volts: str, interval: str, read: ReadOptions) -> None:
    found = ToldOfSamples(volts, interval).options()
    assert found.volts_at_full_scale == read.volts_at_full_scale
    # A product of two floats.
    assert found.interval == (
        None if read.interval is None else pytest.approx(read.interval, rel=1e-12)
    )


def test_what_is_no_time_is_refused() -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        ToldOfSamples(interval="soon").options()
    assert str(caught.value) == (
        '"soon" is no time between samples. Write it like "2 us" or "0.5 ms".'
    )


@pytest.mark.parametrize("volts", ["much", "5 A", "0 V", "-5 V", "OL"])
def test_what_is_no_voltage_is_refused(volts: str) -> None:
    with pytest.raises(BackprobeError):
        ToldOfSamples(volts).options()
