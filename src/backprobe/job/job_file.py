"""The job file: from a file or a text to a job, and back."""

import os
import tomllib

from backprobe.errors import JobFileError
from backprobe.job.file_text import MOST_BYTES, read_text
from backprobe.job.model import Job
from backprobe.job.reader import read_document
from backprobe.job.table import Source
from backprobe.job.toml_lines import key_lines
from backprobe.job.toml_mistakes import explain_toml_error
from backprobe.job.writer import write_job

__all__ = ["parse_job", "read_job", "write_job"]


def read_job(path: str | os.PathLike[str]) -> Job:
    """Read a job file.

    Raises
    ------
    JobFileError
        The file or something in it can't be used; the message says where and how to mend it.
    """
    return parse_job(read_text(path), os.fspath(path))


def parse_job(text: str, file_name: str) -> Job:
    """Read the text of a job file; ``file_name`` is how messages name it.

    Raises
    ------
    JobFileError
        Something in it can't be used; the message says where and how to mend it.
    """
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    if not text.strip():
        raise JobFileError(
            "The file is empty.",
            where=file_name,
            remedy=f'Start one with "backprobe new {file_name}".',
        )
    if len(text) > MOST_BYTES:
        raise JobFileError(
            "The text is far too long for a job file.",
            where=file_name,
            remedy="Take one file for each connector.",
        )
    lines = key_lines(text, file_name)
    try:
        document = tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError, or a number beyond what Python reads
        raise explain_toml_error(error, text, file_name) from error
    return read_document(document, Source(file_name, lines))
