"""The curves that come with the program, and files of one's own."""

from __future__ import annotations

from functools import cache
from importlib import resources
from pathlib import Path
from typing import Final

from backprobe.curves.curve_file import AnyCurve, TemperatureCurve, parse_curve
from backprobe.errors import CurveFileError, NotFoundError
from backprobe.families.mistakes import nearest

MOST_BYTES: Final = 100_000


@cache
def load_curves() -> tuple[AnyCurve, ...]:
    """All curves that come with the program, by id."""
    folder = resources.files("backprobe.curves").joinpath("data")
    files = (entry for entry in folder.iterdir() if entry.name.endswith(".toml"))
    return tuple(
        parse_curve(entry.read_text(encoding="utf-8"), entry.name)
        for entry in sorted(files, key=lambda entry: entry.name)
    )


def temperature_curves() -> tuple[TemperatureCurve, ...]:
    """Those of temperature sensors."""
    return tuple(curve for curve in load_curves() if isinstance(curve, TemperatureCurve))


def curve_named(name: str) -> AnyCurve:
    """One that comes with the program, by id."""
    curves = {curve.id: curve for curve in load_curves()}
    if name not in curves:
        raise NotFoundError(f'No curve is named "{name[:60]}".', remedy=nearest(name, curves))
    return curves[name]


def load_curve(path: Path) -> AnyCurve:
    """Read a curve file from disk."""
    where = str(path)
    try:
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        remedy = "Check its name and your right to read it."
        raise CurveFileError("This file can't be read.", where, remedy) from error
    if len(data) > MOST_BYTES:
        raise CurveFileError("This file is larger than a curve.", where, "Is it another file?")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        remedy = "Save the file as UTF-8 in the editor."
        raise CurveFileError("This file isn't UTF-8.", where, remedy) from None
    return parse_curve(text, where)
