"""How probable it is that a circuit holds what a reading needs, or must not meet.

A cell must not be loaded, an ohmmeter tells nothing across electronics, a thermometer needs an
element that senses temperature, and moving something needs something that moves.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from backprobe.families.schema import Family
from backprobe.services.engine import Posterior
from backprobe.vocabulary import REPORTED_TEMPERATURES, ROLES, SCAN_NAMES

Array = NDArray[np.float64]

VOLTS = " volts"  # behind the name of a value: what the control unit sees at that input


def share_of(posterior: Posterior, has: Callable[[Family], bool]) -> float:
    """Probability of the families that have something."""
    weight = np.bincount(posterior.draws.hypothesis, weights=posterior.draws.weight)
    pairs = posterior.bench.hypotheses.pairs
    return sum(float(weight[h]) for h in np.flatnonzero(weight > 0.0) if has(pairs[h][0]))


def answers_snap(family: Family) -> bool:
    """Whether a snap of the throttle moves something in it."""
    return any("snap-high" in driven.states for driven in family.driven.values())


def answers_sweep(family: Family) -> bool:
    """Whether it has something that is moved by hand or foot from stop to stop.

    A contact isn't: whether it can be worked at all is not known. What takes a tool (a hand pump),
    or may be the engine's (a wheel), isn't proposed either.
    """
    return family.kind in ("position", "actuator") and any(
        "sweep-high" in driven.states and driven.states["sweep-high"].kind != "choice"
        for driven in family.driven.values()
    )


def watches_a_wheel(family: Family) -> bool:
    """Whether it tells how fast something turns."""
    return family.kind == "speed"


def answers_crank(family: Family) -> bool:
    """Whether it watches what the starter turns, and shows it by what switches or alternates."""
    return watches_a_wheel(family) and any(
        driven.unit == "hertz" and "crank" in driven.states for driven in family.driven.values()
    )


def _of_terminals(posterior: Posterior, of_wire: Array) -> Array:
    """Mean over draws and assignments of what is known of each wire, (n_terminal,)."""
    draws = posterior.draws
    return np.asarray(np.einsum("d,dtw,dw->t", draws.weight, draws.marginal, of_wire))


def cell_share(posterior: Posterior) -> Array:
    """Probability that each terminal holds a wire of an oxygen cell, (n_terminal,)."""
    hypotheses, draws = posterior.bench.hypotheses, posterior.draws
    oxygen = np.array([hypotheses.pairs[int(h)][0].kind == "oxygen" for h in draws.hypothesis])
    role = hypotheses.table.role[draws.hypothesis]
    generator = np.isin(role, [k for k, n in enumerate(ROLES) if n.startswith("generator-")])
    return _of_terminals(posterior, (oxygen[:, None] & generator).astype(np.float64))


def share_without_ohms(posterior: Posterior) -> Array:
    """Probability that an ohmmeter finds electronics between two terminals, (n, n)."""
    table, draws = posterior.bench.hypotheses.table, posterior.draws
    active = np.take_along_axis(table.active_end[draws.hypothesis], draws.best, axis=1)
    part = np.take_along_axis(table.component[draws.hypothesis], draws.best, axis=1)
    either = active[:, :, None] | active[:, None, :]
    apart = part[:, :, None] != part[:, None, :]
    return np.asarray(np.einsum("d,dtu->tu", draws.weight, (either & apart).astype(np.float64)))


def share_with_celsius(posterior: Posterior) -> float:
    """Probability of a circuit with a temperature-sensing element."""
    draws = posterior.draws
    has = posterior.bench.hypotheses.table.celsius[draws.hypothesis] >= 0
    return float(np.sum(draws.weight[has]))


def names_reported(posterior: Posterior, least: float) -> tuple[str, ...]:
    """Values by which a control unit tells of some wire, with that probability at least."""
    draws, table = posterior.draws, posterior.bench.hypotheses.table
    share = draws.weight @ (table.reported[draws.hypothesis] >= 0)
    names = [name for name, own in zip(SCAN_NAMES, share, strict=True) if own >= least]
    return tuple(n for n in names if n in REPORTED_TEMPERATURES) + tuple(n + VOLTS for n in names)
