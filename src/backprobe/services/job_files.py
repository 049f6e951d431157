"""Job files written out of the book: one a sheet, named so that people find them again."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from backprobe.errors import UsageError
from backprobe.services.job_book import JobBook
from backprobe.store.record import REPAIRED, JobRecord, SheetRecord

ENDING: Final = ".toml"
_LONGEST: Final = 60
# Names that Windows keeps for devices, whatever ending they have.
_DEVICES: Final = frozenset(
    ["con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))]
)


def safe_name(words: str) -> str:
    """Words as a file name of every system: letters and digits, joined by "-"."""
    plain = unicodedata.normalize("NFC", words).casefold()
    parts = "".join(sign if sign.isalnum() else " " for sign in plain).split()
    name = "-".join(parts)[:_LONGEST].strip("-")
    return f"{name}-job" if name in _DEVICES else name or "job"


def job_files(book: JobBook, key: str) -> dict[str, str]:
    """The job files of all sheets of a job: their text by a name for each."""
    record = book.job(key)
    found: dict[str, str] = {}
    for sheet in record.sheets:
        found[_free(_name(record, sheet), found)] = book.job_file(sheet.key)[1]
    return found


def write_files(contents: Mapping[Path, str], *, replace: bool = False) -> None:
    """Write files, all or none: one that is there already is left alone unless asked for.

    Raises
    ------
    UsageError
        One is there already, or can't be written.
    """
    if not replace:
        for path in contents:
            if path.exists():
                raise _taken(path)
    for path, content in contents.items():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("w" if replace else "x", encoding="utf-8", newline="\n") as file:
                file.write(content)
        except FileExistsError as error:
            raise _taken(path) from error
        except OSError as error:
            raise UsageError(
                f"The file can't be written: {error.strerror or error}.",
                str(path),
                "Choose another folder, or give yourself the right to write there.",
            ) from error


def _taken(path: Path) -> UsageError:
    return UsageError(
        "There is such a file already; nothing was written.",
        str(path),
        "Choose another folder, or write over it with --force.",
    )


def _name(record: JobRecord, sheet: SheetRecord) -> str:
    words = [record.head.title]
    if len({each.connector.name for each in record.sheets}) > 1:
        words.append(sheet.connector.name)
    name = "-".join(safe_name(each) for each in words)
    return f"{name}-after-the-repair" if sheet.phase == REPAIRED else name


def _free(name: str, taken: Iterable[str]) -> str:
    tried, number = f"{name}{ENDING}", 1
    while tried in taken:
        number += 1
        tried = f"{name}-{number}{ENDING}"
    return tried
