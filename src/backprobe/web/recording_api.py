"""Captures and logs for programs and for the page that draws them."""

from __future__ import annotations

import math
from typing import Annotated

import numpy as np
from fastapi import APIRouter, Body, Query
from numpy.typing import NDArray
from pydantic import BaseModel, Field

from backprobe.errors import ValueOutOfRange
from backprobe.services import incoming
from backprobe.services.recording_book import RecordingBook
from backprobe.store.recording import Recording
from backprobe.web.api_given import Strict
from backprobe.web.recordings_at_hand import RecordingsAtHand
from backprobe.web.visitor import AnyVisitor

router = APIRouter(prefix="/api", tags=["recordings"])

FARTHEST = 1e12  # s; thirty thousand years, and far from where sums of two instants overflow
Instant = Annotated[float, Query(ge=-FARTHEST, le=FARTHEST)]
LARGEST_PIECE = 8 << 20


class FileGiven(Strict):
    """A file that is going to be sent."""

    name: Annotated[str, Field(max_length=200)]
    size: int


class FileTold(BaseModel):
    """How much of a file is there."""

    key: str
    name: str
    size: int
    there: int
    taken_in: float | None = None  # share, while it is being taken in


class ChannelTold(BaseModel):
    """A channel, and where it was taken."""

    name: str
    unit: str
    quantity: str
    place: str
    signal: str


class MarkTold(BaseModel):
    """A remark at an instant or over a span."""

    number: int
    start: float
    end: float
    text: str


class RecordingTold(BaseModel):
    """A capture or log as it is kept."""

    key: str
    job: str
    kind: str
    name: str
    caption: str
    round: str
    start: float
    end: float
    interval: float
    samples: int
    channels: list[ChannelTold]
    marks: list[MarkTold]
    remarks: list[str]
    void: str

    @classmethod
    def of(cls, found: Recording) -> RecordingTold:
        """Tell a recording."""
        told = found.told
        return cls(
            key=found.key,
            job=found.job,
            kind=told.kind,
            name=told.name,
            caption=told.caption,
            round=found.round,
            start=told.start,
            end=found.end,
            interval=told.interval,
            samples=told.n_sample,
            channels=[
                ChannelTold(
                    name=c.name, unit=c.unit, quantity=c.quantity, place=c.place, signal=c.signal
                )
                for c in told.channels
            ],
            marks=[
                MarkTold(number=m.id, start=m.start, end=m.end, text=m.text) for m in found.marks
            ],
            remarks=list(told.remarks),
            void=found.void,
        )


class DrawnChannel(BaseModel):
    """Lowest and highest sample of each column; none where nothing was recorded."""

    name: str
    unit: str
    lowest: list[float | None]
    highest: list[float | None]


class DrawingTold(BaseModel):
    """What fits on a screen."""

    start: float
    end: float
    times: list[float]
    channels: list[DrawnChannel]


class SamplesOfChannel(BaseModel):
    """The samples of a channel nearest to the instants that were asked for."""

    name: str
    unit: str
    values: list[float | None]


class SamplesTold(BaseModel):
    """Samples at instants."""

    times: list[float]
    channels: list[SamplesOfChannel]


# ------------------------------------------------------------------ a file on its way in
@router.post("/jobs/{key}/incoming", status_code=201)
def begin_file(
    key: str,
    given: FileGiven,
    book: RecordingsAtHand,
    visitor: AnyVisitor,  # noqa: ARG001  # whoever is not let in sends nothing
) -> FileTold:
    """Make room for a file that comes in pieces."""
    book.of_job(key)  # there is such a job
    return _told(incoming.begin(book.store, key, given.name, given.size))


@router.put("/incoming/{key}")
def append_piece(
    key: str,
    book: RecordingsAtHand,
    offset: Annotated[int, Query(ge=0, le=incoming.LARGEST)],
    piece: Annotated[bytes, Body(media_type="application/octet-stream", max_length=LARGEST_PIECE)],
) -> FileTold:
    """Put a piece behind what is there."""
    return _told(incoming.append(book.store, key, offset, piece))


@router.get("/incoming/{key}")
def show_file_in(key: str, book: RecordingsAtHand) -> FileTold:
    """How much of a file is there, and how much of it is taken in where that is being done."""
    told = _told(incoming.found(book.store, key))
    return told.model_copy(update={"taken_in": book.taking_in.get(key)})


def _told(there: incoming.Incoming) -> FileTold:
    return FileTold(key=there.key, name=there.name, size=there.size, there=there.there)


# ------------------------------------------------------------------ recordings
@router.get("/jobs/{key}/recordings")
def list_recordings(key: str, book: RecordingsAtHand) -> list[RecordingTold]:
    """All captures and logs of a job."""
    return [RecordingTold.of(each) for each in book.of_job(key)]


@router.get("/recordings/{key}")
def show_recording(key: str, book: RecordingsAtHand) -> RecordingTold:
    """One capture or log."""
    return RecordingTold.of(book.recording(key))


@router.get("/recordings/{key}/drawing")
def draw_recording(
    key: str,
    book: RecordingsAtHand,
    start: Instant,
    end: Instant,
    bins: Annotated[int, Query(ge=16, le=4000)] = 1000,
) -> DrawingTold:
    """Lowest and highest samples of so many columns over a span."""
    if not start < end:
        raise ValueOutOfRange("The span is empty.", remedy="Let the end come after the start.")
    found = book.recording(key)
    drawn = book.samples(found).drawing(start, end, bins)
    return DrawingTold(
        start=drawn.start,
        end=drawn.end,
        times=drawn.times.tolist(),
        channels=[
            DrawnChannel(name=c.name, unit=c.unit, lowest=_plain(low), highest=_plain(high))
            for c, low, high in zip(found.told.channels, drawn.lowest, drawn.highest, strict=True)
        ],
    )


@router.get("/recordings/{key}/samples")
def samples_at(
    key: str,
    book: RecordingsAtHand,
    time: Annotated[list[Annotated[float, Field(ge=-FARTHEST, le=FARTHEST)]], Query(max_length=16)],
) -> SamplesTold:
    """The samples nearest to some instants."""
    return _samples(book, key, time)


def _samples(book: RecordingBook, key: str, times: list[float]) -> SamplesTold:
    found = book.recording(key)
    kept = book.samples(found)
    at = [[kept.at(i, each) for each in times] for i in range(len(found.told.channels))]
    return SamplesTold(
        times=[each[0] for each in at[0]] if at else [],
        channels=[
            SamplesOfChannel(
                name=c.name, unit=c.unit, values=_plain(np.array([each[1] for each in row]))
            )
            for c, row in zip(found.told.channels, at, strict=True)
        ],
    )


def _plain(values: NDArray[np.floating]) -> list[float | None]:
    """Numbers as JSON knows them: nothing for what isn't one."""
    return [float(f"{v:.7g}") if math.isfinite(v) else None for v in values.tolist()]
