"""Pictures written to files."""

from __future__ import annotations

from pathlib import Path

from backprobe.errors import UsageError


def write_svg(path: Path, picture: str) -> None:
    """Write a picture; its file has to end in .svg."""
    if path.suffix.lower() != ".svg":
        raise UsageError("The picture is written as SVG.", str(path), "Name a file ending .svg.")
    try:
        path.write_text(picture, encoding="utf-8")
    except OSError as error:
        remedy = "Check the folder and your right to write there."
        raise UsageError("This file can't be written.", str(path), remedy) from error
