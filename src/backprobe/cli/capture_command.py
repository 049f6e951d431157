"""`backprobe capture`: what an oscilloscope recorded, measured and told in words."""

from __future__ import annotations

import json
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from backprobe.cli.database import DatabaseOption, open_existing

if TYPE_CHECKING:
    from backprobe.services.capture_file import CaptureWishes, OpenedCapture

FileArgument = Annotated[
    Path, typer.Argument(help="Text with columns, WAV, NumPy, Parquet, MDF 4 or VCD.")
]


def capture(
    file: FileArgument,
    mapping: Annotated[
        Path | None, typer.Option(help="How the columns are read, as written by --save-mapping.")
    ] = None,
    save_mapping: Annotated[
        Path | None, typer.Option(help="Write down how the columns are read, to correct it.")
    ] = None,
    interval: Annotated[
        str, typer.Option(help='Time between two samples, where the file tells none: "2 us".')
    ] = "",
    full_scale: Annotated[
        str, typer.Option(help='What full scale of a WAV file, or one in arrays, means: "5 V".')
    ] = "",
    signal: Annotated[
        list[str] | None,
        typer.Option(help='What a channel is, such as "2=toothed wheel"; else it is found out.'),
    ] = None,
    during: Annotated[
        str, typer.Option(help='What was done meanwhile: "snap throttle", "sweep", "crank".')
    ] = "",
    rpm: Annotated[float, typer.Option(help="Engine speed, where known.")] = 0.0,
    cylinders: Annotated[int | None, typer.Option(help="For cranking: how many.")] = None,
    start: Annotated[float | None, typer.Option("--from", help="First instant, s.")] = None,
    end: Annotated[float | None, typer.Option("--to", help="Last instant, s.")] = None,
    error: Annotated[
        float, typer.Option(help="Error of the oscilloscope, per cent of the highest value.")
    ] = 3.0,
    plot: Annotated[Path | None, typer.Option(help="Draw it into this SVG file.")] = None,
    write: Annotated[Path | None, typer.Option(help="Write it as .parquet or .mf4 too.")] = None,
    job: Annotated[str, typer.Option(help="Keep it with this job: its key, or words.")] = "",
    round_name: Annotated[
        str, typer.Option("--round", help="With --job: name of the round it was taken in.")
    ] = "",
    terminal: Annotated[
        list[str] | None,
        typer.Option(help='With --round: where a channel was, "1=3" or just "3" in order.'),
    ] = None,
    database: DatabaseOption = "",
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object.")] = False,
) -> None:
    """Measure a capture and say what its signals are.

    Exit status 0: measured. 2: the file can't be used.
    """
    from backprobe.cli.bank_progress import BankProgress
    from backprobe.services.capture_file import CaptureWishes, opened_capture

    wishes = CaptureWishes(
        mapping=mapping,
        interval=interval,
        full_scale=full_scale,
        signals=tuple(signal or ()),
        during=during,
        rpm=rpm,
        cylinders=cylinders,
        start=start,
        end=end,
        error_share=error / 100.0,
    )
    with (
        BankProgress() as progress,
        opened_capture(file, wishes, partial(progress, f"reading {file.name}")) as opened,
    ):
        progress.clear()
        if save_mapping is not None:
            save_mapping.write_text(opened.mapping_text(), encoding="utf-8")
        if plot is not None:
            plot.write_text(opened.picture(), encoding="utf-8")
        if write is not None:
            opened.write(write)
        told = opened.told()
    if job:
        told["recording"] = _kept(file, wishes, database, job, round_name, terminal or [])
    if as_json:
        sys.stdout.write(json.dumps(told) + "\n")
        return
    _show(opened, told)


def _kept(
    file: Path,
    wishes: CaptureWishes,
    database: str,
    job: str,
    round_name: str,
    terminals: list[str],
) -> str:
    from backprobe.services.capture_file import keep_with_job
    from backprobe.services.job_book import JobBook
    from backprobe.services.recording_book import RecordingBook

    store = open_existing(database)
    try:
        book = JobBook(store)
        record = book.job(book.found(job))
        return keep_with_job(
            RecordingBook(store), record, file, wishes, round_name, tuple(terminals)
        )
    finally:
        store.close()


def _show(opened: OpenedCapture, told: dict[str, Any]) -> None:
    from rich.table import Table
    from rich.text import Text

    from backprobe.cli.terminal import output_console

    console = output_console()

    def say(text: str, style: str = "") -> None:
        # As text, not as markup: names of files and channels may hold brackets.
        console.print(Text(text, style=style))

    def part(title: str, findings: list[str], doubts: list[str]) -> None:
        say("")
        say(title, "bold")
        for sentence in findings:
            say(sentence)
        for doubt in doubts:
            say(f"! {doubt}")

    say(f"{told['file']}: {opened.summary}", "bold")
    for remark in told["remarks"]:
        say(f"note: {remark}")
    for channel in told["channels"]:
        part(channel["name"], channel["findings"], channel["doubts"])
        table = Table(box=None, pad_edge=False)
        table.add_column("measured")
        table.add_column("value", justify="right")
        table.add_column("standard uncertainty", justify="right")
        for line in channel["measured"]:
            table.add_row(line["name"], line["shown"], line["shown_uncertainty"])
        console.print(table)
    together = told["together"]
    if together["findings"]:
        title = " and ".join(together["channels"])
        part(title, together["findings"], together["doubts"])
    if "recording" in told:
        say(f"Kept as recording {told['recording']}.")
