"""Run a campaign: draw, answer and score many vehicles, in several processes."""

import multiprocessing
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np

from backprobe.campaign import asking
from backprobe.campaign.asking import Asked, AskOn, ask
from backprobe.campaign.draw import Wishes, draw_vehicle
from backprobe.campaign.kinds.counting import among_all_kinds
from backprobe.campaign.kinds.kept_proofs import KeptProofs
from backprobe.campaign.planner import AnsweringWithout, follow
from backprobe.campaign.saving import save_answer, save_vehicle
from backprobe.campaign.scoring import VehicleScore, score_inquiry, score_vehicle
from backprobe.campaign.separability import Separability
from backprobe.campaign.separability_cache import kept_separability
from backprobe.campaign.vehicle import Vehicle
from backprobe.errors import BackprobeError
from backprobe.job.model import Job

Answering: TypeAlias = Callable[[Job], Mapping[str, Any]]
Progress: TypeAlias = Callable[[int, int], None]

FOLLOWING = 1  # keeps the random numbers of an inquiry apart from those of its vehicle


@dataclass(frozen=True, slots=True)
class Campaign:
    """How many vehicles, of what sort, from which seed, in how many processes.

    ``save`` = a folder for their files; ``follow`` = the program's own next readings are taken,
    too, on each vehicle from an empty sheet; ``all_kinds`` = how many, from the first on, are
    compared with connectors of all kinds, which takes longer than the answers (None = all).
    """

    vehicles: int
    seed: int = 1
    wishes: Wishes = field(default_factory=Wishes)
    workers: int = 2
    save: Path | None = None
    follow: bool = False
    all_kinds: int | None = None


def vehicle_of(campaign: Campaign, number: int) -> Vehicle:
    """Draw one vehicle of a campaign: the same for the same seed and number, always."""
    rng = np.random.default_rng([campaign.seed, number])
    return draw_vehicle(rng, campaign.wishes, number)


def score_one(campaign: Campaign, answering: Answering, number: int) -> VehicleScore:
    """Draw a vehicle, have it answered, score the answer."""
    vehicle = vehicle_of(campaign, number)
    stem = f"vehicle-{number:05d}"
    if campaign.save is not None:
        save_vehicle(vehicle, campaign.save, stem)
    truth = vehicle.truth
    key = repr((campaign.seed, campaign.wishes, number))
    shown = kept_separability(vehicle, key)
    try:
        asked = _asked(answering, vehicle.job)
    except BackprobeError as error:
        return _unanswered(number, vehicle, shown, str(error))
    answer = asked.answer
    if campaign.save is not None:
        save_answer(answer, shown, campaign.save, stem)
    score = score_vehicle(number, answer, truth, shown)
    if campaign.all_kinds is None or number <= campaign.all_kinds:
        score = among_all_kinds(score, asked, truth, shown, KeptProofs(vehicle, key))
    else:
        score = replace(score, is_compared=False)
    if campaign.follow:
        rng = np.random.default_rng([campaign.seed, number, FOLLOWING])
        score = replace(
            score, followed=score_inquiry(follow(vehicle, going_on(answering), rng), truth, shown)
        )
    return score


def _asked(answering: Answering, job: Job) -> Asked:
    """The program itself also tells which explanations stand behind its answer."""
    return asking.ask_closely(job) if answering is ask else Asked(answering(job))


def going_on(answering: Answering) -> AnsweringWithout:
    """The program itself, asked reading by reading, goes on from its last answer."""
    return AskOn() if answering is ask else lambda job, _: answering(job)


def _unanswered(number: int, vehicle: Vehicle, shown: Separability, error: str) -> VehicleScore:
    truth = vehicle.truth
    return VehicleScore(
        number=number,
        circuit=truth.circuit,
        fault=truth.fault,
        has_bad_round=bool(truth.bad_rounds),
        has_slip=bool(truth.slips),
        has_weak_battery=truth.weak_battery,
        is_separable=shown.is_separable,
        error=error,
    )


def run_campaign(
    campaign: Campaign, answering: Answering, progress: Progress | None = None
) -> tuple[VehicleScore, ...]:
    """Score all vehicles of a campaign, in their order.

    Parameters
    ----------
    campaign : Campaign
        What to run.
    answering : callable
        Takes a job, gives the answer's JSON object; a function of a module, since other processes
        have to find it by its name.
    progress : callable, optional
        Told after each vehicle: how many are done, how many there are.
    """
    scores = []
    for done, score in enumerate(_scores(campaign, answering), start=1):
        scores.append(score)
        if progress is not None:
            progress(done, campaign.vehicles)
    return tuple(scores)


def _scores(campaign: Campaign, answering: Answering) -> Iterator[VehicleScore]:
    one = partial(score_one, campaign, answering)
    numbers = range(1, campaign.vehicles + 1)
    if campaign.workers <= 1:
        yield from map(one, numbers)
        return
    # "spawn" everywhere: Windows knows no other way, so that a result never hangs on the system.
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(campaign.workers, mp_context=context)
    try:
        yield from pool.map(one, numbers, chunksize=2)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
