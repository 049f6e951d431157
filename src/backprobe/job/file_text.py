"""From a file on the disk to its text, with words for whatever can be wrong with the file."""

import os
from pathlib import Path
from typing import Final

from backprobe.errors import JobFileError

# A connector with eight wires and a hundred rounds takes about 60 kB.
MOST_BYTES: Final = 1_000_000


def read_text(path: str | os.PathLike[str]) -> str:
    """Read a text file of a sensible size in UTF-8; a byte order mark is left out.

    Raises
    ------
    JobFileError
        There is no such file, it can't be read, is too big, isn't text or isn't UTF-8.
    """
    name = os.fspath(path)
    return decode_text(_read_bytes(Path(name), name), name)


def _read_bytes(path: Path, name: str) -> bytes:
    try:
        if path.is_dir():
            raise JobFileError(
                "This is a folder, not a job file.", where=name, remedy="Name a file in it."
            )
        with path.open("rb") as file:
            # One byte more than allowed is enough to know; a huge file is never read whole.
            data = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise JobFileError(
            "There is no such file.",
            where=name,
            remedy=f'Check the name, or start one with "backprobe new {name}".',
        ) from None
    except PermissionError:
        raise JobFileError(
            "The file may not be read.", where=name, remedy="Ask its owner for the right to."
        ) from None
    except (OSError, ValueError) as error:  # a name with a zero byte is a ValueError
        reason = getattr(error, "strerror", None) or "the name isn't possible"
        raise JobFileError(
            f"The file can't be read ({reason}).", where=name, remedy="Check its name and place."
        ) from error
    return data


def decode_text(data: bytes, name: str) -> str:
    """Turn the bytes of a job file into text.

    Raises
    ------
    JobFileError
        Too many bytes, bytes that no text has, or another encoding than UTF-8.
    """
    if len(data) > MOST_BYTES:
        raise JobFileError(
            f"The file is larger than {MOST_BYTES // 1_000_000} MB.",
            where=name,
            remedy="A job file is a short text; this is most likely another file.",
        )
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise JobFileError(
            "The file is stored as UTF-16.",
            where=name,
            remedy="Save it as UTF-8 in the editor.",
        )
    zero = data.find(b"\0")
    if zero >= 0:
        raise JobFileError(
            f"This isn't a text file: byte {zero + 1} is zero.",
            where=f"{name}, line {_line(data, zero)}",
            remedy="Name a job file, written in a plain text editor.",
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # utf-8-sig counts from behind the byte order mark.
        at = error.start + (3 if data.startswith(b"\xef\xbb\xbf") else 0)
        raise JobFileError(
            f"Byte {at + 1} of the file (hex {data[at]:02X}) isn't UTF-8.",
            where=f"{name}, line {_line(data, at)}",
            remedy="Save the file as UTF-8 in the editor; the sign may be a °, Ω, µ or ä.",
        ) from None


def _line(data: bytes, at: int) -> int:
    return data.count(b"\n", 0, at) + 1
