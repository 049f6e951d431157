"""From a file that was sent to a recording of a job: looked at first, then taken in."""

from __future__ import annotations

import math
import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from backprobe.errors import BackprobeError, RecordingError
from backprobe.recordings.delimited_guess import guess_mapping, preview_mapping
from backprobe.recordings.delimited_mapping import MappedColumn
from backprobe.recordings.delimited_mapping import from_toml as mapping_from_toml
from backprobe.recordings.delimited_mapping import to_toml as mapping_to_toml
from backprobe.recordings.log_mapping import LogMapping
from backprobe.recordings.log_mapping import mapping_from_toml as log_mapping_from_toml
from backprobe.recordings.log_mapping import mapping_to_toml as log_mapping_to_toml
from backprobe.recordings.log_names import match_name
from backprobe.recordings.log_reading import mapping_of, read_log
from backprobe.recordings.reading import ARRAYS, ReadOptions, kind_of, open_source
from backprobe.recordings.stored import StoredCapture
from backprobe.recordings.stored_writer import extremes_path, store_capture, write_parquet
from backprobe.services.findings.words import seconds
from backprobe.services.incoming import Incoming, give_up
from backprobe.services.kept_log import capture_of
from backprobe.services.recording_book import RecordingBook
from backprobe.services.told_of_samples import ToldOfSamples
from backprobe.store import files
from backprobe.store.recording import CAPTURE, LOG, NewRecording, RecordedChannel

_ROWS: Final = 8  # shown of the samples
_HEAD: Final = 4000  # characters shown of a text
_LOG_UNITS: Final = frozenset(("degC", "g/s", "kPa", "rpm", "1/min", "%", "km/h"))


@dataclass(frozen=True, slots=True)
class Preview:
    """A file as it would be read.

    refused : why it can't be; empty where it can.
    kind : "capture" or "log", as it looks.
    head : the first lines of a text.
    columns, rows : the first samples as they would be read.
    mapping : how the columns are read, as TOML; empty where the file tells it itself.
    lacks : what it has to be told: the volts of "full scale" or of "one"; empty where nothing.
    """

    kind: str
    refused: str = ""
    summary: str = ""
    remarks: tuple[str, ...] = ()
    head: str = ""
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    mapping: str = ""
    channels: tuple[str, ...] = ()
    lacks: str = ""


@dataclass(frozen=True, slots=True)
class Placing:
    """What is said of a file when it is kept."""

    kind: str
    mapping: str = ""
    round_key: str = ""
    places: tuple[str, ...] = ()
    caption: str = ""
    error_share: float = 0.03
    told: ToldOfSamples = field(default_factory=ToldOfSamples)


def preview(
    there: Incoming, mapping_text: str = "", kind: str = "", told: ToldOfSamples | None = None
) -> Preview:
    """Read the beginning of a file, under a corrected mapping where one is given.

    Parameters
    ----------
    kind : str
        "capture" or "log" as somebody says; empty: as it looks.
    told : ToldOfSamples or None
        What was said of the samples of a file that doesn't tell it.
    """
    told = told or ToldOfSamples()
    seen = Preview(LOG) if kind == LOG else _preview_capture(there, mapping_text, told)
    if seen.kind == LOG and kind != CAPTURE:
        return _preview_log(there, mapping_text if kind == LOG else "", seen)
    return seen


def _preview_log(there: Incoming, mapping_text: str, seen: Preview) -> Preview:
    """Which quantity each value of a log is taken for."""
    head = seen.head or (_first_lines(there.path) if _is_text(there.path) else "")
    text = mapping_text
    try:
        mapping = _log_mapping(mapping_text) or mapping_of(there.path)
        text = log_mapping_to_toml(mapping)
        log = read_log(there.path, mapping)
    except BackprobeError as error:
        told = f"{error.what} {error.remedy}".strip()
        return Preview(LOG, refused=told, head=head, mapping=text)
    channels = tuple(f"{one.name}: {one.quantity or 'not known'}" for one in log.series)
    known = sum(1 for one in log.series if one.quantity)
    return Preview(
        LOG,
        summary=f"{len(log.series)} values over time, {known} of them of a known quantity.",
        remarks=log.remarks,
        head=head,
        columns=("value", "taken for", "unit", "first values"),
        rows=tuple(
            (one.name, one.quantity or "?", one.unit, ", ".join(f"{v:.6g}" for v in one.values[:4]))
            for one in log.series
        ),
        mapping=text,
        channels=channels,
    )


def _log_mapping(text: str) -> LogMapping | None:
    return log_mapping_from_toml(text) if text.strip() else None


