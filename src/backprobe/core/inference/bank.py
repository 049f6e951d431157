"""A bank of particles: every hypothesis solved beforehand for values drawn from its priors.

The bank only has to find which hypotheses and which assignments of wires deserve a fit, and where
the fit may start (`screen.py`); it need not hit the readings closely.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import Layout, layout_of, start_choices
from backprobe.core.inference.predict import predict
from backprobe.core.inference.prior import option_middles
from backprobe.core.inference.sheet import Sheet, SheetRound

Array = NDArray[np.float64]
Single = NDArray[np.float32]
IntArray = NDArray[np.int64]

# Standard rounds: (plugged, powered, state, state_high); states as `families.schema.STATES`.
UNPLUGGED, KEY_ON, CRANK, IDLE, RAISED, SNAP, SWEEP, UNPLUGGED_OFF = range(8)
STANDARD_ROUNDS = (
    SheetRound("unplugged", plugged=False, powered=True, state=0, state_high=0),
    SheetRound("key on", plugged=True, powered=True, state=0, state_high=0),
    SheetRound("crank", plugged=True, powered=True, state=1, state_high=1),
    SheetRound("idle", plugged=True, powered=True, state=2, state_high=2),
    SheetRound("raised", plugged=True, powered=True, state=3, state_high=3),
    SheetRound("snap", plugged=True, powered=True, state=4, state_high=5),
    SheetRound("sweep", plugged=True, powered=True, state=6, state_high=7),
    SheetRound("off", plugged=False, powered=False, state=0, state_high=0),
)
FIELDS = ("mean", "high", "low", "alternating", "thevenin", "log_hertz", "share_high", "unit")
LARGEST_Z = 2.3  # particles further out than this would start fits where nothing is linear
_CHUNK = 2048


@dataclass(frozen=True, slots=True)
class RoundBank:
    """Particles solved for one standard round.

    fields : by name, ndarray of float32, shape (B, T).
    battery, celsius : ndarray of float32, shape (B,).
    """

    fields: Mapping[str, Single]
    battery: Single
    celsius: Single


@dataclass(frozen=True, slots=True)
class Bank:
    """Particles of all hypotheses; B = sum over hypotheses of their number of particles.

    hypothesis : ndarray of int, shape (B,)
    z : ndarray, shape (B, n_z): coordinates in the layout of all standard rounds.
    ohm : ndarray of float32, shape (B, T, T): log resistance of the lone sensor.
    rounds : standard rounds solved so far, by their number.
    """

    hypothesis: IntArray
    z: Single
    ohm: Single
    rounds: dict[int, RoundBank]


def standard_sheet(n_terminal: int, n_role: int) -> Sheet:
    """The sheet of standard rounds, without readings."""
    none = np.zeros(0, dtype=np.int64)
    return Sheet(
        rounds=STANDARD_ROUNDS,
        n_terminal=n_terminal,
        quantity=none,
        round=none,
        terminal=none,
        other=none,
        value=np.zeros(0),
        deviation=np.zeros(0),
        load_ohm=np.zeros(0),
        reported=none,
        label=(),
        input_ohm=1e7,
        role_log=np.zeros((n_terminal, n_role)),
    )


def draw_coordinates(n_particle: int, n_z: int, seed: int) -> Array:
    """Quasi-random standard normal coordinates (Sobol points), (n_particle, n_z)."""
    sobol = qmc.Sobol(d=n_z, scramble=True, rng=np.random.default_rng(seed))
    exponent = int(np.ceil(np.log2(max(n_particle, 2))))
    points = sobol.random_base2(exponent)[:n_particle]
    return np.clip(ndtri(np.clip(points, 1e-6, 1 - 1e-6)), -LARGEST_Z, LARGEST_Z)


def with_rare_options(
    table: HypothesisTable, hypothesis: IntArray, layout: Layout, z: Array
) -> Array:
    """Coordinates whose choices fall on rare options more often than their priors have it.

    As often as the square roots of their probabilities say: of thirty particles five have an option
    of three in a hundred, where one would. What a fit starts from is no evidence, and from a start
    with other choices than the vehicle's, which do not move in a fit, it never comes near.

    Parameters
    ----------
    table : HypothesisTable
        All hypotheses.
    hypothesis : ndarray of int, shape (B,)
        Hypothesis of each row.
    layout : Layout
        Of the coordinates.
    z : ndarray, shape (B, n_z)

    Returns
    -------
    ndarray, shape (B, n_z)
        Each choice in the middle of an option's bin.
    """
    out = z.copy()
    free = slice(layout.n_free)
    out[:, free] = _spread(table.static.choice, table.static.edge, hypothesis, z[:, free])
    for state in layout.states:
        choice, edge = (a[:, state] for a in (table.driven_prior.choice, table.driven_prior.edge))
        base = layout.base(state)
        out[:, base] = _spread(choice, edge, hypothesis, z[:, base])
    return out


def _spread(choice: Array, edge: Array, hypothesis: IntArray, z: Array) -> Array:
    """Coordinates (B, n) with choices, whose options (H, n, N_CHOICE) say, more evenly spread."""
    out = z.copy()
    reach = np.cumsum(np.sqrt(np.diff(ndtr(edge), axis=-1, prepend=0.0)), axis=-1)
    middle = option_middles(choice, edge)
    for q in np.flatnonzero(~np.isnan(choice[..., 0]).all(axis=0)):
        own = reach[hypothesis, q]  # (B, N_CHOICE)
        place = (ndtr(z[:, q]) * own[:, -1] > own.T).sum(axis=0)
        chosen = middle[hypothesis, q, np.minimum(place, choice.shape[-1] - 1)]
        out[:, q] = np.where(np.isnan(chosen), z[:, q], chosen)
    return out


def draw_bank(
    table: HypothesisTable,
    n_particle: IntArray,
    sheet: Sheet,
    seed: int,
    n_rare: IntArray | None = None,
) -> Bank:
    """Draw particles, nothing solved yet.

    Parameters
    ----------
    table : HypothesisTable
        H hypotheses.
    n_particle : ndarray of int, shape (H,)
        Particles of each.
    sheet : Sheet
        `standard_sheet`.
    seed : int
        Of the quasi-random points.
    n_rare : ndarray of int, shape (H,), optional
        How many of them, the last ones, are drawn `with_rare_options`; none by default.

    Returns
    -------
    Bank
        Without rounds; hypotheses in the order of the table.
    """
    layout = layout_of(table, sheet)
    points = draw_coordinates(int(n_particle.max()), layout.size, seed)
    points[:, layout.change(0).start :] = 0.0  # no change between rounds, sound black leads
    hypothesis = np.repeat(np.arange(n_particle.size), n_particle)
    z = np.concatenate([points[:n] for n in n_particle])
    if n_rare is not None:
        before = np.repeat(np.cumsum(n_particle) - n_rare, n_particle)
        some = np.flatnonzero(np.arange(hypothesis.size) >= before)
        z[some] = with_rare_options(table, hypothesis[some], layout, z[some])
    n_t = table.role.shape[1]
    ohm = np.zeros((hypothesis.size, n_t, n_t), dtype=np.float32)
    return Bank(hypothesis, z.astype(np.float32), ohm, {})


def part(bank: Bank, index: IntArray) -> Bank:
    """Some particles of a bank, (n,), in the order of ``index``."""
    rounds = {
        number: RoundBank(
            {name: values[index] for name, values in solved.fields.items()},
            solved.battery[index],
            solved.celsius[index],
        )
        for number, solved in bank.rounds.items()
    }
    return Bank(bank.hypothesis[index], bank.z[index], bank.ohm[index], rounds)


def solve_rounds(
    bank: Bank,
    table: HypothesisTable,
    sheet: Sheet,
    which: Sequence[int],
    progress: Callable[[float], None] | None = None,
) -> None:
    """Solve standard rounds of a bank and keep them in it (and the lone sensor, once).

    Parameters
    ----------
    bank : Bank
        Filled in place.
    table, sheet : HypothesisTable, Sheet
        That the bank was drawn with.
    which : sequence of int
        Standard rounds.
    progress : callable, optional
        Told the share done.
    """
    part = replace(sheet, rounds=tuple(STANDARD_ROUNDS[r] for r in which))
    whole, layout = layout_of(table, sheet), layout_of(table, part)
    n_b, n_t = bank.hypothesis.size, table.role.shape[1]
    made = {
        r: RoundBank(
            {n: np.zeros((n_b, n_t), dtype=np.float32) for n in FIELDS},
            np.zeros(n_b, dtype=np.float32),
            np.zeros(n_b, dtype=np.float32),
        )
        for r in which
    }
    with_ohm = [k for k, r in enumerate(which) if r == UNPLUGGED]
    done = 0
    for index, n_particle in _batches(bank, table):
        at = np.flatnonzero(np.isin(bank.hypothesis, index))
        rows = table.repeated(index, n_particle)
        z = start_coordinates(bank, table, at, whole, layout)
        p = predict(rows, z, part, ohm_rounds=with_ohm)
        for k, r in enumerate(which):
            for name in FIELDS:
                made[r].fields[name][at] = getattr(p, name).value[:, k]
            made[r].battery[at] = p.battery.value[:, k, 0]
            made[r].celsius[at] = p.celsius.value[:, k, 0]
        for k in with_ohm:
            bank.ohm[at] = p.ohm[:, k]
        done += at.size
        if progress is not None:
            progress(done / n_b)
    bank.rounds.update(made)


def _batches(bank: Bank, table: HypothesisTable) -> Iterator[tuple[IntArray, int]]:
    """Hypotheses of like size, so that little is padded: (indices, particles of each)."""
    count = np.bincount(bank.hypothesis, minlength=table.n_wire.size)
    n_switch = (table.circuits.switch_share >= 0).sum(axis=1)
    n_stamp = (table.circuits.kind > 0).sum(axis=1)
    order = np.lexsort((n_stamp, n_switch, count))
    start = 0
    while start < order.size:
        first = order[start]
        per_chunk = max(1, _CHUNK // int(count[first]))
        same = (count[order] == count[first]) & (n_switch[order] == n_switch[first])
        stop = start
        while stop < order.size and same[stop] and stop - start < per_chunk:
            stop += 1
        yield np.sort(order[start:stop]), int(count[first])
        start = stop


def start_coordinates(
    bank: Bank, table: HypothesisTable, particle: IntArray, whole: Layout, layout: Layout
) -> Array:
    """Coordinates of particles moved from the bank's layout to a sheet's, (M, n_z)."""
    z = np.zeros((particle.size, layout.size))
    source = bank.z[particle].astype(np.float64)
    z[:, : layout.n_free] = source[:, : whole.n_free]
    hypothesis = bank.hypothesis[particle]
    alias = table.driven_alias[hypothesis]
    for state in layout.states:
        at = np.zeros((particle.size, layout.n_driven), dtype=np.int64)
        for known in reversed(whole.states):
            start = whole.base(known).start + np.arange(layout.n_driven)
            at = np.where(alias[:, known] == alias[:, state], start, at)
        z[:, layout.base(state)] = np.take_along_axis(source, at, axis=1)
    return start_choices(table, hypothesis, layout, z)
