"""Ask the program itself for an answer, as the object that `explain --json` prints."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from backprobe.job.model import Job
from backprobe.services.answer import answer_to_json
from backprobe.services.carry import Known
from backprobe.services.explain import answer_of, posterior_of
from backprobe.services.joint_explanations import JointExplanation, joint_explanations
from backprobe.services.unavailable import Unavailable

LEAST_LISTED = 0.01  # probability of an explanation that is worth a look


@dataclass(frozen=True, slots=True)
class Asked:
    """An answer, and the explanations behind it that are worth a look, most probable first."""

    answer: Mapping[str, Any]
    explanations: tuple[JointExplanation, ...] = ()


def ask(job: Job) -> Mapping[str, Any]:
    """Explain a job."""
    return ask_closely(job).answer


def ask_closely(job: Job) -> Asked:
    """Explain a job, and list what it may be: kind, fault and roles together."""
    posterior = posterior_of(job)
    listed = (e for e in joint_explanations(posterior) if e.probability >= LEAST_LISTED)
    return Asked(answer_to_json(answer_of(posterior)), tuple(listed))


@dataclass
class AskOn:
    """Explain a job that grows reading by reading, each time going on from the answer before."""

    earlier: Known | None = None

    def __call__(self, job: Job, without: Sequence[Unavailable] = ()) -> Mapping[str, Any]:
        """Explain the job as it stands now; ``without`` are readings that can't be had."""
        posterior = posterior_of(job, earlier=self.earlier)
        self.earlier = posterior.known
        return answer_to_json(answer_of(posterior, without=without))
