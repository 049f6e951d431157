"""How simulated values spread: about half as wide again as what is usual in the trade."""

import math
from typing import TypeVar

import numpy as np

T = TypeVar("T")
Random = np.random.Generator


def even(rng: Random, low: float, high: float) -> float:
    """Draw evenly between two limits."""
    return float(rng.uniform(low, high))


def log_even(rng: Random, low: float, high: float) -> float:
    """Draw evenly in the logarithm between two positive limits."""
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def chance(rng: Random, probability: float) -> bool:
    """Toss a coin that shows heads with this probability."""
    return bool(rng.random() < probability)


def pick(rng: Random, *weighted: tuple[float, T]) -> T:
    """Draw one of several things, each given behind its weight."""
    weights = np.array([weight for weight, _ in weighted])
    return weighted[int(rng.choice(len(weighted), p=weights / weights.sum()))][1]
