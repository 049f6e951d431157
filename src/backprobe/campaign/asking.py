"""Ask the program itself for an answer, as the object that `explain --json` prints."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from backprobe.job.model import Job
from backprobe.services.answer import answer_to_json
from backprobe.services.carry import Known
from backprobe.services.explain import answer_of, explain, posterior_of
from backprobe.services.unavailable import Unavailable


def ask(job: Job) -> Mapping[str, Any]:
    """Explain a job."""
    return answer_to_json(explain(job))


@dataclass
class AskOn:
    """Explain a job that grows reading by reading, each time going on from the answer before."""

    earlier: Known | None = None

    def __call__(self, job: Job, without: Sequence[Unavailable] = ()) -> Mapping[str, Any]:
        """Explain the job as it stands now; ``without`` are readings that can't be had."""
        posterior = posterior_of(job, earlier=self.earlier)
        self.earlier = posterior.known
        return answer_to_json(answer_of(posterior, without=without))
