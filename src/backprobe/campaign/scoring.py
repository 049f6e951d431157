"""How good one answer is, once the truth is known; pure counting over the answer's JSON object."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from backprobe.campaign.planner import Inquiry
from backprobe.campaign.separability import Separability
from backprobe.campaign.vehicle import Truth
from backprobe.vocabulary import NO_FAULT, split_fault

AnswerObject: TypeAlias = Mapping[str, Any]

CLAIMED = 0.5  # a fault is claimed, a round distrusted, beyond an even chance
NOT_LISTED = 0


@dataclass(frozen=True, slots=True)
class Claim:
    """One thing that the program said, how sure it was, and whether it is true."""

    what: str  # "role", "fault", "trust"
    probability: float
    is_true: bool


@dataclass(frozen=True, slots=True)
class Interval:
    """One estimated value with its interval, and the truth."""

    name: str
    truth: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Followed:
    """How it went where the program's own next readings were taken, from an empty sheet."""

    readings: int
    full_sheet: int
    minutes: float
    settled: bool
    all_roles_right: bool
    fault_place: int


@dataclass(frozen=True, slots=True)
class VehicleScore:
    """Everything that the tables need of one vehicle.

    Parameters
    ----------
    number : int
        The vehicle's number in its campaign.
    circuit, fault : str
        What is true.
    has_bad_round, has_slip, has_weak_battery : bool
        What else is not as it should be.
    is_separable : bool
        A fault that shows in the readings of the good rounds.
    all_roles_right : bool
        Every terminal's role in the most probable assignment, interchangeable wires aside.
    all_told_apart_right : bool
        The same, with pins aside that read alike in every round, too.
    fault_place : int
        Place of the true fault (or of one that no reading tells from it) among those listed, from
        1; 0 where it isn't listed.
    is_terminal_right : bool
        The answer's fault in that place names a terminal that the true fault sits on.
    is_kind_right : bool
        The fault that stands first is of the right kind, on a right terminal, whatever role that
        terminal is taken for (a dead signal wire doesn't tell what it carried).
    claims_fault : bool
        Another fault than "none" stands first, beyond an even chance.
    bad_found, bad_total, good_blamed, good_total : int
        Rounds with a bad measurement that were distrusted, rounds with a good one that were.
    claims, intervals : tuple
        For calibration and coverage.
    misfit : float
        The answer's misfit probability.
    shows_among_all, place_among_all, roles_among_all : bool, int, bool
        `is_separable`, `fault_place` and `all_told_apart_right` where whatever the program lists
        and another connector of any kind was proved to read counts, too (kinds.counting).
    is_compared : bool
        The three before were looked into; else they are left out of the tables.
    followed : Followed or None
        What following the program's own next readings gave, where that was asked for.
    error : str
        Why there is no answer.
    """

    number: int
    circuit: str
    fault: str
    has_bad_round: bool
    has_slip: bool
    has_weak_battery: bool
    is_separable: bool
    all_roles_right: bool = False
    all_told_apart_right: bool = False
    fault_place: int = NOT_LISTED
    is_terminal_right: bool = False
    is_kind_right: bool = False
    claims_fault: bool = False
    bad_found: int = 0
    bad_total: int = 0
    good_blamed: int = 0
    good_total: int = 0
    claims: tuple[Claim, ...] = ()
    intervals: tuple[Interval, ...] = ()
    misfit: float = 1.0
    said: str = ""  # the fault that stands first
    shows_among_all: bool = False
    place_among_all: int = NOT_LISTED
    roles_among_all: bool = False
    is_compared: bool = True
    followed: Followed | None = None
    error: str = ""


