"""Choices: values that pick among options and do not move in a fit.

A choice of the circuit (is the input pulled up or down?) is the same in all rounds. A driven one
(is the contact open, does a tooth stand before the sensor?) has an option of its own in each round:
along the rounds of one state it stays as it was or, with the chance that its family gives, is drawn
afresh from its prior; a Markov chain of the first order. What no reading depends on is summed over
by the chain's forward recursion, and the best path is found by maximising along it [rabiner1989].
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import Layout
from backprobe.core.inference.prior import N_CHOICE, choice_bin, option_at, option_middles

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

HELD = 0.04  # share of the usual chance to move that is left while only a wire is moved

_LEAST = 1e-12  # stands for a probability of nothing


@dataclass(frozen=True)  # no slots: what follows from the fields is kept once made
class Track:
    """C driven choices of M hypotheses along the N ends of all rounds, in their order.

    at : ndarray of int, shape (N, C): their coordinates.
    alias : ndarray of int, shape (M, N, C): state whose chain each belongs to.
    used : ndarray of bool, shape (M, N, C): whether it is a choice of its own.
    choice, edge : ndarray, shape (M, N, C, N_CHOICE)
        Value of each option (NaN: no option), and the upper edge of its bin of coordinates.
    moves : ndarray, shape (M, N, C): chance of a fresh draw on the way to each end.
    """

    at: IntArray
    alias: IntArray
    used: Bools
    choice: Array
    edge: Array
    moves: Array

    @cached_property
    def share(self) -> Array:
        """Prior probability of each option, (M, N, C, N_CHOICE)."""
        return np.diff(ndtr(self.edge), axis=-1, prepend=0.0)

    @cached_property
    def middle(self) -> Array:
        """Coordinate in the middle of each option's bin, NaN: no option, (M, N, C, N_CHOICE)."""
        return option_middles(self.choice, self.edge)

    @property
    def n_option(self) -> IntArray:
        """Number of options, (M, N, C)."""
        return np.asarray((~np.isnan(self.choice)).sum(axis=-1))

    def places(self, z: Array) -> IntArray:
        """Option that each coordinate of ``z`` (M, n_z) picks, (M, N, C)."""
        return option_at(self.edge, z[:, self.at])

    def moved(self, z: Array, places: IntArray, where: Bools) -> Array:
        """Coordinates with some choices (M, N, C) put on other options."""
        middle = np.take_along_axis(self.middle, places[..., None], axis=-1)[..., 0]
        out = z.copy()
        out[:, self.at] = np.where(where & self.used, middle, z[:, self.at])
        return out


def track_of(rows: HypothesisTable, layout: Layout) -> Track:
    """The driven choices of some hypotheses along the rounds of a layout."""
    states = np.array([s for ends in layout.ends for s in ends], dtype=np.int64)
    row, place = np.arange(rows.n_wire.size)[:, None, None], np.maximum(rows.choice_at, 0)[:, None]
    at = (row, states[:, None], place)  # to (M, N, C)
    alias, choice = rows.driven_alias[at], rows.driven_prior.choice[at]
    used = ~np.isnan(choice[..., 0]) & (rows.choice_at >= 0)[:, None]
    if layout.n_end == 2:  # where both ends share a state's value, they are one
        used[:, 1::2] &= alias[:, 1::2] != alias[:, ::2]
    ends = [(r, end) for r in range(layout.n_round) for end in range(layout.n_end)]
    held = [bool(layout.held) and layout.held[r] for r, _ in ends]
    starts = np.array([layout.choice(*end).start for end in ends], dtype=np.int64)
    return Track(
        at=starts[:, None] + np.arange(rows.choice_at.shape[1]),
        alias=alias,
        used=used,
        choice=choice,
        edge=rows.driven_prior.edge[at],
        moves=rows.choice_moves[:, None] * np.where(held, HELD, 1.0)[:, None],
    )


