"""A recording written back in open formats: Apache Parquet and ASAM MDF 4."""

from __future__ import annotations

import tempfile
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from backprobe.errors import ValueOutOfRange
from backprobe.recordings.mdf import write_mdf
from backprobe.services.recording_book import RecordingBook
from backprobe.store.files import path_of
from backprobe.store.recording import Recording

MOST_SAMPLES: Final = 20_000_000  # of all channels that are turned into MDF in memory


def has_mdf() -> bool:
    """Whether the optional library for MDF 4 is installed."""
    return find_spec("asammdf") is not None


def as_parquet(book: RecordingBook, found: Recording) -> Path:
    """The file in which the samples are kept, which is Parquet already."""
    book.samples(found)  # it is there and sound
    return path_of(book.store.files, found.told.samples_sha256)


def require_not_too_long(n_sample: int) -> None:
    """Refuse what would not fit into the memory as MDF.

    Raises
    ------
    ValueOutOfRange
        There are too many samples.
    """
    if n_sample > MOST_SAMPLES:
        raise ValueOutOfRange(
            "This recording is too long for an MDF file made here.", remedy="Take it as Parquet."
        )


def as_mdf(book: RecordingBook, found: Recording) -> bytes:
    """The samples as MDF 4.

    Raises
    ------
    ValueOutOfRange
        It is too long to be turned into one here.
    """
    require_not_too_long(found.told.n_sample * len(found.told.channels))
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "recording.mf4"
        write_mdf(book.samples(found).stored.part(0), file)
        return file.read_bytes()
