"""The way in: from a file, whatever kind it is, to a capture. The content tells the kind."""

import math
import re
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from backprobe.errors import RecordingError
from backprobe.recordings.capture import Capture
from backprobe.recordings.delimited import DelimitedSource
from backprobe.recordings.delimited_guess import guess_mapping
from backprobe.recordings.delimited_mapping import ColumnMapping
from backprobe.recordings.gather import gather
from backprobe.recordings.in_volts import InVolts
from backprobe.recordings.mdf import MdfSource
from backprobe.recordings.numpy_files import NpySource, NpzSource
from backprobe.recordings.parquet import ParquetSource
from backprobe.recordings.source import Source
from backprobe.recordings.vcd import VcdSource
from backprobe.recordings.wav import WavSource

_HEAD: Final = 4096
_VCD: Final = re.compile(
    rb"\s*\$(?:date|version|comment|timescale|scope|var|attrbegin|enddefinitions)\b"
)


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What a user may tell beyond what the file does.

    Parameters
    ----------
    mapping : ColumnMapping or None
        Columns of a delimited text; None to guess them.
    interval : float or None
        Time from sample to sample, s; goes before what the file tells.
    volts_at_full_scale : float or None
        What full scale of a WAV file means, or one in arrays of NumPy; None leaves the samples of
        a WAV file between -1 and 1, and those of arrays without a unit as they are.
    group : int or None
        Number of the group of an MDF file, counted from one; None for the largest.
    """

    mapping: ColumnMapping | None = None
    interval: float | None = None
    volts_at_full_scale: float | None = None
    group: int | None = None

    def __post_init__(self) -> None:
        for name, value in (
            ("interval", self.interval),
            ("volts_at_full_scale", self.volts_at_full_scale),
        ):
            if value is not None and not 0.0 < value < math.inf:
                raise RecordingError(
                    f"{name} can't be {value:g}.",
                    where="reading a recording",
                    remedy="Give a number above zero, in seconds or volts.",
                )


ARRAYS: Final = ("npy", "npz")


def read_capture(
    path: Path,
    mapping: ColumnMapping | None = None,
    *,
    interval: float | None = None,
    volts_at_full_scale: float | None = None,
    group: int | None = None,
) -> Capture:
    """Read a recording as a whole: delimited text, WAV, NumPy, Parquet, MDF 4 or VCD.

    Parameters
    ----------
    path : Path
        The file.
    mapping : ColumnMapping or None
        Columns of a delimited text; None to guess them.
    interval : float or None
        Time from sample to sample, s; goes before what the file tells.
    volts_at_full_scale : float or None
        What full scale of a WAV file means, or one in arrays of NumPy; None leaves the samples of
        a WAV file between -1 and 1, and those of arrays without a unit as they are.
    group : int or None
        Number of the group of an MDF file, counted from one; None for the largest.

    Returns
    -------
    Capture
        With remarks on what was assumed or left out.

    Raises
    ------
    RecordingError
        The file can't be read, or needs more to be told.
    """
    options = ReadOptions(mapping, interval, volts_at_full_scale, group)
    source, remarks = open_source(path, options)
    with_interval = f"The interval of {interval:g} s was given by hand." if interval else ""
    return gather(source, path, (*remarks, *((with_interval,) if with_interval else ())))


def open_source(path: Path, options: ReadOptions) -> tuple[Source, tuple[str, ...]]:
    """Open a recording for reading in blocks; with it come remarks on what was assumed.

    Raises
    ------
    RecordingError
        The file can't be read, or needs more to be told.
    """
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD)
        kind = kind_of(head, path)
        _require_fitting(kind, options, path)
        source, remarks = _OPENERS[kind](path, options)
        return source, (*remarks, *_said_by_hand(kind, options))
    except OSError as error:
        raise RecordingError(
            f"The file can't be read: {error.strerror}.",
            where=path.name,
            remedy="Look whether it's there and may be read.",
        ) from error


def _said_by_hand(kind: str, options: ReadOptions) -> tuple[str, ...]:
    """Belongs to the record: the file itself doesn't tell it."""
    if options.volts_at_full_scale is None:
        return ()
    what = "Full scale" if kind == "wav" else "One in the file"
    return (f"{what} was given by hand as {options.volts_at_full_scale:g} V.",)