def path_log_probability(track: Track, places: IntArray, told: Bools) -> Array:
    """Log probability of the options along a path, those not told summed over.

    Parameters
    ----------
    track : Track
        M hypotheses.
    places : ndarray of int, shape (M, N, C)
        Options.
    told : ndarray of bool, shape (M, N, C)
        Which of them count.

    Returns
    -------
    ndarray, shape (M,)
    """
    n_m, n_n, n_c = places.shape
    row, total = np.arange(n_m), np.zeros(n_m)
    for c in range(n_c):
        belief = np.zeros((n_m, int(track.alias.max(initial=0)) + 1, N_CHOICE))
        for n in range(n_n):
            moves = track.moves[:, n, c, None]
            used, alias = track.used[:, n, c], track.alias[:, n, c]
            if not used.any():
                continue
            before, share = belief[row, alias], track.share[:, n, c]
            is_first = before.sum(axis=1, keepdims=True) == 0.0
            now = np.where(is_first, share, (1.0 - moves) * before + moves * share)
            place, counts = places[:, n, c], used & told[:, n, c]
            total += np.where(counts, np.log(np.maximum(now[row, place], _LEAST)), 0.0)
            known = place[:, None] == np.arange(N_CHOICE)
            now = np.where(counts[:, None], known, now)
            belief[row, alias] = np.where(used[:, None], now, before)
    return total


def best_path(track: Track, gain: Array) -> IntArray:
    """The options along the most probable path.

    Parameters
    ----------
    track : Track
        M hypotheses.
    gain : ndarray, shape (M, N, C, N_CHOICE)
        Log likelihood of each option at each end.

    Returns
    -------
    ndarray of int, shape (M, N, C)
    """
    n_m, n_n, n_c, _ = gain.shape
    row, found = np.arange(n_m), np.zeros((n_m, n_n, n_c), dtype=np.int64)
    same = np.eye(N_CHOICE)
    for c in range(n_c):
        n_s = int(track.alias.max(initial=0)) + 1
        reached = np.full((n_m, n_s, N_CHOICE), np.nan)
        path = np.zeros((n_m, n_s, N_CHOICE, n_n), dtype=np.int64)
        for n in range(n_n):
            moves = track.moves[:, n, c, None, None]
            used, alias = track.used[:, n, c], track.alias[:, n, c]
            share = track.share[:, n, c]
            step = np.log(np.maximum((1.0 - moves) * same + moves * share[:, None], _LEAST))
            before = reached[row, alias]
            through = before[:, :, None] + step  # (M, from, to)
            is_first = np.isnan(before[:, :1])
            source = np.where(is_first, np.arange(N_CHOICE), np.argmax(through, axis=1))
            come = np.take_along_axis(through, source[:, None], axis=1)[:, 0]
            now = np.where(is_first, np.log(np.maximum(share, _LEAST)), come) + gain[:, n, c]
            reached[row, alias] = np.where(used[:, None], now, before)
            along = np.take_along_axis(path[row, alias], source[..., None], axis=1)
            along[:, :, n] = np.arange(N_CHOICE)
            path[row, alias] = np.where(used[:, None, None], along, path[row, alias])
        end = np.argmax(np.nan_to_num(reached, nan=-np.inf), axis=2)  # (M, state)
        for n in range(n_n):
            alias = track.alias[:, n, c]
            found[:, n, c] = path[row, alias, end[row, alias], n]
    return found


def is_choice(rows: HypothesisTable, layout: Layout) -> Bools:
    """Coordinates that pick among options and do not move in a fit, (M, n_z)."""
    found = np.zeros((rows.n_wire.size, layout.size), dtype=bool)
    found[:, : layout.n_free] = rows.static.is_choice
    for state in layout.states:  # where the option in a round without readings starts from
        found[:, layout.base(state)] = rows.driven_prior.is_choice[:, state]
    track = track_of(rows, layout)
    found[:, track.at] = track.used
    return found


