"""`backprobe import` and `backprobe export`: job files into the data base, and out of it."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from backprobe.cli.database import DatabaseOption, open_existing, open_store
from backprobe.errors import UsageError


def import_(
    files: Annotated[
        list[str], typer.Argument(metavar="FILE...", help="Job files, one connector each.")
    ],
    job: Annotated[
        str,
        typer.Option(metavar="KEY", help="A job that gets them all; else a new one each."),
    ] = "",
    database: DatabaseOption = "",
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a file, one a line, in the order given.")
    ] = False,
) -> None:
    """Take job files in; prints the key and the title of each job.

    Exit status 0: all taken in. 2: a file can't be used, so none was taken in.
    """
    from backprobe.job import read_job
    from backprobe.services.job_book import JobBook

    read = [(file, read_job(file)) for file in files]
    store = open_existing(database) if job else open_store(database)
    try:
        book = JobBook(store)
        for file, each in read:
            key, sheet = book.take_in(each, into=job)
            title = book.job(key).head.title
            if as_json:
                told = {"format": 1, "file": file, "job": key, "sheet": sheet, "title": title}
                sys.stdout.write(json.dumps(told) + "\n")
            else:
                sys.stdout.write(f"{key}  {title}\n")
    finally:
        store.close()


def export(
    job: Annotated[str, typer.Argument(metavar="JOB", help="The job's key, as its page shows it.")],
    to: Annotated[
        str,
        typer.Option(
            "-o", "--output", metavar="FOLDER|FILE", help="A folder, or a file ending in .toml."
        ),
    ] = ".",
    database: DatabaseOption = "",
    force: Annotated[
        bool, typer.Option("--force", help="Write over files that are there already.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object that names the files.")
    ] = False,
) -> None:
    """Write the job files of all connectors of a job, named after its title.

    Exit status 0: written. 2: nothing was written; the message says why.
    """
    from backprobe.services.job_book import JobBook
    from backprobe.services.job_files import job_files, write_files

    store = open_existing(database)
    try:
        found = job_files(JobBook(store), job)
    finally:
        store.close()
    contents = {_path(to, name, len(found)): text for name, text in found.items()}
    if not contents:
        raise UsageError(
            "This job has no connector yet, so there is no job file to write.",
            job,
            "Begin its sheet first.",
        )
    write_files(contents, replace=force)
    names = [str(path) for path in contents]
    if as_json:
        sys.stdout.write(json.dumps({"format": 1, "job": job, "files": names}) + "\n")
    else:
        sys.stdout.write("".join(f"{name}\n" for name in names))


def _path(to: str, name: str, count: int) -> Path:
    given = Path(to)
    if given.suffix != ".toml" or given.is_dir():
        return given / name
    if count > 1:
        raise UsageError(
            f"This job has {count} sheets, one file each.", f"-o {to}", "Name a folder."
        )
    return given
