"""The job: frozen dataclasses and the job file; no store, no inference."""

from backprobe.job.job_file import parse_job, read_job, write_job
from backprobe.job.model import (
    Code,
    Connector,
    Engine,
    Fitted,
    Indication,
    Job,
    Meter,
    Round,
    Terminal,
    Vehicle,
)

__all__ = [
    "Code",
    "Connector",
    "Engine",
    "Fitted",
    "Indication",
    "Job",
    "Meter",
    "Round",
    "Terminal",
    "Vehicle",
    "parse_job",
    "read_job",
    "write_job",
]
