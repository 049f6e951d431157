"""The beginning of a text file: its encoding and its lines."""

import codecs
import csv
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from backprobe.errors import RecordingError

_HEAD_BYTES: Final = 1 << 18
_MOST_LINES: Final = 1500
_MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_WITHIN_HEADING: Final = re.compile(r"\s+(?=[(\[])|(?<=,)\s+")


@dataclass(frozen=True, slots=True)
class TextHead:
    """The first lines of a text file.

    Parameters
    ----------
    encoding : str
        As `ColumnMapping` names it.
    lines : tuple of str
        Without line ends; the last one is whole unless the file itself ends there.
    """

    encoding: str
    lines: tuple[str, ...]


def byte_order_mark(head: bytes) -> tuple[bytes, str] | None:
    """Give the mark at the start of a file and the encoding that it tells; None without one."""
    return next(((mark, name) for mark, name in _MARKS if head.startswith(mark)), None)


def encoding_of(head: bytes) -> str:
    """Tell the encoding of a text from its first bytes."""
    marked = byte_order_mark(head)
    if marked is not None:
        return marked[1]
    even, odd = head[:2000:2].count(0), head[1:2000:2].count(0)
    half = len(head[:2000]) // 4
    if odd > half and even == 0:
        return "utf-16-le"
    if even > half and odd == 0:
        return "utf-16-be"
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def decoded(data: bytes, encoding: str) -> str:
    """Decode, putting U+FFFD where a byte means nothing."""
    return data.decode(encoding, errors="replace")


def read_head(path: Path, encoding: str | None = None) -> TextHead:
    """Read the first lines of a text.

    Raises
    ------
    RecordingError
        The file can't be read, is empty, or isn't a text.
    """
    try:
        with path.open("rb") as file:
            data = file.read(_HEAD_BYTES)
    except OSError as error:
        raise RecordingError(
            f"The file can't be read: {error.strerror}.",
            where=path.name,
            remedy="Look whether it's there and may be read.",
        ) from error
    if not data.strip(b"\x00 \t\r\n"):
        raise RecordingError(
            "The file is empty.", where=path.name, remedy="Export the recording anew."
        )
    name = encoding or encoding_of(data)
    marked = byte_order_mark(data)
    text = decoded(data[len(marked[0]) :] if marked else data, name)
    require_text(text, path.name)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if len(data) == _HEAD_BYTES and len(lines) > 1:
        lines.pop()  # cut by us, not by the file
    return TextHead(name, tuple(lines[:_MOST_LINES]))


def require_text(text: str, file_name: str) -> None:
    """Refuse what no text holds."""
    stripped = text.rstrip("\x00")  # a recorder that lost power leaves zeros at the end
    odd = sum(1 for c in stripped if ord(c) < 32 and c not in "\t\n\r\x0c\x1a")
    if odd > len(stripped) // 200:
        raise RecordingError(
            "This is neither a text nor a kind of recording that is known.",
            where=file_name,
            remedy="Export it as text with columns, WAV, Parquet, NumPy, VCD or MDF 4.",
        )


def split_line(line: str, separator: str) -> list[str]:
    """Part a line into its cells, which may stand in quotes."""
    if separator == " ":
        return line.split()
    if '"' not in line:
        return [cell.strip() for cell in line.split(separator)]
    try:
        row = next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    except csv.Error:
        row = line.split(separator)
    return [cell.strip() for cell in row]


def split_headings(line: str, separator: str, n_column: int) -> list[str]:
    """Part a line of headings; with spaces as separator a unit in brackets stays with its name."""
    cells = split_line(line, separator)
    if separator == " " and len(cells) != n_column:
        wide = [cell.strip() for cell in re.split(r"\s{2,}|\t", line.strip())]
        cells = wide if len(wide) == n_column else _WITHIN_HEADING.sub("\u0000", line).split()
        cells = [cell.replace("\u0000", " ") for cell in cells]
    while len(cells) > n_column and not cells[-1]:
        cells.pop()
    return cells
