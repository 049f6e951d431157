"""Unforeseen errors: a short reference for the reader, the details to a log file only."""

from __future__ import annotations

import logging
import secrets
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Final

from platformdirs import user_log_dir

LOG_NAME: Final = "backprobe.log"
LARGEST_LOG: Final = 1_000_000  # bytes, then a new file is begun and the last three are kept


def log_file() -> Path:
    """Where the details of unforeseen errors go on this system."""
    return Path(user_log_dir("backprobe", appauthor=False)) / LOG_NAME


def record_incident(error: BaseException) -> str:
    """Log an unforeseen error and return one paragraph that tells where to find it."""
    reference = secrets.token_hex(3).upper()
    path = log_file()
    told = f"Something went wrong that was not foreseen (reference {reference})."
    try:
        _append(path, reference, error)
    except OSError as trouble:
        reason = trouble.strerror or type(trouble).__name__
        return f"{told} Its details could not be written to {path}: {reason}."
    return f"{told} Its details are in {path}; send them along when you report it."


def _append(path: Path, reference: str, error: BaseException) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    # Opened here and not by the handler, whose own failures would be printed with a traceback.
    with path.open("a", encoding="utf-8"):
        pass
    handler = RotatingFileHandler(path, maxBytes=LARGEST_LOG, backupCount=3, encoding="utf-8")
    handler.setFormatter(logging.Formatter("%(asctime)s %(message)s"))
    logger = logging.getLogger("backprobe.incident")
    logger.propagate = False
    logger.addHandler(handler)
    try:
        logger.error("reference %s", reference, exc_info=error)
    finally:
        logger.removeHandler(handler)
        handler.close()
