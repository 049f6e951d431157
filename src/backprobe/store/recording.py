"""A capture or a log as the store gives it back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

CAPTURE: Final = "capture"
LOG: Final = "log"


@dataclass(frozen=True, slots=True)
class RecordedChannel:
    """A channel of a capture, or a value of a log.

    quantity : of a log's value, what the control unit reports by it; empty where unknown.
    place : terminal of the round's connector; empty where it belongs to none.
    signal : what its owner says that it is; empty where the program looks for itself.
    """

    name: str
    unit: str
    quantity: str = ""
    place: str = ""
    signal: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A remark at an instant or over a span, s."""

    id: int
    start: float
    end: float
    text: str
    device: str


@dataclass(frozen=True, slots=True)
class NewRecording:
    """A recording before it has a key.

    start, interval : s; of uneven times the first instant and the mean interval.
    error_share : limits of the instrument's error as a share of the highest value.
    """

    kind: str
    name: str
    source_sha256: str
    source_bytes: int
    samples_sha256: str
    mapping: str
    remarks: tuple[str, ...]
    n_sample: int
    start: float
    interval: float
    error_share: float
    channels: tuple[RecordedChannel, ...]
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Recording:
    """A capture or log as it is kept.

    job, sheet, round : keys; sheet and round are empty where it belongs to no round.
    void : why it doesn't count; empty where it does.
    """

    key: str
    job: str
    sheet: str
    round: str
    round_name: str
    told: NewRecording
    void: str
    added_at: datetime
    device: str
    marks: tuple[Mark, ...] = ()

    @property
    def end(self) -> float:
        """Instant of the last sample, s."""
        return self.told.start + max(self.told.n_sample - 1, 0) * self.told.interval
