"""Ask the program itself for an answer, as the object that `explain --json` prints."""

from collections.abc import Mapping
from typing import Any

from backprobe.job.model import Job
from backprobe.services.answer import answer_to_json
from backprobe.services.explain import explain


def ask(job: Job) -> Mapping[str, Any]:
    """Explain a job."""
    return answer_to_json(explain(job))