def _require_fitting(kind: str, options: ReadOptions, path: Path) -> None:
    """Refuse what was told of a file of another kind."""
    told = {
        "A description of columns": (options.mapping, ("text",), "a text with columns"),
        "The volts at full scale": (
            options.volts_at_full_scale,
            ("wav", *ARRAYS),
            "a WAV file or arrays of NumPy",
        ),
        "A group": (options.group, ("mdf",), "an MDF file"),
    }
    for what, (value, fitting, noun) in told.items():
        if value is not None and kind not in fitting:
            raise RecordingError(
                f"{what} was given, but this isn't {noun}.",
                where=path.name,
                remedy="Leave it out, or name the right file.",
            )


def kind_of(head: bytes, path: Path) -> str:
    """Tell the kind of a recording from its first bytes: "wav", "npy", "text", ..."""
    if head[:4] in (b"RIFF", b"RF64", b"BW64") and head[8:12] == b"WAVE":
        return "wav"
    if head.startswith(b"\x93NUMPY"):
        return "npy"
    if head.startswith((b"MDF     ", b"UnFinMF ")):
        return "mdf"
    if head.startswith(b"PAR1"):
        return "parquet"
    if head.startswith(b"PK\x03\x04"):
        return "npz" if _holds_arrays(path) else "unknown archive"
    return "vcd" if _VCD.match(head) else "text"


def _holds_arrays(path: Path) -> bool:
    """Tell an archive of arrays from others; a damaged one is left to its reader to refuse."""
    try:
        with zipfile.ZipFile(path) as archive:
            return any(name.endswith(".npy") for name in archive.namelist())
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return True


def _in_volts(source: Source, options: ReadOptions) -> Source:
    volts = options.volts_at_full_scale
    return source if volts is None else InVolts(source, volts)


def _delimited(path: Path, options: ReadOptions) -> tuple[Source, tuple[str, ...]]:
    if options.mapping is None:
        guess = guess_mapping(path, options.interval)
        return DelimitedSource(path, guess.mapping), guess.remarks
    mapping = options.mapping
    if options.interval is not None:
        mapping = replace(mapping, time_column=None, interval=options.interval)
    return DelimitedSource(path, mapping), ()


def _vcd(path: Path, options: ReadOptions) -> tuple[Source, tuple[str, ...]]:
    if options.interval is not None:
        raise RecordingError(
            "A value change dump has its own times.",
            where=path.name,
            remedy="Leave the interval out.",
        )
    return VcdSource(path), ()


def _archive(path: Path, options: ReadOptions) -> tuple[Source, tuple[str, ...]]:
    del options
    raise RecordingError(
        "This is an archive or a workbook, not a recording.",
        where=path.name,
        remedy="Unpack it, or save the sheet as text with columns.",
    )


_OPENERS: Final[dict[str, Callable[[Path, ReadOptions], tuple[Source, tuple[str, ...]]]]] = {
    "wav": lambda path, o: (WavSource(path, o.volts_at_full_scale, o.interval), ()),
    "npy": lambda path, o: (_in_volts(NpySource(path, o.interval), o), ()),
    "npz": lambda path, o: (_in_volts(NpzSource(path, o.interval), o), ()),
    "mdf": lambda path, o: (MdfSource(path, o.interval, o.group), ()),
    "parquet": lambda path, o: (ParquetSource(path, o.interval), ()),
    "vcd": _vcd,
    "text": _delimited,
    "unknown archive": _archive,
}
