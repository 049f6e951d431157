"""What somebody says of samples because the file doesn't: what one means, how far apart."""

from __future__ import annotations

from dataclasses import dataclass

from backprobe.errors import ValueOutOfRange
from backprobe.quantities import parse_quantity
from backprobe.recordings.delimited_mapping import ColumnMapping
from backprobe.recordings.reading import ReadOptions

_TIMES = (("us", 1e-6), ("ms", 1e-3), ("ns", 1e-9), ("s", 1.0))


@dataclass(frozen=True, slots=True)
class ToldOfSamples:
    """As people write it; empty where the file tells it itself.

    volts : what full scale of a WAV file, or one in an array, means: "5 V".
    interval : time between two samples: "2 us".
    """

    volts: str = ""
    interval: str = ""

    def options(self, mapping: ColumnMapping | None = None) -> ReadOptions:
        """What the reader is told.

        Raises
        ------
        BackprobeError
            It is no voltage, or no time.
        """
        return ReadOptions(
            mapping=mapping,
            interval=_duration(self.interval) if self.interval.strip() else None,
            volts_at_full_scale=(
                parse_quantity(self.volts, "volt").value if self.volts.strip() else None
            ),
        )


def _duration(written: str) -> float:
    """A time between two samples, s: "2 us", "0.5 ms", "1 s"."""
    text = written.strip().replace(",", ".").replace("µ", "u").replace("μ", "u")
    for unit, factor in _TIMES:
        number = text.removesuffix(unit).strip()
        if text.endswith(unit):
            try:
                return float(number) * factor
            except ValueError:
                break
    raise ValueOutOfRange(
        f'"{written[:30]}" is no time between samples.', remedy='Write it like "2 us" or "0.5 ms".'
    )