def score_vehicle(
    number: int, answer: AnswerObject, truth: Truth, separability: Separability
) -> VehicleScore:
    """Compare an answer with the truth."""
    place = fault_place(answer, truth, separability)
    rounds: Mapping[str, float] = answer["measurement"]["rounds"]
    shown = truth.bad_rounds.keys() - separability.hidden
    bad = {name: trust for name, trust in rounds.items() if name in shown}
    good = {name: trust for name, trust in rounds.items() if name not in truth.bad_rounds}
    nothing: Mapping[str, Any] = {"fault": NO_FAULT, "probability": 0.0}
    first: Mapping[str, Any] = next(iter(answer["faults"]), nothing)
    told_apart = all_roles_right(answer, truth, separability.alike)
    return VehicleScore(
        number=number,
        circuit=truth.circuit,
        fault=truth.fault,
        has_bad_round=bool(truth.bad_rounds),
        has_slip=bool(truth.slips),
        has_weak_battery=truth.weak_battery,
        is_separable=separability.is_separable,
        all_roles_right=all_roles_right(answer, truth),
        all_told_apart_right=told_apart,
        fault_place=place,
        is_terminal_right=_is_terminal_right(answer, truth, place),
        is_kind_right=_is_kind_right(answer, truth, separability),
        claims_fault=first["fault"] != NO_FAULT and first["probability"] > CLAIMED,
        bad_found=sum(trust < CLAIMED for trust in bad.values()),
        bad_total=len(bad),
        good_blamed=sum(trust < CLAIMED for trust in good.values()),
        good_total=len(good),
        claims=(
            *_role_claims(answer, truth),
            *_fault_claims(answer, separability),
            *_trust_claims(answer, truth, separability),
        ),
        intervals=_intervals(answer, truth),
        misfit=float(answer.get("misfit", {}).get("probability", 1.0)),
        said=first["fault"],
        shows_among_all=separability.is_separable,
        place_among_all=place,
        roles_among_all=told_apart,
    )


def score_inquiry(inquiry: Inquiry, truth: Truth, separability: Separability) -> Followed:
    """Compare the last answer of an inquiry with the truth."""
    return Followed(
        readings=inquiry.readings,
        full_sheet=inquiry.full_sheet,
        minutes=inquiry.minutes,
        settled=inquiry.settled,
        all_roles_right=all_roles_right(inquiry.answer, truth),
        fault_place=fault_place(inquiry.answer, truth, separability),
    )


def all_roles_right(
    answer: AnswerObject, truth: Truth, alike: Sequence[frozenset[str]] = ()
) -> bool:
    """Compare the roles, as multisets among pins that are interchangeable or read alike."""
    said = {pin: terminal["role"] for pin, terminal in answer["terminals"].items()}
    groups = joined((*truth.interchangeable, *alike))
    grouped = {pin for group in groups for pin in group}
    alone = all(said.get(pin) == role for pin, role in truth.roles.items() if pin not in grouped)
    together = all(
        Counter(said.get(pin) for pin in group) == Counter(truth.roles[pin] for pin in group)
        for group in groups
    )
    return alone and together


def joined(groups: Sequence[frozenset[str]]) -> tuple[frozenset[str], ...]:
    """Join groups that share a pin."""
    found: list[frozenset[str]] = []
    for group in groups:
        touching = [each for each in found if each & group]
        found = [each for each in found if not each & group]
        found.append(group.union(*touching))
    return tuple(found)


def same_fault(name: str, other: str) -> bool:
    """Compare two names of faults; exchanged wires may be named in either order."""
    kind, roles = split_fault(name)
    other_kind, other_roles = split_fault(other)
    return kind == other_kind and sorted(roles.split("+")) == sorted(other_roles.split("+"))


def accepted_faults(truth: Truth, separability: Separability) -> frozenset[str]:
    """The true fault and those that the readings can't tell from it."""
    accepted = separability.rivals | {truth.fault}
    return accepted - {NO_FAULT} if separability.is_separable else accepted


def fault_place(answer: AnswerObject, truth: Truth, separability: Separability) -> int:
    """Place, from 1, of the first listed fault that the readings can't tell from the true one."""
    accepted = accepted_faults(truth, separability)
    for place, fault in enumerate(answer["faults"], start=1):
        if any(same_fault(fault["fault"], name) for name in accepted):
            return place
    return NOT_LISTED


