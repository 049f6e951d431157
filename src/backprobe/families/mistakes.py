"""Mistakes found in a family file: each with its line and how to mend it."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

Path = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Mistake:
    """One thing wrong in a file: the line it stands on, what it is, how to mend it."""

    line: int | None
    what: str
    remedy: str

    def __str__(self) -> str:
        place = f"line {self.line}: " if self.line else ""
        return f"{place}{self.what} {self.remedy}"


@dataclass(slots=True)
class MistakeList:
    """Collects mistakes, finding the line of each by the path of the value in the document."""

    line_of: Callable[[Path], int | None]
    found: list[Mistake] = field(default_factory=list)

    def add(self, path: Path, what: str, remedy: str) -> None:
        """Note a mistake at the value with this path."""
        self.found.append(Mistake(self.line_of(path), what, remedy))

    def in_order(self) -> tuple[Mistake, ...]:
        """All mistakes, as they follow each other in the file."""
        return tuple(sorted(self.found, key=lambda mistake: mistake.line or 0))


def nearest(word: str, known: Iterable[str]) -> str:
    """Remedy that names the nearest known word, or all of them when none is near."""
    words = sorted(known)
    close = difflib.get_close_matches(word, words, n=1, cutoff=0.6)
    within = [one for one in words if word and word in one]
    if close or len(within) == 1:
        return f'Did you mean "{(close or within)[0]}"?'
    return f"Known here: {', '.join(words)}." if words else "Nothing is known here."


def unknown_keys(
    table: Mapping[str, object], path: Path, known: Iterable[str], where: str, mistakes: MistakeList
) -> None:
    """Note every key of a table that is not known there."""
    known = tuple(known)
    for key in table:
        if key not in known:
            mistakes.add((*path, key), f'Unknown key "{key}" in {where}.', nearest(key, known))


def read_text(
    table: Mapping[str, object], key: str, path: Path, owner: str, mistakes: MistakeList
) -> str:
    """Read a text that has to be there, its white space made single."""
    value = table.get(key)
    if isinstance(value, str) and value.strip():
        return " ".join(value.split())
    said = f"{owner} has no {key}." if value is None else f"{owner}: {key} must be a text."
    mistakes.add((*path, key), said, f'Add {key} = "...".')
    return ""
