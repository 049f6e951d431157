"""A capture in a file of this computer: opened, measured, drawn, written in another format."""

from __future__ import annotations

import math
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Final

from backprobe.errors import NotFoundError, UsageError
from backprobe.recordings.delimited_guess import guess_mapping
from backprobe.recordings.delimited_mapping import from_toml, to_toml
from backprobe.recordings.mdf import write_mdf
from backprobe.recordings.reading import ReadOptions
from backprobe.recordings.stored import StoredCapture
from backprobe.recordings.stored_writer import store_capture
from backprobe.services.capture_study import CaptureStudy, study_capture
from backprobe.services.findings.looking import SIGNALS, Circumstances
from backprobe.services.findings.words import seconds
from backprobe.services.kept_samples import KeptSamples
from backprobe.services.pictures.traces_picture import BINS, Trace, traces_svg
from backprobe.services.recording_book import RecordingBook, checked_error
from backprobe.services.recording_export import require_not_too_long
from backprobe.services.recording_intake import Placing, keep_file
from backprobe.services.told_of_samples import ToldOfSamples
from backprobe.store.record import JobRecord
from backprobe.store.recording import CAPTURE, RecordedChannel

CRANK: Final = "crank"


@dataclass(frozen=True, slots=True)
class CaptureWishes:
    """What is told of a file beside it.

    interval, full_scale : as people write them: "2 us", "5 V"; empty where the file tells.
    signals : "2=toothed wheel": number of a channel and what it is.
    during : "snap throttle", "sweep", "crank" or nothing.
    start, end : first and last instant that is looked at, s.
    """

    mapping: Path | None = None
    interval: str = ""
    full_scale: str = ""
    signals: tuple[str, ...] = ()
    during: str = ""
    rpm: float = 0.0
    cylinders: int | None = None
    start: float | None = None
    end: float | None = None
    error_share: float = 0.03

    def options(self) -> ReadOptions:
        """What the reader is told."""
        text = "" if self.mapping is None else self.mapping.read_text(encoding="utf-8")
        return self.told.options(from_toml(text, str(self.mapping)) if text else None)

    @property
    def told(self) -> ToldOfSamples:
        """What the file doesn't say of its samples."""
        return ToldOfSamples(self.full_scale, self.interval)


class OpenedCapture:
    """A capture that was brought into a form of which any part is at hand."""

    def __init__(self, file: Path, wishes: CaptureWishes, path: Path) -> None:
        stored = StoredCapture.open(path)
        self.file = file
        self.path = path
        self.wishes = wishes
        self.kept = KeptSamples(stored)
        self.channels = _channels(stored, wishes.signals)

    @property
    def summary(self) -> str:
        """Length, samples and channels in one sentence."""
        stored = self.kept.stored
        return (
            f"{seconds(self.kept.end - stored.start)}, {stored.n_sample} samples, one every"
            f" {seconds(stored.interval)}, {len(stored.names)} channels."
        )

    @property
    def span(self) -> tuple[float, float]:
        """First and last instant that is looked at, s."""
        start = self.kept.stored.start if self.wishes.start is None else self.wishes.start
        end = self.kept.end if self.wishes.end is None else self.wishes.end
        start, end = max(start, self.kept.stored.start), min(end, self.kept.end)
        if not start < end:
            raise UsageError(
                f"From {start:g} s to {end:g} s there is nothing.",
                where=self.file.name,
                remedy=f"It goes from {self.kept.stored.start:g} s to {self.kept.end:g} s.",
            )
        return start, end

    @cached_property
    def study(self) -> CaptureStudy:
        """What each channel is, and what was measured on it."""
        wishes = self.wishes
        at = Circumstances(
            rpm=wishes.rpm,
            key=CRANK if wishes.during == CRANK else "",
            action="" if wishes.during == CRANK else wishes.during,
            n_cylinder=wishes.cylinders,
        )
        return study_capture(
            self.channels,
            self.kept,
            at,
            error_share=checked_error(wishes.error_share),
            span=self.span,
        )

    def told(self) -> dict[str, Any]:
        """All of it for programs: plain units, names that stay."""
        study = self.study
        stored = self.kept.stored
        return {
            "format": 1,
            "file": self.file.name,
            "start": stored.start,
            "interval": stored.interval,
            "samples": stored.n_sample,
            "remarks": list(stored.remarks),
            "channels": [
                {
                    "name": each.channel.name,
                    "unit": each.channel.unit,
                    "signals": [f.kind for f in each.findings if f.is_it and f.told],
                    "findings": [text for f in each.findings for text in f.told],
                    "doubts": [text for f in each.findings for text in f.doubts],
                    "measured": [
                        {
                            "quantity": row.key,
                            "name": row.name,
                            "value": _number(row.number),
                            "standard_uncertainty": _number(row.deviation),
                            "shown": row.value,
                            "shown_uncertainty": row.uncertainty,
                        }
                        for row in each.rows
                    ],
                    "readings": {
                        key: {"value": value, "limits": limit}
                        for key, (value, limit) in each.readings.items()
                    },
                }
                for each in study.channels
            ],
            "together": {
                "channels": [name for name in study.pair_names if name],
                "findings": [text for f in study.pair for text in f.told],
                "doubts": [text for f in study.pair for text in f.doubts],
            },
        }

    def picture(self) -> str:
        """The span as an SVG drawing."""
        drawn = self.kept.drawing(*self.span, BINS)
        traces = [
            Trace(c.name, c.unit, low, high, number)
            for number, (c, low, high) in enumerate(
                zip(self.channels, drawn.lowest, drawn.highest, strict=True)
            )
        ]
        return traces_svg(drawn, traces, title=f"{self.file.name}: samples over time")

    def mapping_text(self) -> str:
        """How the columns of a text are read, to be corrected."""
        mapping = self.wishes.options().mapping
        return to_toml(mapping if mapping is not None else guess_mapping(self.file).mapping)

    def write(self, target: Path) -> None:
        """Write it in another format, told by the ending.

        Raises
        ------
        UsageError
            It is another ending.
        """
        ending = target.suffix.lower()
        if ending == ".parquet":
            shutil.copyfile(self.path, target)  # it is one already, however large
        elif ending == ".mf4":
            require_not_too_long(self.kept.n_sample * len(self.channels))
            write_mdf(self.kept.stored.part(0), target)
        else:
            raise UsageError(
                f'"{target.name}" has no ending that is known.',
                remedy="Let it end with .parquet or .mf4.",
            )


