"""Right and wrong anew, where connectors of all kinds count that could read the same.

The candidates are what the program itself lists. Each counts only if the simulator proves it,
and is asked for only where it can change something.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, TypeAlias

from backprobe.campaign.asking import Asked
from backprobe.campaign.kinds.rivals import Rival
from backprobe.campaign.scoring import (
    NOT_LISTED,
    VehicleScore,
    accepted_faults,
    all_roles_right,
    same_fault,
)
from backprobe.campaign.separability import Separability
from backprobe.campaign.vehicle import Truth
from backprobe.vocabulary import NO_FAULT

Proving: TypeAlias = Callable[[Rival], bool]
N_FIRST = 3  # places among those listed that a table asks for


def among_all_kinds(
    score: VehicleScore, asked: Asked, truth: Truth, shown: Separability, proving: Proving
) -> VehicleScore:
    """Count a vehicle's roles and its fault again; where it has none, the roles alone.

    A vehicle that is badly measured stays as it is: no table asks what it shows.
    """
    is_odd = score.has_bad_round or score.has_slip or score.has_weak_battery
    if is_odd or not asked.explanations:
        return score
    rivals = rivals_of(asked, truth, accepted_faults(truth, shown))
    roles = score.all_told_apart_right or _are_proved(asked.answer, rivals, proving)
    if truth.fault == NO_FAULT:
        return replace(score, roles_among_all=roles)
    healthy = [rival for rival in rivals if rival.fault == NO_FAULT]
    shows = score.is_separable and not any(proving(rival) for rival in healthy)
    place = score.fault_place
    if shows:
        place = _place(asked.answer, place, rivals, proving)
    return replace(score, shows_among_all=shows, place_among_all=place, roles_among_all=roles)


def rivals_of(asked: Asked, truth: Truth, accepted: frozenset[str]) -> list[Rival]:
    """Explanations that say something else than what counts as right already."""
    return [
        Rival(each.circuit, each.fault, each.roles)
        for each in asked.explanations
        if each.fault == NO_FAULT
        or not any(same_fault(each.fault, name) for name in accepted)
        or not _has_true_roles(each.roles, truth)
    ]


def _has_true_roles(roles: tuple[tuple[str, str], ...], truth: Truth) -> bool:
    said = {"terminals": {pin: {"role": role} for pin, role in roles}}
    return all_roles_right(said, truth)


def _place(answer: Mapping[str, Any], before: int, rivals: list[Rival], proving: Proving) -> int:
    """First place of a fault that was right before or is proved; those behind change nothing."""
    last = N_FIRST if before == NOT_LISTED else min(before - 1, N_FIRST)
    for place, listed in enumerate(answer["faults"][:last], start=1):
        named = [rival for rival in rivals if same_fault(rival.fault, listed["fault"])]
        if listed["fault"] != NO_FAULT and any(proving(rival) for rival in named):
            return place
    return before


def _are_proved(answer: Mapping[str, Any], rivals: list[Rival], proving: Proving) -> bool:
    """Whether a connector with the roles that were said could read the same."""
    said = {pin: terminal["role"] for pin, terminal in answer["terminals"].items()}
    return any(proving(rival) for rival in rivals if dict(rival.roles) == said)
