"""The tables of a campaign: shares with their intervals, calibration, coverage."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from backprobe.campaign.scoring import VehicleScore
from backprobe.core.inference.scoring import (
    Share,
    brier_score,
    calibration_error,
    interval_coverage,
    reliability_curve,
    wilson_share,
)
from backprobe.vocabulary import NO_FAULT, split_fault

N_BIN = 10
Chosen: TypeAlias = Callable[[VehicleScore], bool]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table: what was counted, and the share with its 95 % interval."""

    name: str
    share: Share


@dataclass(frozen=True, slots=True)
class FollowedMeans:
    """Following the program's own next readings, against full sheets of the same vehicles."""

    vehicles: int
    readings: float
    full_sheet: float
    minutes: float
    settled: Share
    roles_right: Share
    roles_right_full: Share
    fault_first: Share
    fault_first_full: Share


@dataclass(frozen=True, slots=True)
class Accuracy:
    """What a campaign found."""

    rows: tuple[Row, ...]
    by_circuit: tuple[tuple[str, Share, Share], ...]  # roles right healthy, fault first
    by_kind: tuple[tuple[str, Share], ...]  # true fault first, by kind of fault
    calibration: tuple[tuple[str, float, float, int], ...]  # what, calibration error, Brier, claims
    reliability: tuple[tuple[float, float, Share], ...]  # bin's lower limit, mean stated, observed
    coverage: tuple[tuple[str, Share], ...]
    confusions: tuple[tuple[str, str, int], ...]  # true fault, what was said first, how often
    followed: FollowedMeans | None = None


def accuracy(scores: Sequence[VehicleScore]) -> Accuracy:
    """Count everything that the tables show."""
    answered = [score for score in scores if not score.error]
    return Accuracy(
        rows=_rows(scores, answered),
        by_circuit=_by_circuit(answered),
        by_kind=_by_kind(answered),
        calibration=_calibration(answered),
        reliability=_reliability(answered),
        coverage=_coverage(answered),
        confusions=_confusions(answered),
        followed=_followed(answered),
    )


def _clean(score: VehicleScore) -> bool:
    return not (score.has_bad_round or score.has_slip or score.has_weak_battery)


def _healthy(score: VehicleScore) -> bool:
    return score.fault == NO_FAULT


def _count(scores: Sequence[VehicleScore], among: Chosen, what: Chosen) -> Share:
    chosen = [score for score in scores if among(score)]
    return wilson_share(sum(what(score) for score in chosen), len(chosen))


def _rows(scores: Sequence[VehicleScore], answered: list[VehicleScore]) -> tuple[Row, ...]:
    def among(name: str, which: Chosen, what: Chosen) -> Row:
        return Row(name, _count(answered, which, what))

    def shows(score: VehicleScore) -> bool:
        return _clean(score) and score.is_separable

    def shows_among_all(score: VehicleScore) -> bool:
        return _clean(score) and score.is_compared and score.shows_among_all

    def within(n: int) -> Chosen:
        return lambda score: 0 < score.fault_place <= n

    bad = sum(score.bad_total for score in answered)
    good = [score for score in answered if not score.has_weak_battery]
    return (
        Row("answered", wilson_share(len(answered), len(scores))),
        among(
            "every role right, healthy",
            lambda s: _clean(s) and _healthy(s),
            lambda s: s.all_roles_right,
        ),
        among(
            "every role right, healthy, connectors that read alike aside",
            lambda s: _clean(s) and _healthy(s) and s.is_compared,
            lambda s: s.roles_among_all,
        ),
        among(
            "every role right, one fault",
            lambda s: _clean(s) and not _healthy(s),
            lambda s: s.all_roles_right,
        ),
        among(
            "every role right, one fault, terminals that read alike aside",
            lambda s: _clean(s) and not _healthy(s),
            lambda s: s.all_told_apart_right,
        ),
        among(
            "every role right, one fault, connectors that read alike aside",
            lambda s: _clean(s) and not _healthy(s) and s.is_compared,
            lambda s: s.roles_among_all,
        ),
        among(
            "every role right, bad measurement in a round",
            lambda s: s.has_bad_round,
            lambda s: s.all_roles_right,
        ),
        among("true fault first, where it shows", shows, within(1)),
        among("true fault among first three, where it shows", shows, within(3)),
        among(
            "true fault first, where it shows among all kinds of connectors",
            shows_among_all,
            lambda s: s.place_among_all == 1,
        ),
        among(
            "true fault among first three, where it shows among all kinds of connectors",
            shows_among_all,
            lambda s: 0 < s.place_among_all <= 3,
        ),
        among(
            "true fault first on its right terminal, where it shows",
            shows,
            lambda s: s.fault_place == 1 and s.is_terminal_right,
        ),
        among(
            "right kind of fault first on its right terminal, where it shows",
            shows,
            lambda s: s.is_kind_right,
        ),
        among(
            "fault claimed on a healthy circuit",
            lambda s: _clean(s) and _healthy(s),
            lambda s: s.claims_fault,
        ),
        among(
            "fault claimed on a healthy circuit, bad measurement in a round",
            lambda s: s.has_bad_round and _healthy(s),
            lambda s: s.claims_fault,
        ),
        Row("bad rounds found", wilson_share(sum(s.bad_found for s in answered), bad)),
        Row(
            "good rounds blamed",
            wilson_share(sum(s.good_blamed for s in good), sum(s.good_total for s in good)),
        ),
        among(
            "a good round blamed, connectors without a bad one",
            _clean,
            lambda s: s.good_blamed > 0,
        ),
        among(
            "every role right, a slip of the pen",
            lambda s: s.has_slip and not s.has_bad_round,
            lambda s: s.all_roles_right,
        ),
    )