@contextmanager
def opened_capture(
    file: Path, wishes: CaptureWishes, progress: Callable[[float], None] | None = None
) -> Iterator[OpenedCapture]:
    """Open a capture of any size; memory doesn't grow with its length.

    Raises
    ------
    RecordingError
        The file can't be read.
    """
    with tempfile.TemporaryDirectory(prefix="backprobe-capture-") as folder:
        made = Path(folder) / "samples"
        store_capture(file, made, wishes.options(), progress)
        yield OpenedCapture(file, wishes, made)


def keep_with_job(
    book: RecordingBook,
    job: JobRecord,
    file: Path,
    wishes: CaptureWishes,
    round_name: str,
    terminals: tuple[str, ...],
) -> str:
    """Keep a file of this computer with a job; returns the key of the recording.

    Raises
    ------
    NotFoundError
        The job has no such round.
    """
    round_key = ""
    if round_name:
        found = [r.key for s in job.sheets for r in s.rounds if r.round.name == round_name]
        if len(found) != 1:
            raise NotFoundError(
                f'The job has {len(found) or "no"} rounds "{round_name}".',
                remedy="Look at the names of its rounds, or place it on its page.",
            )
        round_key = found[0]
    mapping = wishes.options().mapping
    placing = Placing(
        kind=CAPTURE,
        mapping="" if mapping is None else to_toml(mapping),
        round_key=round_key,
        places=_places(terminals),
        error_share=checked_error(wishes.error_share),
    )
    return keep_file(book, file, job.key, placing, device="a command")


def _places(terminals: tuple[str, ...]) -> tuple[str, ...]:
    """Terminals in the order of the channels: "1=3", or just "3"."""
    placed: dict[int, str] = {}
    for position, written in enumerate(terminals, start=1):
        number, sign, pin = written.partition("=")
        placed[int(number) if sign and number.isdecimal() else position] = pin if sign else number
    return tuple(placed.get(i, "") for i in range(1, max(placed, default=0) + 1))


def _channels(stored: StoredCapture, signals: tuple[str, ...]) -> tuple[RecordedChannel, ...]:
    said: dict[int, str] = {}
    for written in signals:
        number, sign, kind = written.partition("=")
        if not sign or not number.isdecimal() or kind.strip() not in SIGNALS:
            raise UsageError(
                f'"{written[:60]}" names no channel and signal.',
                remedy=f'Write "1=toothed wheel"; known are {", ".join(SIGNALS)}.',
            )
        said[int(number)] = kind.strip()
    return tuple(
        RecordedChannel(name, unit, signal=said.get(number, ""))
        for number, (name, unit) in enumerate(zip(stored.names, stored.units, strict=True), start=1)
    )


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
