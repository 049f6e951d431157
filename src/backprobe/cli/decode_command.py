"""`backprobe decode`: what a vehicle's number, a code, bytes or frames say, in words."""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from backprobe.services.decoding import Decoded, Kind, Line

WRONG = 1
UNUSABLE = 2


def decode(
    texts: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[TEXT...]",
            help="A VIN, a trouble code, bytes in hexadecimal, or a frame with its identifier.",
        ),
    ] = None,
    file: Annotated[
        str,
        typer.Option(
            "--read", metavar="FILE", help='A file of such texts, one a line; "-": input.'
        ),
    ] = "",
    kind: Annotated[
        str,
        typer.Option(
            "--as", metavar="KIND", help="vin, code, message or frames, where the look misleads."
        ),
    ] = "",
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a text, one a line.")
    ] = False,
) -> None:
    """Say what a VIN, a trouble code, bytes of a control unit or frames on the network mean.

    For example `backprobe decode P0113`, `backprobe decode 01 13`, `backprobe decode 41 10 01 F4`,
    `backprobe decode "7E8 04 41 10 01 F4"`, `backprobe decode --read frames.txt`. Frames of several
    control units may be mixed. Without a text the input is read.

    Exit status 0: all is decoded. 1: something contradicts itself, such as a wrong check digit.
    2: at least one text can't be understood; the message says why.
    """
    from backprobe.errors import UsageError
    from backprobe.services.decoding import KINDS, decode_lines

    if kind and kind not in KINDS:
        raise UsageError(f'No kind is named "{kind}".', "--as", f"There are {', '.join(KINDS)}.")
    chosen: Kind | None = next((known for known in KINDS if known == kind), None)
    decoding = decode_lines(_lines(texts or [], file), chosen)
    if not decoding.found and not decoding.mistakes:
        raise UsageError("There is nothing to decode.", remedy="Give a text, or --read FILE.")
    for number, decoded in enumerate(decoding.found):
        if as_json:
            sys.stdout.write(_as_json(decoded) + "\n")
        else:
            sys.stdout.write(("\n" if number else "") + _as_text(decoded))
    sys.stdout.flush()
    for mistake in decoding.mistakes:
        sys.stderr.write(f"{mistake}\n")
    if decoding.mistakes:
        raise typer.Exit(UNUSABLE)
    if not all(decoded.is_right for decoded in decoding.found):
        raise typer.Exit(WRONG)


def _lines(texts: list[str], file: str) -> list[Line]:
    from backprobe.services.decoding import Line, split_arguments

    lines = [Line(text) for text in split_arguments(texts)]
    if file and file != "-":
        lines += _numbered(_text_of(Path(file)), file)
    elif file or (not texts and not sys.stdin.isatty()):
        lines += _numbered(sys.stdin.read(), "input")
    return lines


def _text_of(path: Path) -> str:
    from backprobe.errors import UsageError

    try:
        return path.read_text(encoding="utf-8", errors="replace")
    except OSError as error:
        remedy = "Look whether it's there and may be read."
        raise UsageError(f"The file can't be read: {error.strerror}.", str(path), remedy) from error


def _numbered(text: str, source: str) -> list[Line]:
    from backprobe.services.decoding import Line

    return [Line(t, f"{source}, line {n}") for n, t in enumerate(text.splitlines(), start=1)]


def _as_json(decoded: Decoded) -> str:
    from dataclasses import asdict

    return json.dumps({"format": 1, **asdict(decoded)}, allow_nan=False)


def _as_text(decoded: Decoded) -> str:
    import textwrap

    from backprobe.cli.terminal import output_console

    console = output_console()
    width = console.width if console.is_terminal else 10_000
    head = f"{decoded.sender} " if decoded.sender else ""
    lines = [f"{head}{decoded.given}", f"  {decoded.title}"]
    longest = max((len(value.name) for value in decoded.values), default=0)
    for value in decoded.values:
        unit = value.unit.replace("deg", "°")
        # As many decimals as the step in which it is sent.
        decimals = max(0, math.ceil(-math.log10(value.resolution)))
        shown = f"{value.value:.{min(decimals, 4)}f} {unit}".rstrip()
        lines.append(f"    {value.name:<{longest}}  {shown:<14}  from {value.data}")
    lines += [
        textwrap.fill(f"  {sentence}", width, subsequent_indent="    ")
        for sentence in decoded.sentences
    ]
    return "".join(f"{line.rstrip()}\n" for line in lines)
