"""Value change dumps of logic recorders and simulators [ieee1364], clause 18.

A dump holds changes, not samples. Here each change becomes a step of one tick of the time scale: a
sample with the old values one tick before it, and one with the new values at its instant, so that
straight lines between the samples are level where the signal is. Unknown and high-impedance bits
(x, z) make a value NaN.
"""

import math
from array import array
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import RecordingError
from backprobe.recordings.source import Block, ChannelHead
from backprobe.recordings.vcd_header import read_vcd_head

_CHUNK: Final = 1 << 22  # bytes
_BLOCK: Final = 1 << 18  # samples
_LONGEST_WORD: Final = 1 << 20
_BITS: Final = {"0": 0.0, "1": 1.0, "x": math.nan, "X": math.nan, "z": math.nan, "Z": math.nan}
_LATEST: Final = 2**53
_DUMPS: Final = frozenset(("$dumpvars", "$dumpall", "$dumpon", "$dumpoff", "$end"))
_STEPS: Final = (
    "The file holds changes; each is a step of one tick of its time scale, level in between."
)


class VcdSource:
    """A value change dump, open for reading.

    Parameters
    ----------
    path : Path
        The file.

    Raises
    ------
    RecordingError
        The head can't be read.
    """

    interval: float | None = None
    start = 0.0
    time_resolution = 0.0
    is_uneven = False

    def __init__(self, path: Path) -> None:
        self._path = path
        self._head = read_vcd_head(_Words(path).each(), path.name)
        self.channels = tuple(ChannelHead(v.name, "", v.is_double) for v in self._head.variables)
        self.remarks: list[str] = []

    def blocks(self, *, only_times: bool = False) -> Iterator[Block]:
        """Read from the start; ``only_times`` leaves ``samples`` empty."""
        words = _Words(self._path)
        each = words.each()
        read_vcd_head(each, self._path.name)
        places: dict[str, list[int]] = {}
        for at, variable in enumerate(self._head.variables):
            places.setdefault(variable.code, []).append(at)
        rows = _Rows(len(self.channels))
        remarks = [*self._head.remarks, _STEPS]
        for _ in _changes(each, places, rows, remarks, self._path.name):
            if len(rows.ticks) >= _BLOCK:
                yield self._block(rows, words.share, only_times=only_times)
        if words.is_cut:
            remarks.append("The last word of the file has no end and is left out.")
        if rows.ticks:
            yield self._block(rows, 1.0, only_times=only_times)
        self.remarks = remarks

    def _block(self, rows: "_Rows", share: float, *, only_times: bool) -> Block:
        ticks, values = rows.take()
        times = ticks / self._head.ticks_per_second
        if only_times:
            return Block((), times, share)
        samples: tuple[NDArray[np.floating], ...] = tuple(
            values[:, at].copy() if head.is_double else values[:, at].astype(np.float32)
            for at, head in enumerate(self.channels)
        )
        return Block(samples, times, share)


class _Words:
    """The words of a file; a last one without an end is not among them."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.share = 0.0
        self.is_cut = False

    def each(self) -> Iterator[str]:
        total = max(self._path.stat().st_size, 1)
        carry = ""
        with self._path.open("rb") as file:
            while chunk := file.read(_CHUNK):
                self.share = file.tell() / total
                text = carry + chunk.replace(b"\x00", b" ").decode("latin-1")
                words = text.split()
                carry = "" if text[-1].isspace() or not words else words.pop()
                if len(carry) > _LONGEST_WORD:
                    raise RecordingError(
                        "This isn't a value change dump: a word doesn't end.",
                        where=self._path.name,
                        remedy="Write the dump anew.",
                    )
                yield from words
        # "$end" and nothing else can be told to be whole.
        if carry == "$end":
            yield carry
        else:
            self.is_cut = bool(carry)


class _Rows:
    """Samples gathered so far: a row an instant, changes as steps of one tick."""

    def __init__(self, n_channel: int) -> None:
        self.values = [math.nan] * n_channel  # at the instant being read
        self._held = self.values.copy()  # of the last row
        self.ticks: array[int] = array("q")
        self._flat = array("d")
        self._last: int | None = None

    def close_instant(self, tick: int) -> None:
        """All changes of an instant are in ``values``."""
        if self._last is not None and tick - 1 > self._last:
            self.ticks.append(tick - 1)
            self._flat.extend(self._held)
        self.ticks.append(tick)
        self._flat.extend(self.values)
        self._held[:] = self.values
        self._last = tick

    def take(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Ticks, shape (n_row,), and values, shape (n_row, n_channel), so far; starts anew."""
        ticks = np.array(self.ticks, dtype=np.float64)
        values = np.array(self._flat).reshape(len(self.ticks), -1)
        self.ticks, self._flat = array("q"), array("d")
        return ticks, values


def _changes(
    words: Iterator[str],
    places: dict[str, list[int]],
    rows: _Rows,
    remarks: list[str],
    file_name: str,
) -> Iterator[None]:
    """Take all changes; gives way after each instant."""
    tick: int | None = None
    has_change = False
    for word in words:
        if word[0] == "#":
            following = _tick(word)
            if following is None:
                remarks.append(_stopped(word))
                break
            _require_later(tick, following, file_name)
            if following == tick:
                continue
            if tick is not None or has_change:
                rows.close_instant(0 if tick is None else tick)
                yield
            tick, has_change = following, False
        else:
            trouble = _take(word, words, places, rows)
            if trouble:
                remarks.append(trouble)
                break
            has_change = True
    if tick is not None or has_change:
        rows.close_instant(0 if tick is None else tick)
        yield


def _require_later(tick: int | None, following: int, file_name: str) -> None:
    if tick is not None and following < tick:
        raise RecordingError(
            f"The time goes back from {tick} to {following}.",
            where=file_name,
            remedy="Write the dump anew, or cut it there.",
        )


def _take(word: str, words: Iterator[str], places: dict[str, list[int]], rows: _Rows) -> str:
    """Take a change or a command; gives a remark where that ends the reading."""
    first = word[0]
    if first in _BITS and len(word) > 1:
        code, value = word[1:], _BITS[first]
    elif first in "bBrRsS":
        found, after = _value(word), next(words, None)
        if after is None:
            return "The last change of the file is cut short and left out."
        if found is None:
            return _stopped(word)
        code, value = after, found
    elif first == "$":
        if word not in _DUMPS:
            _skip_to_end(words)
        return ""
    else:
        return _stopped(word)
    for at in places.get(code, ()):
        rows.values[at] = value
    return ""


def _skip_to_end(words: Iterator[str]) -> None:
    for word in words:
        if word == "$end":
            return


def _stopped(word: str) -> str:
    shown = "".join(c if c.isprintable() else "?" for c in word[:40])
    return f'"{shown}" can\'t be read as a change; what comes after it is left out.'


def _tick(word: str) -> int | None:
    digits = word[1:]
    if not (digits.isascii() and digits.isdecimal()) or len(digits) > 18:
        return None
    tick = int(digits)
    return tick if tick <= _LATEST else None


def _value(word: str) -> float | None:
    """Value of a vector or a real number; None where it is neither. A text is NaN."""
    body = word[1:]
    if word[0] in "sS":
        return math.nan
    if word[0] in "rR":
        try:
            value = float(body)
        except ValueError:
            return None
        return value if math.isfinite(value) else math.nan
    if not body or body.strip("01xXzZ"):
        return None
    if body.strip("01"):
        return math.nan
    return float(int(body, 2)) if len(body) <= 1000 else math.nan
