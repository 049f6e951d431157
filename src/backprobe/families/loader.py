"""Reads family files: TOML in, a checked ``Family`` out, or every mistake with its line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path as FilePath

from backprobe.errors import FamilyFileError
from backprobe.families.family_reader import CommonParts, read_common, read_family
from backprobe.families.mistakes import Mistake, MistakeList, Path
from backprobe.families.schema import Family
from backprobe.job.toml_lines import key_lines

MOST_BYTES = 1_000_000


@dataclass(frozen=True, slots=True)
class Reading:
    """A family file as read: the family, where the file is sound, and all mistakes found."""

    family: Family | None
    mistakes: tuple[Mistake, ...]


def examine_family(text: str, file_name: str) -> Reading:
    """Read a family file and find all of its mistakes.

    Parameters
    ----------
    text : str
        The whole file.
    file_name : str
        Its name; the family's id must be the name without folder and ".toml".
    """
    document, mistakes = _parse(text)
    if document is None:
        return Reading(None, mistakes.in_order())
    family = read_family(document, FilePath(file_name).stem, common_parts(), mistakes)
    return Reading(family, mistakes.in_order())


def parse_family(text: str, file_name: str) -> Family:
    """Read a family file that has to be sound; the first mistake is raised."""
    reading = examine_family(text, file_name)
    if reading.family is None:
        raise _first_mistake(reading.mistakes, file_name)
    return reading.family


def load_family(path: FilePath) -> Family:
    """Read a family file from disk."""
    return parse_family(read_family_text(path), str(path))


def read_family_text(path: FilePath) -> str:
    """Read the text of a family file, saying what is wrong where it can't be read."""
    where = str(path)
    if path.is_dir():
        raise FamilyFileError("This is a folder.", where, "Name the family files in it.")
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise FamilyFileError("There is no such file.", where, "Check its name.") from None
    except (OSError, ValueError) as error:
        remedy = "Check its name and your right to read it."
        raise FamilyFileError("This file can't be read.", where, remedy) from error
    if len(data) > MOST_BYTES:
        raise FamilyFileError("This file is larger than a megabyte.", where, "Is it another file?")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        remedy = "Save the file as UTF-8 in the editor."
        said = f"Byte {error.start + 1} of this file isn't UTF-8."
        raise FamilyFileError(said, f"{where}, line {line}", remedy) from None


@cache
def load_families() -> tuple[Family, ...]:
    """All families that come with the program, by id."""
    folder = resources.files("backprobe.families").joinpath("data")
    files = (entry for entry in folder.iterdir() if entry.name.endswith(".toml"))
    return tuple(
        parse_family(entry.read_text(encoding="utf-8"), entry.name)
        for entry in sorted(files, key=lambda entry: entry.name)
    )


@cache
def common_parts() -> CommonParts:
    """Read the values and elements that every family shares."""
    text = resources.files("backprobe.families").joinpath("common.toml").read_text(encoding="utf-8")
    document, mistakes = _parse(text)
    parts = read_common(document, mistakes) if document is not None else None
    if parts is None:
        raise _first_mistake(mistakes.in_order(), "common.toml")
    return parts


def _parse(text: str) -> tuple[Mapping[str, object] | None, MistakeList]:
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r" \(at (?:line (\d+)|end)[^)]*\)", str(error))
        last = text.count("\n") + 1
        line = int(place[1]) if place and place[1] else last
        said = str(error)[: place.start()] if place else str(error)
        return None, _broken(line, f"This isn't TOML: {said}.")
    except RecursionError:
        return None, _broken(None, "This is nested too deeply.")
    lines = key_lines(text)

    def line_of(path: Path) -> int | None:
        # A key that is missing has no line; the table that it is missing from has one.
        tails = (path[:end] for end in range(len(path), 0, -1))
        return next((lines[tail] for tail in tails if tail in lines), None)

    return document, MistakeList(line_of)


def _broken(line: int | None, what: str) -> MistakeList:
    mistakes = MistakeList(lambda _path: line)
    mistakes.add((), what, "The README beside the families shows how such a file is written.")
    return mistakes


def _first_mistake(mistakes: tuple[Mistake, ...], file_name: str) -> FamilyFileError:
    first = mistakes[0]
    where = f"{file_name}, line {first.line}" if first.line else file_name
    return FamilyFileError(first.what, where, first.remedy)