def _preview_capture(there: Incoming, mapping_text: str, said: ToldOfSamples) -> Preview:
    text, lacks, found, head = "", "", None, ""
    assumed: tuple[str, ...] = ()
    try:
        if _is_text(there.path):
            head = _first_lines(there.path)
            if mapping_text:
                mapping = mapping_from_toml(mapping_text)
            else:
                guess = guess_mapping(there.path)
                mapping, assumed = guess.mapping, guess.remarks
            text = mapping_to_toml(mapping)
            found = preview_mapping(there.path, mapping)
            options = ReadOptions(mapping)
        else:
            lacks = _lacking(there.path)
            options = said.options()
        source, remarks = open_source(there.path, options)
    except BackprobeError as error:
        told = f"{error.what} {error.remedy}".strip()
        return Preview(CAPTURE, refused=told, head=head, mapping=text or mapping_text, lacks=lacks)
    units = [channel.unit for channel in source.channels]
    channels = tuple(
        f"{channel.name} ({channel.unit})" if channel.unit else channel.name
        for channel in source.channels
    )
    kind = LOG if _looks_like_log(units, [c.name for c in source.channels]) else CAPTURE
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    if found is not None:
        columns = tuple(c.name or f"column {n}" for n, c in enumerate(_columns_of(text), start=1))
        rows = tuple(
            tuple("" if math.isnan(cell) else f"{cell:.7g}" for cell in row)
            for row in found.numbers[:_ROWS]
        )
    return Preview(
        kind=kind,
        summary=_summary(source.interval, channels),
        remarks=(*assumed, *remarks),
        head=head,
        columns=columns,
        rows=rows,
        mapping=text,
        channels=channels,
        lacks=lacks,
    )


def take_in(
    book: RecordingBook,
    there: Incoming,
    placing: Placing,
    *,
    device: str = "",
) -> str:
    """Keep a file with its job; the same file sent twice under one key is kept once.

    Raises
    ------
    RecordingError
        It isn't whole yet, or can't be read.
    ValueOutOfRange
        A terminal isn't there, or the job is closed.
    """
    if not there.is_whole:
        raise RecordingError(
            f"Only {there.there} of {there.size} bytes are here.", remedy="Send the rest first."
        )

    def tell(share: float) -> None:
        book.taking_in[there.key] = share

    try:
        key = keep_file(
            book,
            there.path,
            there.job,
            placing,
            name=there.name,
            key=there.key[:16],
            device=device,
            progress=tell,
        )
    finally:
        book.taking_in.pop(there.key, None)
    give_up(book.store, there.key)
    return key


def keep_file(
    book: RecordingBook,
    path: Path,
    job_key: str,
    placing: Placing,
    *,
    name: str = "",
    key: str = "",
    device: str = "",
    progress: Callable[[float], None] | None = None,
) -> str:
    """Keep a capture or log that lies on this computer; returns the key of the recording."""
    folder = book.store.files
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder, prefix="taking-in-") as workplace:
        made = Path(workplace) / "samples"
        if placing.kind == LOG:
            log = read_log(path, _log_mapping(placing.mapping))
            write_parquet(capture_of(log), made)
            quantities = tuple(one.quantity for one in log.series)
        else:
            mapping = mapping_from_toml(placing.mapping) if placing.mapping else None
            store_capture(path, made, placing.told.options(mapping), progress)
            quantities = ()
        stored = StoredCapture.open(made)
        sha256 = files.hash_of(made)
        told = _told(stored, path, placing, (name or path.name, sha256), quantities)
        kept = files.path_of(folder, sha256)
        kept.parent.mkdir(parents=True, exist_ok=True)
        for file in (made, extremes_path(made)):
            with file.open("rb+") as opened:
                os.fsync(opened.fileno())
        extremes_path(made).replace(extremes_path(kept))
        made.replace(kept)
        files.make_names_durable(kept.parent)
    return book.add(job_key, told, round_key=placing.round_key, key=key, device=device)


def _told(
    stored: StoredCapture,
    path: Path,
    placing: Placing,
    named: tuple[str, str],
    quantities: tuple[str, ...],
) -> NewRecording:
    name, sha256 = named
    none = ("",) * len(stored.names)
    places = (*((*placing.places, *none) if placing.kind != LOG else none),)
    channels = tuple(
        RecordedChannel(each, unit, quantity=quantity, place=place)
        for each, unit, quantity, place in zip(
            stored.names, stored.units, quantities or none, places, strict=False
        )
    )
    return NewRecording(
        kind=placing.kind if placing.kind == LOG else CAPTURE,
        name=name,
        source_sha256=files.hash_of(path),
        source_bytes=path.stat().st_size,
        samples_sha256=sha256,
        mapping=placing.mapping,
        remarks=stored.remarks,
        n_sample=stored.n_sample,
        start=stored.start,
        interval=stored.interval,
        error_share=placing.error_share,
        channels=channels,
        caption=placing.caption,
    )


def _looks_like_log(units: list[str], names: list[str]) -> bool:
    """Whether values of a control unit rather than voltages at wires."""
    known = sum(
        1 for name, unit in zip(names, units, strict=True) if match_name(name, unit).quantity
    )
    return known >= 2 or any(unit in _LOG_UNITS for unit in units)


def _columns_of(text: str) -> tuple[MappedColumn, ...]:
    return mapping_from_toml(text).columns


def _summary(interval: float | None, channels: tuple[str, ...]) -> str:
    pace = "" if interval is None else f", one sample every {seconds(interval)}"
    return (
        f"{len(channels)} channel{'' if len(channels) == 1 else 's'}: {', '.join(channels)}{pace}."
    )


def _is_text(path: Path) -> bool:
    with path.open("rb") as file:
        return kind_of(file.read(_HEAD), path) == "text"


def _lacking(path: Path) -> str:
    with path.open("rb") as file:
        kind = kind_of(file.read(_HEAD), path)
    return "full scale" if kind == "wav" else "one" if kind in ARRAYS else ""


def _first_lines(path: Path) -> str:
    with path.open("rb") as file:
        text = file.read(_HEAD).decode("utf-8", errors="replace")
    return "".join(sign if sign.isprintable() or sign in "\n\t" else "·" for sign in text)
