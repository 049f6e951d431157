"""WAV files: whole numbers of 8 to 32 bits or floats, also longer than 4 GiB (RF64).

Layout from memory of *Multimedia Programming Interface and Data Specifications 1.0* (1991) and of
EBU Tech 3306 for RF64 [riff1991], [ebu3306].
"""

import math
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import RecordingError
from backprobe.recordings.source import Block, ChannelHead

_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
# A sub-format is a code in two bytes and this rest, the same for all of them.
_SUBFORMAT_REST: Final = bytes.fromhex("000000001000800000aa00389b71")
_UNKNOWN_SIZE: Final = 0xFFFFFFFF
_BLOCK: Final = 1 << 20  # frames
_MOST_CHANNELS: Final = 1024


@dataclass(frozen=True, slots=True)
class _Format:
    """How one frame is laid out."""

    n_channel: int
    rate: int
    n_byte: int  # of one sample
    is_float: bool

    @property
    def frame(self) -> int:
        return self.n_channel * self.n_byte


class WavSource:
    """A WAV file, open for reading.

    Parameters
    ----------
    path : Path
        The file.
    volts_at_full_scale : float or None
        What full scale means; without it samples go from -1 to 1 and have no unit.
    interval : float or None
        Time from sample to sample, s, where it isn't that of the file.

    Raises
    ------
    RecordingError
        The file ends before its samples, or they are packed in a way that isn't read.
    """

    time_resolution = 0.0
    is_uneven = False
    start = 0.0

    def __init__(
        self, path: Path, volts_at_full_scale: float | None = None, interval: float | None = None
    ) -> None:
        self._path = path
        self.remarks: list[str] = []
        self._scale = 1.0 if volts_at_full_scale is None else volts_at_full_scale
        with path.open("rb") as file:
            self._format, self._at, self._n_frame = self._read_chunks(file)
        self.interval: float | None = interval or 1.0 / self._format.rate
        is_double = self._format.n_byte == 8 or (
            self._format.n_byte == 4 and not self._format.is_float
        )
        unit = "" if volts_at_full_scale is None else "V"
        self.channels = tuple(
            # A scale that isn't a power of two needs more digits than float32 has.
            ChannelHead(f"channel {at}", unit, is_double or not _is_power_of_two(self._scale))
            for at in range(1, self._format.n_channel + 1)
        )

    def blocks(self, *, only_times: bool = False) -> Iterator[Block]:
        """Read from the start."""
        if only_times:
            return
        with self._path.open("rb") as file:
            file.seek(self._at)
            done = 0
            while done < self._n_frame:
                n_frame = min(_BLOCK, self._n_frame - done)
                data = file.read(n_frame * self._format.frame)
                done += n_frame
                frames = self._numbers(data)
                samples = tuple(np.ascontiguousarray(column) for column in frames.T)
                yield Block(samples, None, done / self._n_frame)

    def _numbers(self, data: bytes) -> NDArray[np.floating]:
        """Samples of whole frames, shape (n_frame, n_channel), full scale being 1 or the volts."""
        n_byte = self._format.n_byte
        values: NDArray[np.floating]
        if self._format.is_float:
            values = self._as_floats(np.frombuffer(data, dtype=f"<f{n_byte}"))
            values[~np.isfinite(values)] = np.nan
        elif n_byte == 1:
            values = (self._as_floats(np.frombuffer(data, dtype=np.uint8)) - 128) / 128
        else:
            values = self._as_floats(_whole_numbers(data, n_byte)) / 2 ** (8 * n_byte - 1)
        if self._scale != 1.0:
            values *= self._scale
        return values.reshape(-1, self._format.n_channel)

    def _as_floats(self, values: NDArray[Any]) -> NDArray[np.floating]:
        if self.channels[0].is_double:
            return values.astype(np.float64)
        return values.astype(np.float32)

    def _read_chunks(self, file: BinaryIO) -> tuple[_Format, int, int]:
        """Format, place of the first sample, number of frames."""
        length = self._path.stat().st_size
        file.seek(12)
        found: _Format | None = None
        long_size = 0
        while True:
            head = file.read(8)
            if len(head) < 8:
                raise self._error(
                    "This WAV file ends before its first sample.", "Copy or record it anew."
                )
            name, size = head[:4], int.from_bytes(head[4:], "little")
            if name == b"data":
                break
            body = file.read(min(size, 64)) if name in (b"fmt ", b"ds64") else b""
            if name == b"fmt ":
                found = self._read_format(body)
            elif name == b"ds64" and len(body) >= 16:
                long_size = int.from_bytes(body[8:16], "little")
            file.seek(size - len(body) + size % 2, 1)
        if found is None:
            raise self._error("This WAV file doesn't tell its format.", "Record it anew.")
        at = file.tell()
        return found, at, self._n_frames(found, size, long_size, length - at)

    def _n_frames(self, found: _Format, size: int, long_size: int, there: int) -> int:
        """Number of whole frames that are there, with a remark where some are missing."""
        told = long_size if size == _UNKNOWN_SIZE and long_size else size
        if told in (0, _UNKNOWN_SIZE) and there:
            self.remarks.append(
                "The file doesn't tell its length; it is read up to its end."
                " The recording may have broken off."
            )
            told = there
        if told > there:
            self.remarks.append(
                f"The file is cut short: {there // found.frame} of {told // found.frame}"
                " samples are there."
            )
        elif told % found.frame:
            self.remarks.append("The last sample isn't complete and is left out.")
        n_frame = min(told, there) // found.frame
        if n_frame == 0:
            raise self._error("This WAV file holds no sample.", "Copy or record it anew.")
        return n_frame

    def _read_format(self, body: bytes) -> _Format:
        if len(body) < 16:
            raise self._error("The format of this WAV file is cut short.", "Copy it anew.")
        code, n_channel, rate, _, frame, n_bit = struct.unpack_from("<HHIIHH", body)
        if code == _EXTENSIBLE and len(body) >= 40 and body[26:40] == _SUBFORMAT_REST:
            code = int.from_bytes(body[24:26], "little")
        n_byte = (n_bit + 7) // 8
        known = (1, 2, 3, 4) if code == _PCM else (4, 8) if code == _FLOAT else ()
        if n_byte not in known:
            raise self._error(
                f"Samples of kind {code} with {n_bit} bits aren't read.",
                "Save it with whole numbers of 8, 16, 24 or 32 bits, or with floats.",
            )
        is_sound = 1 <= n_channel <= _MOST_CHANNELS and rate > 0 and frame == n_channel * n_byte
        if not is_sound:
            raise self._error(
                f"{n_channel} channels of {n_byte} bytes at {rate} a second in frames of {frame}"
                " bytes can't be.",
                "Save it anew.",
            )
        return _Format(n_channel, rate, n_byte, code == _FLOAT)

    def _error(self, what: str, remedy: str) -> RecordingError:
        return RecordingError(what, where=self._path.name, remedy=remedy)


def _whole_numbers(data: bytes, n_byte: int) -> NDArray[np.int32]:
    if n_byte != 3:
        return np.frombuffer(data, dtype=f"<i{n_byte}").astype(np.int32)
    # Three bytes go into the upper part of four, so that the sign comes along.
    wide = np.zeros((len(data) // 3, 4), dtype=np.uint8)
    wide[:, 1:] = np.frombuffer(data, dtype=np.uint8).reshape(-1, 3)
    return wide.view("<i4")[:, 0].astype(np.int32) >> 8


def _is_power_of_two(value: float) -> bool:
    return abs(math.frexp(value)[0]) == 0.5
