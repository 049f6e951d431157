"""The terminal that the words go to: width, colour, and characters it cannot show."""

from __future__ import annotations

import sys
from typing import Final, TextIO

from rich.console import Console, RenderableType

# Longer lines are hard to follow from an arm's length.
WIDEST: Final = 110


def output_console() -> Console:
    """Open the console for answers; plain text as soon as it is not a terminal."""
    return _console(sys.stdout)


def show(console: Console, content: RenderableType) -> None:
    """Print, without the padding that only a screen needs when the text goes into a file or pipe.

    A pipe that is closed early (a pager, `head`) is the reader's choice and not an error.
    """
    if console.is_terminal:
        console.print(content)
        return
    with console.capture() as capture:
        console.print(content)
    for line in capture.get().splitlines():
        console.file.write(line.rstrip() + "\n")


def error_console() -> Console:
    """Open the console for errors and progress."""
    return _console(sys.stderr)


def _console(stream: TextIO) -> Console:
    console = Console(file=stream, markup=False, highlight=False, emoji=False, soft_wrap=False)
    console.width = min(console.width, WIDEST)
    return console
