"""A delimited text, read under a mapping: samples block by block, and remarks on what was odd."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import RecordingError
from backprobe.recordings.delimited_blocks import LineBlock, clean, line_blocks, line_number
from backprobe.recordings.delimited_cells import SECONDS_A_DAY, Marks, written_step
from backprobe.recordings.delimited_columns import Columns, read_columns
from backprobe.recordings.delimited_mapping import ColumnMapping
from backprobe.recordings.delimited_preamble import read_preamble
from backprobe.recordings.delimited_text import read_head, split_line
from backprobe.recordings.source import Block, ChannelHead

_COMPARED: Final = 50  # lines before the last one that it is compared with
_SHOWN: Final = 40  # characters of a cell in a remark


@dataclass
class _Odd:
    """What was met while reading, to be told at the end."""

    n_row: int = 0
    n_words: dict[int, int] = field(default_factory=dict)
    first_words: dict[int, str] = field(default_factory=dict)
    n_dropped: int = 0
    first_dropped: int = 0
    n_ragged: int = 0
    first_ragged: int = 0
    has_zeros: bool = False
    at_end: str = ""


class DelimitedSource:
    """A text with columns, open for reading.

    Parameters
    ----------
    path : Path
        The file.
    mapping : ColumnMapping
        How it is to be read.

    Raises
    ------
    RecordingError
        There is neither a time column nor an interval, or no channel.
    """

    is_uneven = False

    def __init__(self, path: Path, mapping: ColumnMapping) -> None:
        if mapping.time_column is None and mapping.interval is None:
            raise RecordingError(
                "No column holds the time, and the time between samples isn't told.",
                where=path.name,
                remedy="Give the interval between two samples, or say which column is the time.",
            )
        if not mapping.kept:
            raise RecordingError(
                "No column is left as a channel.",
                where=path.name,
                remedy="Keep at least one column beside the time.",
            )
        self._path = path
        self._mapping = mapping
        columns = [mapping.columns[at - 1] for at in mapping.kept]
        self.channels = tuple(
            ChannelHead(column.name or f"channel {number}", column.unit)
            for number, column in enumerate(columns, start=1)
        )
        self.interval = mapping.interval if mapping.time_column is None else None
        self.start = mapping.start if mapping.time_column is None else 0.0
        self.remarks: list[str] = []
        head = read_head(path, mapping.encoding)
        self.time_resolution = self._resolution(head.lines[mapping.skip_lines :])
        self._n_told = read_preamble(
            [line.removeprefix(mapping.comment) for line in head.lines[: mapping.skip_lines]],
            mapping.separator,
            mapping.decimal,
        ).n_sample

    def blocks(self, *, only_times: bool = False) -> Iterator[Block]:
        """Read from the start; ``only_times`` leaves ``samples`` empty."""
        mapping, odd = self._mapping, _Odd()
        time = mapping.time_column
        kept = () if only_times and time is not None else mapping.kept
        wanted = tuple(sorted({*kept, *(() if time is None else (time,))}))
        clock = _Clock() if mapping.time_format == "clock" else None
        last_lines: list[bytes] = []
        for lines in line_blocks(self._path, mapping):
            odd.has_zeros |= lines.has_zeros
            data = clean(lines.raw, mapping)
            if lines.is_unfinished:
                data = self._without_cut_line(data, last_lines, odd)
            last_lines = data[-100_000:].split(b"\n")[-_COMPARED - 1 : -1]
            if not data:
                continue
            columns = read_columns(data, mapping, wanted)
            rows = self._rows(lines, data, columns, kept, odd)
            odd.n_row += int(rows.sum())
            times = None
            if time is not None:
                seconds = columns.values[time][rows]
                times = clock.follow(seconds) if clock else seconds
                times = times * mapping.columns[time - 1].scale
            samples = tuple(columns.values[at][rows] * mapping.columns[at - 1].scale for at in kept)
            yield Block(samples, times, lines.share)
        self._finish(odd, kept)

    def _resolution(self, lines: Sequence[str]) -> float:
        """Step in which the times are written, s."""
        mapping = self._mapping
        if mapping.time_column is None:
            return 0.0
        marks = Marks(mapping.decimal, mapping.thousands)
        steps = []
        for line in lines[:500]:
            cells = split_line(line, mapping.separator)
            if len(cells) >= mapping.time_column:
                steps.append(written_step(cells[mapping.time_column - 1], marks))
        known = [step for step in steps if step > 0.0]
        return min(known, default=0.0) * mapping.columns[mapping.time_column - 1].scale

    def _rows(
        self, lines: LineBlock, data: bytes, columns: Columns, kept: Sequence[int], odd: _Odd
    ) -> NDArray[np.bool_]:
        """Which rows hold a sample; notes what is odd about the others."""
        mapping = self._mapping
        n_row = next(iter(columns.values.values())).size
        if mapping.time_column is not None:
            used = ~np.isnan(columns.values[mapping.time_column])
        elif columns.words:
            # Words and not a single number: no sample, but a line that somebody wrote.
            has_words = np.logical_or.reduce(list(columns.words.values()))
            has_number = np.logical_or.reduce([~np.isnan(columns.values[at]) for at in kept])
            used = has_number | ~has_words
        else:
            used = np.ones(n_row, dtype=np.bool_)
        dropped = np.flatnonzero(~used)
        if dropped.size and not odd.n_dropped:
            odd.first_dropped = line_number(lines, mapping, int(dropped[0]))
        odd.n_dropped += dropped.size
        for ragged in (columns.short, columns.long):
            at = np.flatnonzero(ragged & used) if ragged is not None else dropped[:0]
            if at.size and not odd.n_ragged:
                odd.first_ragged = line_number(lines, mapping, int(at[0]))
            odd.n_ragged += at.size
        for number in kept:
            if number in columns.words:
                self._note_words(number, columns.words[number] & used, lines, data, odd)
        return used

    def _note_words(
        self, number: int, words: NDArray[np.bool_], lines: LineBlock, data: bytes, odd: _Odd
    ) -> None:
        at = np.flatnonzero(words)
        odd.n_words[number] = odd.n_words.get(number, 0) + at.size
        if at.size and number not in odd.first_words:
            row = int(at[0])
            text = data.split(b"\n", row + 1)[row].decode("utf-8", errors="replace")
            cell = (split_line(text, self._mapping.separator) + [""] * number)[number - 1]
            shown = "".join(c if c.isprintable() else "?" for c in cell)[:_SHOWN]
            odd.first_words[number] = f'"{shown}" in line {line_number(lines, self._mapping, row)}'

    def _without_cut_line(self, data: bytes, before: list[bytes], odd: _Odd) -> bytes:
        """Leave the last line out where it is plainly cut; else say that it may be."""
        whole, _, last = data.removesuffix(b"\n").rpartition(b"\n")
        earlier = [*before, *whole[-100_000:].split(b"\n")][-_COMPARED:]
        earlier = [line for line in earlier if line]
        separator = self._mapping.separator.encode()
        is_short = last.count(separator) < len(self._mapping.columns) - 1
        lengths = [len(line.rpartition(separator)[2]) for line in earlier]
        is_short |= bool(lengths) and len(last.rpartition(separator)[2]) < min(lengths)
        if last and is_short and earlier:
            odd.at_end = "The last line is cut short and left out."
            return whole + b"\n" if whole else b""
        odd.at_end = "The file has no line end at its end; its last value may be cut short."
        return data

    def _finish(self, odd: _Odd, kept: Sequence[int]) -> None:
        """Turn what was odd into remarks, or into an error where it is most of the file."""
        mapping = self._mapping
        if odd.n_row == 0:
            raise RecordingError(
                "There are no rows with numbers in it under this description of the columns.",
                where=self._path.name,
                remedy="Look at separator, decimal mark, skipped lines and time column.",
            )
        remarks = []
        for number in kept:
            n_words = odd.n_words.get(number, 0)
            name = mapping.columns[number - 1].name or f"column {number}"
            if 2 * n_words > odd.n_row:
                raise RecordingError(
                    f"{name} holds words rather than numbers: {odd.first_words[number]}.",
                    where=self._path.name,
                    remedy="Leave this column out (kept = false), or correct the decimal mark.",
                )
            if n_words:
                remarks.append(
                    f"{name}: {n_words} of {odd.n_row} cells aren't numbers"
                    f" ({odd.first_words[number]}); they count as not measured."
                )
        if odd.n_dropped:
            remarks.append(
                f"{odd.n_dropped} lines without a time or a number are left out"
                f" (the first is line {odd.first_dropped})."
            )
        if odd.n_ragged:
            remarks.append(
                f"{odd.n_ragged} lines have too few or too many cells"
                f" (the first is line {odd.first_ragged})."
            )
        if odd.has_zeros:
            remarks.append("Zero bytes are left out; the recorder may have lost power.")
        if odd.at_end:
            remarks.append(odd.at_end)
        if self._n_told is not None and self._n_told != odd.n_row:
            remarks.append(f"The file tells of {self._n_told} samples, but holds {odd.n_row}.")
        self.remarks = remarks


class _Clock:
    """Follows a clock over midnight."""

    def __init__(self) -> None:
        self._day: float | None = None
        self._last = 0.0
        self._passed = 0.0

    def follow(self, seconds: NDArray[np.float64]) -> NDArray[np.float64]:
        """Seconds from midnight before the first sample."""
        if seconds.size == 0:
            return seconds
        if self._day is None:
            self._day = np.floor(float(seconds[0]) / SECONDS_A_DAY) * SECONDS_A_DAY
            self._last = float(seconds[0])
        steps = np.diff(seconds, prepend=self._last)
        # Only a clock without a date jumps back by nearly a day.
        midnights = (steps < -0.5 * SECONDS_A_DAY) & (steps > -SECONDS_A_DAY)
        shift = self._passed + SECONDS_A_DAY * np.cumsum(midnights)
        self._last, self._passed = float(seconds[-1]), float(shift[-1])
        return np.asarray(seconds - self._day + shift)
