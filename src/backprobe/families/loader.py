"""Reads family files: TOML in, a checked ``Family`` out, or every mistake with its line."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path as FilePath

from backprobe.errors import FamilyFileError
from backprobe.families.family_reader import CommonParts, read_common, read_family
from backprobe.families.mistakes import Mistake, MistakeList
from backprobe.families.schema import Family


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
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise FamilyFileError(
            "This file can't be read.", str(path), "Check its name and that it is plain UTF-8 text."
        ) from error
    return parse_family(text, str(path))


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
        broken = MistakeList(lambda _path: None)
        broken.add((), f"This isn't valid TOML: {error}.", "See the README beside the families.")
        return None, broken
    return document, MistakeList(lambda _path: None)


def _first_mistake(mistakes: tuple[Mistake, ...], file_name: str) -> FamilyFileError:
    first = mistakes[0]
    where = f"{file_name}, line {first.line}" if first.line else file_name
    return FamilyFileError(first.what, where, first.remedy)
