"""Small sets of hypotheses and sheets of readings that the tests of inference share."""

from functools import cache

import numpy as np

from backprobe.core.inference.sheet import Array, IntArray, Quantity, Sheet, SheetRound
from backprobe.families.hypotheses import Hypotheses, hypotheses_for
from backprobe.families.loader import load_families
from backprobe.vocabulary import NO_FAULT, ROLES

UNPLUGGED = SheetRound("A", plugged=False, powered=True, state=0, state_high=0)
KEY_ON = SheetRound("B", plugged=True, powered=True, state=0, state_high=0)
IDLE = SheetRound("C", plugged=True, powered=True, state=2, state_high=2)

Reading = tuple[Quantity, int, int, float, float]  # quantity, round, terminal, value, deviation


@cache
def hypotheses(family: str, n_terminal: int) -> Hypotheses:
    """One family with all its faults."""
    return hypotheses_for(n_terminal, [f for f in load_families() if f.id == family])


@cache
def healthy(family: str, n_terminal: int) -> Hypotheses:
    """One family without faults: a table of one row."""
    whole = hypotheses(family, n_terminal)
    some = np.array([h for h, (_, f) in enumerate(whole.pairs) if f.kind == NO_FAULT])
    return Hypotheses(
        n_terminal,
        tuple(whole.pairs[h] for h in some),
        whole.table.rows(some),
        whole.free_name[some],
        whole.driven_name[some],
    )


def sheet(n_terminal: int, rounds: tuple[SheetRound, ...], *readings: Reading) -> Sheet:
    """A sheet; a resistance between terminals is at terminals t and t + 1."""
    quantity = np.array([int(r[0]) for r in readings], dtype=np.int64)
    terminal = np.array([r[2] for r in readings], dtype=np.int64)
    pair = quantity == Quantity.SENSOR_OHM
    return Sheet(
        rounds=rounds,
        n_terminal=n_terminal,
        quantity=quantity,
        round=np.array([r[1] for r in readings], dtype=np.int64),
        terminal=terminal,
        other=np.where(pair, terminal + 1, -1),
        value=np.array([r[3] for r in readings], dtype=np.float64),
        deviation=np.array([r[4] for r in readings], dtype=np.float64),
        load_ohm=np.full(len(readings), 1000.0),
        reported=np.full(len(readings), -1),
        label=tuple(f"{rounds[r[1]].name} {r[0].name} {r[2]}" for r in readings),
        input_ohm=1e7,
        role_log=np.zeros((n_terminal, len(ROLES))),
    )


def identity(n_row: int, n_terminal: int) -> IntArray:
    """Wire k at terminal k."""
    return np.tile(np.arange(n_terminal), (n_row, 1))


def draws(n_row: int, n_z: int, seed: int, size: float = 1.0) -> Array:
    """Standard normal coordinates."""
    return size * np.random.default_rng(seed).standard_normal((n_row, n_z))
