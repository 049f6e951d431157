"""`backprobe backup` and `backprobe restore`: everything into one file, and out of it again."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from backprobe.cli.database import DatabaseOption, open_existing


def backup(
    file: Annotated[str, typer.Argument(metavar="FILE", help="The file to write.")],
    database: DatabaseOption = "",
    force: Annotated[
        bool, typer.Option("--force", help="Write over a file that is there already.")
    ] = False,
) -> None:
    """Save all jobs, settings, pictures and documents in one file, also while they are in use.

    Keep it on another disk. Exit status 0: saved. 2: not saved; the message says why.
    """
    from backprobe.cli.bank_progress import BankProgress
    from backprobe.services.backup import make_backup

    store = open_existing(database)
    try:
        with BankProgress() as progress:
            made = make_backup(store, Path(file), replace=force, progress=progress)
    finally:
        store.close()
    size = made.size_bytes / 1e6
    sys.stdout.write(f"{file}: {_contents(made.rows, made.n_file)}, {size:,.1f} MB.\n")


def restore(
    file: Annotated[str, typer.Argument(metavar="FILE", help="A backup.")],
    database: DatabaseOption = "",
    force: Annotated[
        bool,
        typer.Option("--force", help="Also where jobs are already; these are kept aside."),
    ] = False,
) -> None:
    """Put a backup in place: all of it, or nothing is changed.

    Exit status 0: done. 2: nothing was changed; the message says why.
    """
    from backprobe.cli.bank_progress import BankProgress
    from backprobe.services.restore import restore as put_in_place

    with BankProgress() as progress:
        done = put_in_place(database, Path(file), replace=force, progress=progress)
    made_at = done.made_at.astimezone().strftime("%Y-%m-%d %H:%M")
    sys.stdout.write(f"{_contents(done.rows, done.n_file)}, as they were at {made_at}.\n")
    if done.aside is not None:
        sys.stdout.write(f"What was there before is kept in {done.aside}\n")


def _contents(rows: dict[str, int], n_file: int) -> str:
    from backprobe.services.words import counted

    return ", ".join(
        (
            counted(rows["job"], "job"),
            counted(rows["indication"], "reading"),
            counted(n_file, "picture or document", "pictures and documents"),
        )
    )
