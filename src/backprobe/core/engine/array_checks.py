"""What every function on engine air asks of its arguments before it computes."""

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]


def require_between(
    value: ArrayLike, low: float, high: float, name: str, unit: str, *, is_open: bool = False
) -> Array:
    """Take an argument as an array, if all of it can be.

    Parameters
    ----------
    value : array_like, any shape
        The argument.
    low, high : float
        Least and greatest that it can be, in its unit.
    name, unit : str
        What it is, for the message.
    is_open : bool
        The lower limit itself isn't allowed.

    Returns
    -------
    ndarray, same shape
        The argument as float64.

    Raises
    ------
    ValueOutOfRange
        A value is outside of the limits or NaN.
    """
    found: Array = np.asarray(value, dtype=np.float64)
    is_good = (found > low if is_open else found >= low) & (found <= high)
    if not np.all(is_good):
        worst = float(np.ravel(found)[np.argmin(np.ravel(is_good))])
        size = f" {unit}" if unit else ""
        reach = f"to {high:g}{size}" if np.isfinite(high) else "up"
        least = f"above {low:g}" if is_open else f"from {low:g}"
        raise ValueOutOfRange(
            f"{worst:g}{size} is no {name} that this can be worked out for.",
            where=name,
            remedy=f"It goes {least} {reach}; check the number and its unit.",
        )
    return found
