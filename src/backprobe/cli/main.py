"""The program `backprobe`: its commands, and what becomes of errors at the edge.

Nothing heavy is imported here: numpy and scipy load inside the commands that need them, so that
`--help`, `--version` and shell completion answer at once.
"""

from __future__ import annotations

import errno
import os
import sys
from typing import Annotated, Final

import typer

from backprobe import __version__
from backprobe.cli.air_command import air
from backprobe.cli.backup_command import backup, restore
from backprobe.cli.campaign_command import campaign
from backprobe.cli.capture_command import capture
from backprobe.cli.check_command import check
from backprobe.cli.curve_command import curve_app
from backprobe.cli.decode_command import decode
from backprobe.cli.doctor_command import doctor
from backprobe.cli.explain_command import explain
from backprobe.cli.family_command import family_app
from backprobe.cli.log_command import log
from backprobe.cli.new_command import new
from backprobe.cli.next_command import next_readings
from backprobe.cli.report_command import report
from backprobe.cli.serve_command import serve
from backprobe.cli.transfer_command import export, import_
from backprobe.cli.trims_command import trims
from backprobe.errors import BackprobeError

UNUSABLE: Final = 2
INTERRUPTED: Final = 130
PIPE_CLOSED: Final = 141  # 128 and the signal that ends other programs then (POSIX, SIGPIPE)

app = typer.Typer(
    name="backprobe",
    help=(
        "What each wire at a sensor's connector does, which fault explains the readings, and what "
        "to measure next. It advises; the maker's instructions come first, and you decide."
    ),
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
# In the order of a day's work.
app.command("serve")(serve)
app.command("report")(report)
app.command("new")(new)
app.command("check")(check)
app.command("explain")(explain)
app.command("next")(next_readings)
app.command("air")(air)
app.command("trims")(trims)
app.add_typer(curve_app, name="curve")
app.command("decode")(decode)
app.command("log")(log)
app.command("capture")(capture)
app.command("import")(import_)
app.command("export")(export)
app.add_typer(family_app, name="family")
app.command("backup")(backup)
app.command("restore")(restore)
app.command("doctor")(doctor)
app.command("campaign")(campaign)


def _show_version(is_asked: bool) -> None:
    if is_asked:
        typer.echo(f"backprobe {__version__}")
        raise typer.Exit


@app.callback()
def _backprobe(
    _version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version."),
    ] = False,
) -> None:
    pass


def run() -> None:
    """Run the program and leave with its exit status; no traceback, whatever happens."""
    _tolerate_missing_characters()
    status = _run_guarded()
    try:
        sys.stdout.flush()
    except OSError:
        status = _forget_output()
    sys.exit(status)


def _tolerate_missing_characters() -> None:
    """Let an old code page show a question mark for a sign it lacks, instead of failing."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")


def _run_guarded() -> int:
    try:
        app()
    except SystemExit as leaving:
        if isinstance(leaving.__context__, BrokenPipeError):  # the framework makes a 1 of it
            return _forget_output()
        return leaving.code if isinstance(leaving.code, int) else int(leaving.code is not None)
    except BackprobeError as error:
        return _fail(str(error))
    except KeyboardInterrupt:
        return INTERRUPTED
    except Exception as error:  # noqa: BLE001  # the edge: details to the log, a reference shown
        return _surprised(error)
    return 0


def _surprised(error: Exception) -> int:
    if _is_closed_pipe(error):
        return _forget_output()
    from backprobe.services.incident import record_incident

    return _fail(str(record_incident(error)))


def _is_closed_pipe(error: Exception) -> bool:
    """Whether the reader of our output went away; Windows calls that an invalid argument."""
    if isinstance(error, BrokenPipeError):
        return True
    is_invalid = isinstance(error, OSError) and error.errno == errno.EINVAL
    return sys.platform == "win32" and is_invalid and error.filename is None


def _fail(paragraph: str) -> int:
    sys.stderr.write(f"{paragraph}\n")
    return UNUSABLE


def _forget_output() -> int:
    """Answer a reader that went away (`| head`): quiet, no complaint at exit either."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115  # lives until exit
    return PIPE_CLOSED
