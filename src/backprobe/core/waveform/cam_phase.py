"""Where the edges of a camshaft sensor fall on two turns of the crankshaft."""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.toothed_wheel import WheelReading, require_rising

Array: TypeAlias = NDArray[np.float64]

_CYCLE_DEG: Final = 720.0
# Edges nearer to each other than this are one edge of the cam wheel, seen again and again: half of
# the pitch of a crank wheel of sixty, well above chain and belt flutter of a degree or two.
_CLUSTER_DEG: Final = 6.0
# Cam edges that appear in fewer cycles than this share belong to no fixed place.
_PRESENT_SHARE: Final = 0.8
_MIN_CYCLES: Final = 2.0
# Drift counts beyond this many standard uncertainties and this many degrees over the record.
_DRIFT_FACTOR: Final = 4.0
_DRIFT_DEG: Final = 1.0


class CamVerdict(Enum):
    """How the cam edges sit against the crank."""

    STEADY = "each cam edge keeps its place"
    DRIFTS = "cam edges move against the crank"
    LOOSE = "cam edges keep no place against the crank"
    CANT_TELL = "can't tell"


@dataclass(frozen=True)
class CamEdge:
    """One edge of the cam wheel.

    Parameters
    ----------
    angle_deg : float
        Mean place on two crank turns, degrees, from the first tooth after the gap; which of the two
        turns counts as the first is not known to the crank.
    uncertainty_deg : float
        Standard uncertainty of the mean.
    scatter_deg : float
        Standard deviation from cycle to cycle with the drift taken out.
    drift_deg : float
        Change from the start to the end of the record, above 0 = later.
    drift_uncertainty_deg : float
        Standard uncertainty of the drift.
    count : int
        Cycles it was seen in.
    """

    angle_deg: float
    uncertainty_deg: float
    scatter_deg: float
    drift_deg: float
    drift_uncertainty_deg: float
    count: int


@dataclass(frozen=True)
class CamPhase:
    """Cam edges against the crank.

    Parameters
    ----------
    verdict : CamVerdict
        Whether they keep their places.
    edges : tuple of CamEdge
        By rising angle.
    n_cycle : float
        Cycles of two crank turns in which both were recorded.
    repeats_each_turn : bool
        Whether the edges lie alike on both turns: such a wheel tells no cycle.
    n_astray : int
        Edges that belong to none of the places.
    """

    verdict: CamVerdict
    edges: tuple[CamEdge, ...]
    n_cycle: float
    repeats_each_turn: bool
    n_astray: int


def cam_phase(crank_instants: Array, wheel: WheelReading, cam_instants: Array) -> CamPhase:
    """Place cam edges on two turns of the crank.

    Parameters
    ----------
    crank_instants : ndarray, shape (n_crank,)
        Instants of the crank edges that the wheel was recognised from, s.
    wheel : WheelReading
        The crank wheel; its pattern has to repeat once a turn.
    cam_instants : ndarray, shape (n_cam,)
        Instants of cam edges of one slope, s.

    Returns
    -------
    CamPhase
        Places, scatter and drift; can't tell below two cycles or without a marked crank wheel.

    Raises
    ------
    ValueOutOfRange
        Instants don't rise, or aren't finite.
    """
    crank = require_rising(crank_instants, "crank against cam")
    cam = require_rising(cam_instants, "crank against cam")
    nothing = CamPhase(CamVerdict.CANT_TELL, (), 0.0, False, 0)
    if not wheel.turn_pitches or wheel.pitch_place.size != crank.size:
        return nothing
    inside = cam[(cam >= crank[0]) & (cam <= crank[-1])]
    degrees = 360.0 / wheel.turn_pitches * wheel.pitch_place
    n_cycle = float(degrees[-1] - degrees[0]) / _CYCLE_DEG
    if inside.size < 2 or n_cycle < _MIN_CYCLES:
        return nothing
    angle = np.interp(inside, crank, degrees)
    clusters = _clusters(angle)
    kept = [places for places in clusters if _is_kept(places, degrees)]
    n_astray = inside.size - sum(places.size for places in kept)
    edges = tuple(sorted((_edge(places) for places in kept), key=lambda edge: edge.angle_deg))
    if not edges or n_astray > (1.0 - _PRESENT_SHARE) * inside.size:
        return CamPhase(CamVerdict.LOOSE, edges, n_cycle, False, n_astray)
    moved = any(
        abs(edge.drift_deg) > max(_DRIFT_DEG, _DRIFT_FACTOR * edge.drift_uncertainty_deg)
        for edge in edges
    )
    verdict = CamVerdict.DRIFTS if moved else CamVerdict.STEADY
    return CamPhase(verdict, edges, n_cycle, _is_alike(edges), n_astray)


def _clusters(angle: Array) -> list[Array]:
    """Group crank angles (not folded) by where they lie on two turns."""
    folded = angle % _CYCLE_DEG
    order = np.argsort(folded)
    steps = np.diff(folded[order], append=folded[order[0]] + _CYCLE_DEG)
    breaks = np.flatnonzero(steps > _CLUSTER_DEG)
    if not breaks.size:
        return [angle]
    turned = np.roll(order, -(int(breaks[-1]) + 1))
    sizes = np.diff(breaks, prepend=breaks[-1] - order.size)
    return [angle[part] for part in np.split(turned, np.cumsum(sizes)[:-1])]


def _is_kept(places: Array, degrees: Array) -> bool:
    """Tell whether a place was met in most of the cycles that passed it."""
    where = float(np.median((places - places[0] + 360.0) % _CYCLE_DEG) + places[0] - 360.0)
    first = np.ceil((degrees[0] - where) / _CYCLE_DEG)
    last = np.floor((degrees[-1] - where) / _CYCLE_DEG)
    visits = float(last - first + 1.0)
    return bool(places.size >= max(2.0, _PRESENT_SHARE * visits - 0.5))


def _edge(places: Array) -> CamEdge:
    cycle = np.round((places - places[0]) / _CYCLE_DEG)
    off = places - places[0] - cycle * _CYCLE_DEG  # degrees from the first one
    count = places.size
    middle = float(off.mean())
    drift, drift_u, left = 0.0, float("inf"), off - middle
    if count >= 3 and np.ptp(cycle) > 0.0:
        along = cycle - cycle.mean()
        slope = float(along @ off / (along @ along))
        left = off - middle - slope * along
        spread = float(np.sqrt(left @ left / (count - 2)))
        drift = slope * float(np.ptp(cycle))
        drift_u = spread / float(np.sqrt(along @ along)) * float(np.ptp(cycle))
    scatter = float(np.sqrt(left @ left / max(1, count - 2)))
    angle = (float(places[0]) + middle) % _CYCLE_DEG
    return CamEdge(angle, scatter / float(np.sqrt(count)), scatter, drift, drift_u, count)


def _is_alike(edges: tuple[CamEdge, ...]) -> bool:
    angles = np.array([edge.angle_deg for edge in edges])
    apart = np.abs(angles[:, None] - angles)
    # Each edge has a partner one crank turn on.
    return bool(np.all(np.abs(apart - 360.0).min(axis=1) < _CLUSTER_DEG))