def _by_circuit(answered: list[VehicleScore]) -> tuple[tuple[str, Share, Share], ...]:
    return tuple(
        (
            circuit,
            _count(
                answered,
                lambda s, c=circuit: _clean(s) and _healthy(s) and s.circuit == c,  # type: ignore[misc]  # bound now
                lambda s: s.all_roles_right,
            ),
            _count(
                answered,
                lambda s, c=circuit: _clean(s) and s.is_separable and s.circuit == c,  # type: ignore[misc]  # bound now
                lambda s: s.fault_place == 1,
            ),
        )
        for circuit in sorted({score.circuit for score in answered})
    )


def _by_kind(answered: list[VehicleScore]) -> tuple[tuple[str, Share], ...]:
    shown = [s for s in answered if _clean(s) and s.is_separable]
    kinds = sorted({split_fault(score.fault)[0] for score in shown})
    found = []
    for kind in kinds:
        of_kind = [score for score in shown if split_fault(score.fault)[0] == kind]
        first = sum(score.fault_place == 1 for score in of_kind)
        found.append((kind, wilson_share(first, len(of_kind))))
    return tuple(found)


def _calibration(answered: list[VehicleScore]) -> tuple[tuple[str, float, float, int], ...]:
    found = []
    for what in ("all", "role", "fault", "trust"):
        claims = [c for s in answered for c in s.claims if what in {"all", c.what}]
        if claims:
            outcomes = np.array([float(claim.is_true) for claim in claims])
            stated = np.array([claim.probability for claim in claims])
            error = calibration_error(outcomes, stated, N_BIN).l1
            found.append((what, error, brier_score(outcomes, stated), len(claims)))
    return tuple(found)


def _reliability(answered: list[VehicleScore]) -> tuple[tuple[float, float, Share], ...]:
    claims = [claim for score in answered for claim in score.claims]
    if not claims:
        return ()
    outcomes = np.array([float(claim.is_true) for claim in claims])
    stated = np.array([claim.probability for claim in claims])
    return tuple(
        (each.low, each.mean_probability, each.observed)
        for each in reliability_curve(outcomes, stated, N_BIN)
        if each.observed.total
    )


def _coverage(answered: list[VehicleScore]) -> tuple[tuple[str, Share], ...]:
    intervals = [each for score in answered if _clean(score) for each in score.intervals]
    found = []
    for name in ("all", *sorted({each.name for each in intervals})):
        chosen = [each for each in intervals if name in {"all", each.name}]
        if chosen:
            truth, low, high = (
                np.array([getattr(each, side) for each in chosen])
                for side in ("truth", "low", "high")
            )
            found.append((name, interval_coverage(truth, low, high)))
    return tuple(found)


def _confusions(answered: list[VehicleScore]) -> tuple[tuple[str, str, int], ...]:
    """What was said first in place of a fault that shows, most frequent first."""
    counts: dict[tuple[str, str], int] = {}
    for score in answered:
        if _clean(score) and score.is_separable and score.fault_place != 1:
            pair = (score.fault, score.said)
            counts[pair] = counts.get(pair, 0) + 1
    ordered = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    return tuple((true, said, count) for (true, said), count in ordered)


def _followed(answered: list[VehicleScore]) -> FollowedMeans | None:
    both = [(score, score.followed) for score in answered if score.followed is not None]
    if not both:
        return None
    shown = [(score, followed) for score, followed in both if _clean(score) and score.is_separable]
    n_both, n_shown = len(both), len(shown)
    return FollowedMeans(
        vehicles=n_both,
        readings=float(np.mean([followed.readings for _, followed in both])),
        full_sheet=float(np.mean([followed.full_sheet for _, followed in both])),
        minutes=float(np.mean([followed.minutes for _, followed in both])),
        settled=wilson_share(sum(followed.settled for _, followed in both), n_both),
        roles_right=wilson_share(sum(followed.all_roles_right for _, followed in both), n_both),
        roles_right_full=wilson_share(sum(score.all_roles_right for score, _ in both), n_both),
        fault_first=wilson_share(sum(followed.fault_place == 1 for _, followed in shown), n_shown),
        fault_first_full=wilson_share(sum(score.fault_place == 1 for score, _ in shown), n_shown),
    )
