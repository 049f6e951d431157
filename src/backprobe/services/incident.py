"""Unforeseen errors: a short reference for the reader, the details to a log file only."""

from __future__ import annotations

import logging
import secrets
import threading
from dataclasses import dataclass
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Final

from platformdirs import user_log_dir

LOG_NAME: Final = "backprobe.log"
LARGEST_LOG: Final = 1_000_000  # bytes, then a new file is begun and the last three are kept
_ONE_AT_A_TIME: Final = threading.Lock()  # a server meets errors in many threads


@dataclass(frozen=True, slots=True)
class Incident:
    """An unforeseen error as it was logged."""

    reference: str
    log: Path
    trouble: str = ""  # why the log could not be written

    @property
    def told(self) -> str:
        """What a reader anywhere may know: no detail, no path."""
        return f"Something went wrong that was not foreseen (reference {self.reference})."

    def __str__(self) -> str:
        if self.trouble:
            return f"{self.told} Its details could not be written to {self.log}: {self.trouble}."
        return f"{self.told} Its details are in {self.log}; send them along when you report it."


def log_file() -> Path:
    """Where the details of unforeseen errors go on this system."""
    return Path(user_log_dir("backprobe", appauthor=False)) / LOG_NAME


def record_incident(error: BaseException) -> Incident:
    """Log an unforeseen error; the incident reads as one paragraph that tells where to look."""
    reference = secrets.token_hex(3).upper()
    path = log_file()
    try:
        with _ONE_AT_A_TIME:
            _append(path, reference, error)
    except OSError as trouble:
        return Incident(reference, path, trouble.strerror or type(trouble).__name__)
    return Incident(reference, path)


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