def choice_bins(
    rows: HypothesisTable, layout: Layout, z: Array, told: Bools | None = None
) -> tuple[IntArray, Array]:
    """Option of each choice, and the log probability of all of them together.

    Parameters
    ----------
    rows : HypothesisTable
        M hypotheses.
    layout : Layout
        Of the coordinates.
    z : ndarray, shape (M, n_z)
    told : ndarray of bool, shape (M, n_z), optional
        Which choices count; the others are summed over. All do by default.

    Returns
    -------
    place : ndarray of int, shape (M, n_choice)
        -1 where it doesn't count.
    log_probability : ndarray, shape (M,)
    """
    place, log_p = choice_bin(rows.static, z[:, : layout.n_free])
    if told is not None:
        summed = rows.static.is_choice & ~told[:, : layout.n_free]
        place, log_p = np.where(summed, -1, place), np.where(summed, 0.0, log_p)
    track = track_of(rows, layout)
    places = track.places(z)
    counts = track.used if told is None else track.used & told[:, track.at]
    total = log_p.sum(axis=1) + path_log_probability(track, places, counts)
    driven = np.where(counts, places, -1).reshape(len(z), track.at.size)
    return np.concatenate([place, driven], axis=1), total


def choice_places(rows: HypothesisTable, layout: Layout, z: Array, told: Bools) -> IntArray:
    """Option of each choice, -1 where it doesn't count, (M, n_choice); see `choice_bins`."""
    static, own = rows.static, z[:, : layout.n_free]
    place = np.where(static.is_choice, option_at(static.edge, own), 0)
    place = np.where(static.is_choice & ~told[:, : layout.n_free], -1, place)
    track = track_of(rows, layout)
    driven = np.where(track.used & told[:, track.at], track.places(z), -1)
    return np.concatenate([place, driven.reshape(len(z), track.at.size)], axis=1)


def choice_log_probability(rows: HypothesisTable, layout: Layout, z: Array) -> Array:
    """Log prior probability of the options that z picks, (M,)."""
    return choice_bins(rows, layout, z)[1]


def other_circuit_choices(
    rows: HypothesisTable, layout: Layout, z: Array
) -> tuple[IntArray, Array]:
    """The same coordinates with one choice of the circuit at a time put on another option.

    Parameters
    ----------
    rows : HypothesisTable
        M hypotheses.
    layout : Layout
        Of the coordinates.
    z : ndarray, shape (M, n_z)

    Returns
    -------
    source : ndarray of int, shape (n_new,)
        Row that each new vector comes from.
    changed : ndarray, shape (n_new, n_z)
    """
    middle = option_middles(rows.static.choice, rows.static.edge)
    now, _ = choice_bin(rows.static, z[:, : layout.n_free])
    options = np.argwhere(~np.isnan(middle))
    options = options[options[:, 2] != now[options[:, 0], options[:, 1]]]
    source, place, option = options.T
    changed = z[source]
    changed[np.arange(source.size), place] = middle[source, place, option]
    return source, changed


def other_driven_choices(rows: HypothesisTable, layout: Layout, z: Array) -> tuple[IntArray, Array]:
    """The same with one driven choice put otherwise, in one round or in all rounds of a state.

    As `other_circuit_choices`.
    """
    track = track_of(rows, layout)
    places, n_option = track.places(z), track.n_option
    source, changed = [np.zeros(0, dtype=np.int64)], [np.zeros((0, z.shape[1]))]
    for m, n, c in np.argwhere(track.used):
        mates = track.used[m, :, c] & (track.alias[m, :, c] == track.alias[m, n, c])
        is_first = n == int(np.flatnonzero(mates)[0])
        for option in range(int(n_option[m, n, c])):
            wheres = [np.arange(mates.size) == n] if places[m, n, c] != option else []
            if is_first and np.sum(places[m, mates, c] != option) > 1:
                wheres.append(mates)
            for where in wheres:
                new = z[m : m + 1].copy()
                new[0, track.at[where, c]] = track.middle[m, where, c, option]
                source.append(np.array([m], dtype=np.int64))
                changed.append(new)
    return np.concatenate(source), np.concatenate(changed)
