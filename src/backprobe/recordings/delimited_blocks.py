"""A text file in blocks of whole lines, brought to one form: UTF-8 or ASCII, LF, no blank lines."""

import codecs
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from backprobe.errors import RecordingError
from backprobe.recordings.delimited_mapping import ColumnMapping
from backprobe.recordings.delimited_text import byte_order_mark

BLOCK = 1 << 24  # bytes
_LONGEST_LINE: Final = 1 << 24
_BLANKS: Final = re.compile(rb"^ *\n", re.MULTILINE)
_MANY_SPACES: Final = re.compile(rb"[ \t]+")
_EDGE_SPACE: Final = re.compile(rb"^ +| +$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class LineBlock:
    """Whole lines of the table.

    Parameters
    ----------
    raw : bytes
        The lines as they stand, each ended by LF.
    first_line : int
        Number of the first one in the file, counted from one.
    share : float
        Share of the file that ends with this block.
    is_unfinished : bool
        Whether its last line lacked a line end in the file.
    has_zeros : bool
        Whether zero bytes were left out, as a recorder that lost power leaves them.
    """

    raw: bytes
    first_line: int
    share: float
    is_unfinished: bool = False
    has_zeros: bool = False


def line_blocks(path: Path, mapping: ColumnMapping) -> Iterator[LineBlock]:
    """Read a text block by block, leaving out the lines before the table.

    Raises
    ------
    RecordingError
        The file can't be read, or a line never ends.
    """
    carry, line, to_skip = b"", 1, mapping.skip_lines
    is_old = False  # lines ended by CR alone
    has_zeros = False
    for chunk, share, is_last in _chunks(path, mapping.encoding, BLOCK):
        whole = chunk
        if b"\x00" in chunk:
            has_zeros = True
            whole = chunk.replace(b"\x00", b"")
        data = carry + whole
        if line == 1 and not is_old:
            is_old = b"\r" in data and b"\n" not in data
        if b"\r" in data:
            data = data.replace(b"\r", b"\n") if is_old else data.replace(b"\r\n", b"\n")
        is_unfinished = False
        if is_last:
            data = data.rstrip(b"\x1a").removesuffix(b"\r")
            is_unfinished = bool(data) and not data.endswith(b"\n")
            data += b"\n" if is_unfinished else b""
        end = data.rfind(b"\n") + 1
        data, carry = data[:end], data[end:]
        if len(carry) > _LONGEST_LINE:
            raise RecordingError(
                f"Line {line} doesn't end within {_LONGEST_LINE >> 20} MiB.",
                where=path.name,
                remedy="This isn't a table; export the recording anew.",
            )
        skipped = min(to_skip, data.count(b"\n")) if to_skip else 0
        at = 0
        for _ in range(skipped):
            at = data.index(b"\n", at) + 1
        to_skip -= skipped
        line += skipped
        yield LineBlock(data[at:], line, share, is_unfinished and at < len(data), has_zeros)
        line += count_of(data[at:] if at else data, b"\n")


def _chunks(path: Path, encoding: str, size: int) -> Iterator[tuple[bytes, float, bool]]:
    """Pieces of the file as UTF-8 (UTF-16 is turned into it), share done, whether it is the last.

    Bytes of cp1252 stay: all that matters in a table of numbers is ASCII.
    """
    decoder = None
    if encoding.startswith("utf-16"):
        decoder = codecs.getincrementaldecoder(encoding)(errors="replace")
    try:
        total = max(path.stat().st_size, 1)
        with path.open("rb") as file:
            marked = byte_order_mark(file.read(3))
            file.seek(len(marked[0]) if marked else 0)
            chunk = file.read(size)
            while True:
                following = file.read(size)
                is_last = not following
                share = 1.0 if is_last else (file.tell() - len(following)) / total
                text = chunk
                if decoder is not None:
                    text = decoder.decode(chunk, final=is_last).encode("utf-8", errors="replace")
                yield text, share, is_last
                if is_last:
                    return
                chunk = following
    except OSError as error:
        raise RecordingError(
            f"The file can't be read: {error.strerror}.",
            where=path.name,
            remedy="Look whether it's there and may be read.",
        ) from error


def clean(raw: bytes, mapping: ColumnMapping) -> bytes:
    """The lines of a block without blank ones and comments; single spaces where they separate."""
    data = raw
    if mapping.separator == " ":
        data = _EDGE_SPACE.sub(b"", _MANY_SPACES.sub(b" ", data))
    mark = mapping.comment.encode()
    if mark and mark in data:
        data = re.sub(rb"(?m)^[ \t]*" + re.escape(mark) + rb".*\n", b"", data)
    if data.startswith((b"\n", b" ")) or _has_blank_line(data):
        data = _BLANKS.sub(b"", data)
    return data


def count_of(data: bytes, mark: bytes) -> int:
    """Number of times that a single byte stands in data; several times as fast as bytes.count."""
    return int(np.count_nonzero(np.frombuffer(data, dtype=np.uint8) == mark[0]))


def _has_blank_line(data: bytes) -> bool:
    """Tell whether there may be a line without anything, or with spaces alone."""
    is_end = np.frombuffer(data, dtype=np.uint8) == ord("\n")
    return bool((is_end[1:] & is_end[:-1]).any()) or (b" " in data and b" \n" in data)


def line_number(block: LineBlock, mapping: ColumnMapping, row: int) -> int:
    """Number in the file of a row of a cleaned block."""
    comment = mapping.comment.encode()
    left = row
    for offset, line in enumerate(block.raw.split(b"\n")):
        bare = line.strip(b" ")
        if not bare or (comment and line.lstrip().startswith(comment)):
            continue
        if left == 0:
            return block.first_line + offset
        left -= 1
    return block.first_line
