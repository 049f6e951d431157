"""One table of a job file: typed access to its keys, and errors that name key, line and remedy."""

import difflib
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from backprobe.errors import BackprobeError, JobFileError
from backprobe.job.toml_lines import KeyPath
from backprobe.quantities import Quantity, parse_quantity
from backprobe.quantities.spelling import shown_as

_MOST_TEXT: Final = 20_000  # characters of one text; a long note has some hundreds


@dataclass(frozen=True, slots=True)
class Source:
    """A file's name and the line of each of its keys."""

    file_name: str
    lines: Mapping[KeyPath, int]

    def where(self, path: KeyPath) -> str:
        """Name the place of a key, or of the nearest table around it whose line is known."""
        for length in range(len(path), 0, -1):
            line = self.lines.get(path[:length])
            if line is not None:
                return f"{self.file_name}, line {line}"
        return self.file_name


class Table:
    """A table of the file with its place.

    Parameters
    ----------
    values : Mapping
        Keys and values as the standard reader gives them.
    path : tuple
        Names and indices that lead to the table.
    title : str
        How a message names it: "[job]", "round A".
    source : Source
        The file.
    joint : str
        What stands between title and key when a message names a value: "round A, rpm",
        "round A, volts 3".
    """

    def __init__(
        self,
        values: Mapping[str, object],
        path: KeyPath,
        title: str,
        source: Source,
        joint: str = ", ",
    ) -> None:
        self.values = values
        self.path = path
        self.title = title
        self.source = source
        self.joint = joint

    def __contains__(self, key: str) -> bool:
        return key in self.values

    def __iter__(self) -> Iterator[str]:
        return iter(self.values)

    def error(self, what: str, remedy: str, key: str | int | None = None) -> JobFileError:
        """Make an error at one of the keys, or at the table itself."""
        path = self.path if key is None else (*self.path, key)
        return JobFileError(what, where=self.source.where(path), remedy=remedy)

    def require_known(self, known: Iterable[str]) -> None:
        """Refuse a key that the format doesn't have, naming the nearest one that it has."""
        names = tuple(known)
        for key in self.values:
            if key not in names:
                raise self.error(
                    f"{shown_as(key)} isn't a key of {self.title}.",
                    nearest(key, names, "The keys are"),
                    key,
                )

    def text(self, key: str, default: str = "") -> str:
        """Read a text; ``default`` where it is left out."""
        value = self.values.get(key, default)
        if not isinstance(value, str):
            raise self.error(
                f"{key} of {self.title} has to be a text, not {shown_as(value)}.",
                f'Put it in quotes: {key} = "{_bare(value)}".',
                key,
            )
        if len(value) > _MOST_TEXT:
            raise self.error(
                f"{key} of {self.title} is longer than {_MOST_TEXT} characters.",
                "Shorten it.",
                key,
            )
        if "\x00" in value:
            raise self.error(
                f"{key} of {self.title} holds a zero character, which no text needs.",
                "Take it out.",
                key,
            )
        return value

    def required_text(self, key: str, example: str) -> str:
        """Read a text that must be there and not be empty."""
        if key not in self.values:
            raise self.error(f"{self.title} has no {key}.", f'Add {key} = "{example}".')
        value = self.text(key)
        if not value.strip():
            raise self.error(
                f"{key} of {self.title} is empty.", f'Fill it in, such as "{example}".', key
            )
        return value.strip()

    def choice(self, key: str, choices: Sequence[str], default: str = "") -> str:
        """Read one of a few words."""
        value = self.text(key, default)
        if value != default and value not in choices:
            raise self.error(
                f"{shown_as(value)} can't be the {key} of {self.title}.",
                nearest(value, choices, "Possible are"),
                key,
            )
        return value

    def flag(self, key: str) -> bool:
        """Read a required yes or no."""
        value = self.values.get(key)
        if isinstance(value, bool):
            return value
        if key not in self.values:
            raise self.error(
                f"{self.title} doesn't say {key}.", f"Add {key} = true or {key} = false."
            )
        raise self.error(
            f"{key} of {self.title} is {shown_as(value)}.",
            f"Write {key} = true or {key} = false, without quotes.",
            key,
        )

    def number(self, key: str, low: float, high: float, unit: str) -> float | None:
        """Read a bare number within limits; None where it is left out."""
        if key not in self.values:
            return None
        value = self.values[key]
        is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
        if not is_number or not isinstance(value, (int, float)):
            raise self.error(
                f"{key} of {self.title} has to be a number, not {shown_as(value)}.",
                f"Write the number of {unit} without quotes.",
                key,
            )
        if not low <= value <= high:
            raise self.error(
                f"{key} of {self.title} is {shown_as(value)}, not {low:g} to {high:g} {unit}.",
                "Correct it, or leave it out.",
                key,
            )
        return float(value)

    def whole_number(self, key: str, low: int, high: int, unit: str) -> int | None:
        """Read a whole number within limits; None where it is left out."""
        number = self.number(key, low, high, unit)
        if number is None:
            return None
        if number != math.floor(number):
            raise self.error(f"{key} of {self.title} is {number:g}.", "Write a whole number.", key)
        return int(number)

    def quantity(self, key: str, unit: str) -> Quantity | None:
        """Read a value with or without a unit; None where it is left out."""
        value = self.values.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (str, int, float)):
            what = "a table" if isinstance(value, dict) else shown_as(value)
            raise self.error(
                f"{self.named(key)} is {what}, where one value belongs.",
                "Write a number, or a text with a unit.",
                key,
            )
        try:
            return parse_quantity(value, unit)
        except BackprobeError as error:
            raise self.error(f"{self.named(key)}: {error.what}", error.remedy, key) from error

    def named(self, key: str) -> str:
        """Name a value the way that the answer names readings: "round A, volts 3"."""
        return f"{self.title}{self.joint}{key}"

    def table(self, key: str, title: str, joint: str = ", ") -> "Table":
        """Open a table inside this one; an empty one where it is left out."""
        value = self.values.get(key, {})
        if not isinstance(value, dict):
            raise self.error(*self._not_a_table(key, title, value), key)
        return Table(value, (*self.path, key), title, self.source, joint)

    def _not_a_table(self, key: str, title: str, value: object) -> tuple[str, str]:
        if isinstance(value, list) and not self.path:
            return f"There is only one {key}.", f"Write [{key}], with one bracket."
        remedy = (
            f"Put it in braces: {key} = {{ ... }}."
            if self.path
            else f"Write [{key}] as a heading, and the keys below it."
        )
        return f"{key} is {shown_as(value)}, where {title} belongs.", remedy

    def tables(self, key: str, heading: str) -> list["Table"]:
        """Open each of the tables that share a heading with two brackets."""
        value = self.values.get(key, [])
        if isinstance(value, dict):
            raise self.error(
                f"{heading} can stand several times and needs two brackets.",
                f"Write [{heading}].",
                key,
            )
        if not isinstance(value, list) or not all(isinstance(each, dict) for each in value):
            raise self.error(
                f"{key} isn't a list of tables.", f"Write [{heading}] above the keys of each.", key
            )
        return [
            Table(each, (*self.path, key, index), f"{heading} number {index + 1}", self.source)
            for index, each in enumerate(value)
        ]


def nearest(word: str, known: Sequence[str], introduction: str) -> str:
    """Suggest the nearest of the known words, or list them all."""
    lowered = {name.lower(): name for name in known}
    near = difflib.get_close_matches(word[:60].lower(), lowered, n=1, cutoff=0.6)
    if near:
        return f'Did you mean "{lowered[near[0]]}"?'
    return f"{introduction} {', '.join(_quoted(name) for name in known)}."


def _quoted(name: str) -> str:
    return f'"{name}"'


def _bare(value: object) -> str:
    return f"{value}" if isinstance(value, (int, float)) else "..."