def _is_terminal_right(answer: AnswerObject, truth: Truth, place: int) -> bool:
    if place == NOT_LISTED or truth.fault == NO_FAULT:
        return place != NOT_LISTED
    return _sits_right(answer["faults"][place - 1], truth)


def _sits_right(fault: Mapping[str, Any], truth: Truth) -> bool:
    allowed = set(truth.fault_pins)
    for group in truth.interchangeable:
        if allowed & group:
            allowed |= group
    return bool(allowed & set(fault["terminals"]))


def _is_kind_right(answer: AnswerObject, truth: Truth, separability: Separability) -> bool:
    if not answer["faults"]:
        return False
    first = answer["faults"][0]
    kinds = {split_fault(name)[0] for name in separability.rivals | {truth.fault}}
    kinds.discard(NO_FAULT)
    if truth.fault == NO_FAULT:
        return bool(first["fault"] == NO_FAULT)
    return split_fault(first["fault"])[0] in kinds and _sits_right(first, truth)


def _role_claims(answer: AnswerObject, truth: Truth) -> list[Claim]:
    """The most probable role of each terminal; interchangeable pins share their roles."""
    claims = []
    for pin, terminal in answer["terminals"].items():
        accepted = {truth.roles[pin]}
        for group in truth.interchangeable:
            if pin in group:
                accepted = {truth.roles[other] for other in group}
        roles: Mapping[str, float] = terminal["roles"]
        pooled = dict(roles)
        if len(accepted) > 1:
            shared = sum(p for role, p in roles.items() if role in accepted)
            pooled = {role: p for role, p in roles.items() if role not in accepted}
            pooled[truth.roles[pin]] = shared
        role, probability = max(pooled.items(), key=_probability)
        claims.append(Claim("role", min(probability, 1.0), role in accepted))
    return claims


def _probability(item: tuple[str, float]) -> float:
    return item[1]


def _fault_claims(answer: AnswerObject, separability: Separability) -> list[Claim]:
    """The fault that stands first; those that no reading tells from the true one are true too.

    Their probabilities belong together then: a class is claimed with the sum of its members.
    """
    if not answer["faults"]:
        return []
    first = answer["faults"][0]
    rivals = separability.rivals

    def is_rival(fault: Mapping[str, Any]) -> bool:
        return any(same_fault(fault["fault"], name) for name in rivals)

    if not is_rival(first):
        return [Claim("fault", first["probability"], is_true=False)]
    together = sum(fault["probability"] for fault in answer["faults"] if is_rival(fault))
    return [Claim("fault", min(together, 1.0), is_true=True)]


def _trust_claims(answer: AnswerObject, truth: Truth, separability: Separability) -> list[Claim]:
    """Each round's trust, as the claim that it is good, or bad, whichever is more probable."""
    return [
        Claim("trust", max(trust, 1.0 - trust), (name in truth.bad_rounds) == (trust < CLAIMED))
        for name, trust in answer["measurement"]["rounds"].items()
        if name not in separability.hidden
    ]


def _intervals(answer: AnswerObject, truth: Truth) -> tuple[Interval, ...]:
    true = {(each.name, each.round, each.terminal): each.value for each in truth.estimates}
    found = []
    for estimate in answer.get("estimates", ()):
        value = _true_value(true, estimate)
        if value is not None:
            found.append(Interval(estimate["name"], value, estimate["low"], estimate["high"]))
    return tuple(found)


def _true_value(
    true: Mapping[tuple[str, str, str], float], estimate: Mapping[str, Any]
) -> float | None:
    """The truth for an estimate; what holds for all rounds may be given for one, and inversely."""
    name, in_round, terminal = estimate["name"], estimate["round"], estimate["terminal"]
    places: Sequence[tuple[str, str, str]] = (
        (name, in_round, terminal),
        (name, in_round, ""),
        (name, "", terminal),
    )
    for place in places:
        if place in true:
            return true[place]
    return None
