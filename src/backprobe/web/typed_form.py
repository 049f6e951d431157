"""What somebody typed into a form, and what has to be said about it beside each field."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Final, TypeVar

from fastapi import Depends, Request
from starlette.datastructures import UploadFile

from backprobe.errors import BackprobeError, ValueOutOfRange

SEE_OTHER: Final = 303
UNUSABLE: Final = 422

_Found = TypeVar("_Found")


@dataclass(frozen=True, slots=True)
class SentFile:
    """One file that came with a form."""

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Typed:
    """The fields of a form in the order in which they were sent."""

    fields: tuple[tuple[str, str], ...] = ()
    files: tuple[SentFile, ...] = ()

    def text(self, name: str) -> str:
        """What was typed into a field, without blanks around it; empty where it wasn't sent."""
        found = self.all(name)
        return found[-1].strip() if found else ""

    def all(self, name: str) -> tuple[str, ...]:
        """All fields of one name."""
        return tuple(value for key, value in self.fields if key == name)

    def number(self, name: str) -> float:
        """A plain number that was typed, with a point or a comma.

        Raises
        ------
        ValueOutOfRange
            It is none.
        """
        try:
            value = float(self.text(name).replace(",", "."))
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise ValueOutOfRange(
                f'"{self.text(name)[:30]}" is no number.', remedy='Write one, such as "1.25".'
            )
        return value

    @property
    def values(self) -> dict[str, str]:
        """One text for each name."""
        return dict(self.fields)


async def _typed(request: Request) -> Typed:
    """Read the form before the handler runs in its thread."""
    fields: list[tuple[str, str]] = []
    files: list[SentFile] = []
    async with request.form() as form:
        for name, value in form.multi_items():
            if isinstance(value, UploadFile):
                if value.filename:
                    files.append(SentFile(value.filename, await value.read()))
            else:
                # Browsers end lines as mail does.
                fields.append((name, value.replace("\r\n", "\n")))
    return Typed(tuple(fields), tuple(files))


TypedForm = Annotated[Typed, Depends(_typed)]


def said(error: BackprobeError) -> str:
    """An error as it stands beside its field."""
    return " ".join(part for part in (error.what, error.remedy) if part)


@dataclass(slots=True)
class Mistakes:
    """Gathers what is wrong, by field, so that all of it is said at once."""

    found: dict[str, str] = field(default_factory=dict)

    def take(self, name: str, read: Callable[[], _Found], otherwise: _Found) -> _Found:
        """What was read; where that fails, the mistake is kept and something else given."""
        try:
            return read()
        except BackprobeError as error:
            self.found.setdefault(name, said(error))
            return otherwise


@dataclass(frozen=True, slots=True)
class FormView:
    """What a form shows: the values as they were typed, and what is wrong with them."""

    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)

    def value(self, name: str) -> str:
        """What stands in a field."""
        return self.values.get(name, "")

    def error(self, name: str) -> str:
        """What is wrong with it; nothing where it is right."""
        return self.errors.get(name, "")
